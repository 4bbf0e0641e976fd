"""Reads of installations: where they stand, what covers them, which machine is due."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Max, Q, QuerySet

from servicedesk.clients.models import Agreement, Site
from servicedesk.installations.models import Installation, PlantItem


@dataclass(frozen=True, slots=True)
class PlantDue:
    """A machine whose service interval has run out, or will by the day asked for."""

    item: PlantItem
    last_on: date | None
    due_on: date


def site_of(installation: Installation, on: date) -> Site | None:
    """Where an installation stood on a day."""
    placement = installation.placements.filter(valid__contains=on).select_related("site__client").first()
    return placement.site if placement else None


def installations_at(site: Site, on: date) -> list[Installation]:
    return list(
        Installation.objects.filter(placements__site=site, placements__valid__contains=on, archived_at=None).distinct()
    )


def covered_by(agreement: Agreement, on: date) -> list[Installation]:
    """The installations an agreement looks after on a day; none named: all at its site."""
    rows = Installation.objects.filter(coverages__agreement=agreement, coverages__valid__contains=on, archived_at=None)
    return list(rows.distinct()) or installations_at(agreement.site, on)


def plant_in_use(on: date) -> QuerySet[PlantItem]:
    rows = PlantItem.objects.filter(Q(removed_on=None) | Q(removed_on__gt=on), installation__archived_at=None)
    return rows.select_related("installation")


def plant_due(installation: Installation, on: date) -> list[PlantDue]:
    """The machines of an installation whose service falls due by a day."""
    return _due(plant_in_use(on).filter(installation=installation), on)


def plant_due_everywhere(on: date) -> list[PlantDue]:
    """All machines due by a day, the longest overdue first."""
    return sorted(_due(plant_in_use(on), on), key=lambda due: due.due_on)


def _due(plant: QuerySet[PlantItem], on: date) -> list[PlantDue]:
    rows = plant.exclude(service_interval_days=None).annotate(
        last_on=Max("services__done_on", filter=Q(services__is_interval_service=True))
    )
    found = []
    for item in rows:
        since = item.last_on or item.installed_on
        if since is None or item.service_interval_days is None:
            continue
        due_on = since + timedelta(days=item.service_interval_days)
        if due_on <= on:
            found.append(PlantDue(item, item.last_on, due_on))
    return found
