"""What the declaration is built from: everything known of a visit's installations, in few queries."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from servicedesk.care.models import ProgrammeVersion
from servicedesk.consumables.models import Item, StockPlace
from servicedesk.consumables.queries import Balance, balances, place_for_van
from servicedesk.installations.models import Installation, PlantCheck, PlantItem
from servicedesk.people.models import Technician
from servicedesk.readings.models import Band, Reading
from servicedesk.visits.models import HandOn, Visit, VisitTask

RECENT = 8


@dataclass(frozen=True, slots=True)
class VisitContext:
    """All that the form needs. Maps are by installation id or plant item id."""

    visit: Visit
    zone: ZoneInfo
    day: date
    now: datetime
    installations: list[Installation]
    bands: dict[int, list[Band]]
    recent: dict[int, dict[str, list[Reading]]]
    plant: dict[int, list[PlantItem]]
    checks: dict[int, dict[tuple[str, str], PlantCheck]]
    programmes: dict[int, ProgrammeVersion]
    approved: dict[int, ProgrammeVersion]
    tasks: list[VisitTask]
    hand_ons: list[HandOn]
    stock: list[Balance]
    items: dict[int, Item]


def load(visit: Visit) -> VisitContext:
    """Collect it."""
    zone = ZoneInfo(visit.site.time_zone)
    now = timezone.now()
    installations = [cover.installation for cover in visit.covers.select_related("installation")]
    before = visit.started_at or now
    plant = _plant(installations, visit.planned_on or visit.due_on)
    stock = balances(_places(visit))
    return VisitContext(
        visit=visit,
        zone=zone,
        day=before.astimezone(zone).date(),
        now=now,
        installations=installations,
        bands=_bands(installations),
        recent=_recent(installations, before),
        plant=plant,
        checks=_checks([item for items in plant.values() for item in items]),
        programmes=_programmes(installations, ProgrammeVersion.State.IN_FORCE),
        approved=_programmes(installations, ProgrammeVersion.State.APPROVED),
        tasks=list(visit.tasks.select_related("installation", "plant_item", "hand_on")),
        hand_ons=list(
            HandOn.objects.filter(site=visit.site, settled_by_visit=None)
            .exclude(from_visit=visit)
            .select_related("by", "item", "installation")
        ),
        stock=stock,
        items={row.item.pk: row.item for row in stock},
    )


def _places(visit: Visit) -> list[StockPlace]:
    places = list(StockPlace.objects.filter(site=visit.site))
    technician = Technician.objects.filter(user=visit.technician).select_related("van").first()
    van = getattr(technician, "van", None)
    return [place_for_van(van), *places] if van else places


def _bands(installations: list[Installation]) -> dict[int, list[Band]]:
    found: dict[int, list[Band]] = defaultdict(list)
    for band in Band.objects.filter(installation__in=installations).select_related("parameter"):
        found[band.installation_id].append(band)
    return found


def _recent(installations: list[Installation], before: datetime) -> dict[int, dict[str, list[Reading]]]:
    """The last readings of each parameter, oldest first, taken before this visit."""
    since = before - timedelta(days=240)
    rows = Reading.objects.filter(
        installation__in=installations, superseded_by=None, taken_at__lt=before, taken_at__gte=since
    ).order_by("-taken_at")
    found: dict[int, dict[str, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        series = found[row.installation_id][row.parameter_id]
        if len(series) < RECENT:
            series.insert(0, row)
    return found


def _plant(installations: list[Installation], day: date) -> dict[int, list[PlantItem]]:
    found: dict[int, list[PlantItem]] = defaultdict(list)
    for item in PlantItem.objects.filter(installation__in=installations):
        if item.removed_on is None or item.removed_on > day:
            found[item.installation_id].append(item)
    return found


def _checks(plant: list[PlantItem]) -> dict[int, dict[tuple[str, str], PlantCheck]]:
    rows = (
        PlantCheck.objects.filter(plant_item__in=plant)
        .order_by("plant_item_id", "key", "moment", "-at")
        .distinct("plant_item_id", "key", "moment")
    )
    found: dict[int, dict[tuple[str, str], PlantCheck]] = defaultdict(dict)
    for row in rows:
        found[row.plant_item_id][row.key, row.moment] = row
    return found


def _programmes(installations: list[Installation], state: str) -> dict[int, ProgrammeVersion]:
    rows = ProgrammeVersion.objects.filter(installation__in=installations, state=state)
    if state == ProgrammeVersion.State.IN_FORCE:
        rows = rows.filter(valid__endswith=None)
    return {row.installation_id: row for row in rows.order_by("number")}
