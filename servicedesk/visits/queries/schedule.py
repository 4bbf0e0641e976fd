"""Reads of the schedule: what is to be planned, what was sold and given, what the visits need."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_CEILING, Decimal

from django.db.models import Count, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Agreement
from servicedesk.consumables.models import Item
from servicedesk.visits.models import HandOn, Visit, VisitUse

OPEN = (Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED)
USUAL_DAYS = 120


@dataclass(frozen=True, slots=True)
class Need:
    """What a visit will need of an item, in the item's unit, and why."""

    item: Item
    quantity: Decimal
    why: str
    visit: Visit


def visits_to_plan(first_day: date, last_day: date) -> QuerySet[Visit]:
    """Open visits that may or must fall into the days, with those overdue from before."""
    return (
        Visit.objects.filter(state__in=OPEN)
        .filter(
            Q(earliest_on__lte=last_day, latest_on__gte=first_day)
            | Q(due_on__lt=first_day)
            | Q(planned_on__range=(first_day, last_day))
        )
        .filter(Q(planned_on=None) | Q(planned_on__gte=first_day, planned_on__lte=last_day) | Q(state=Visit.State.DUE))
        .select_related("site__client", "agreement", "technician")
        .order_by("due_on", "pk")
    )


@dataclass(frozen=True, slots=True)
class SoldAndGiven:
    """Visits of an agreement in a year."""

    sold: int
    given: int
    planned: int


def sold_and_given(agreement: Agreement, year: int) -> SoldAndGiven:
    rows = Visit.objects.filter(agreement=agreement, due_on__year=year).aggregate(
        given=Count("pk", filter=Q(state=Visit.State.SIGNED)), planned=Count("pk", filter=Q(state__in=OPEN))
    )
    return SoldAndGiven(agreement.visits_sold_per_year, rows["given"], rows["planned"])


def material_needs(visits: Sequence[Visit], notes: Mapping[int, list[HandOn]] | None = None) -> list[Need]:
    """What the visits will need: things noted for whoever comes next, and what such a visit usually uses.

    ``notes`` by site, when they were read already.
    """
    found = sites_with_notes({visit.site_id for visit in visits}) if notes is None else notes
    return [*_noted(visits, found), *_usual(visits)]


def _noted(visits: Sequence[Visit], notes: Mapping[int, list[HandOn]]) -> list[Need]:
    by_site = {visit.site_id: visit for visit in reversed(visits)}  # whoever comes first brings it
    return [
        Need(
            note.item,
            note.quantity or note.item.pack_quantity,
            _("noted: %(text)s") % {"text": note.text},
            by_site[note.site_id],
        )
        for site in by_site
        for note in notes.get(site, ())
        if note.item is not None
    ]


def _usual(visits: Sequence[Visit]) -> list[Need]:
    """Mean use per signed visit of the site over the last four months, rounded up to two digits; for every visit."""
    by_site: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        by_site[visit.site_id].append(visit)
    since = timezone.now() - timedelta(days=USUAL_DAYS)
    past = Q(visit__site__in=by_site, visit__state=Visit.State.SIGNED, visit__started_at__gte=since)
    counts = dict(
        Visit.objects.filter(site__in=by_site, state=Visit.State.SIGNED, started_at__gte=since)
        .values_list("site")
        .annotate(number=Count("pk"))
        .order_by()
    )
    totals: dict[tuple[int, int], Decimal] = defaultdict(Decimal)
    for site_id, item_id, total in (
        VisitUse.objects.filter(past).values_list("visit__site", "item").annotate(total=Sum("quantity")).order_by()
    ):
        totals[site_id, item_id] += total
    items = Item.objects.in_bulk({item_id for _site, item_id in totals})
    return [
        Need(items[item_id], _round_up(total / counts[site_id]), _("usual use"), visit)
        for (site_id, item_id), total in totals.items()
        if counts.get(site_id)
        for visit in by_site[site_id]
    ]


def _round_up(quantity: Decimal) -> Decimal:
    """To two leading digits, upwards: 173 → 180."""
    if quantity <= 0:
        return Decimal(0)
    step = Decimal(10) ** (quantity.adjusted() - 1)
    return (quantity / step).to_integral_value(ROUND_CEILING) * step


def notes_of(visit: Visit) -> list[HandOn]:
    """Open notes for whoever comes next to the visit's site."""
    return sites_with_notes([visit.site_id]).get(visit.site_id, [])


def sites_with_notes(site_ids: Iterable[int]) -> dict[int, list[HandOn]]:
    """Open notes for whoever comes next, by site."""
    found: dict[int, list[HandOn]] = defaultdict(list)
    for note in HandOn.objects.filter(site__in=list(site_ids), settled_by_visit=None).select_related("by", "item"):
        found[note.site_id].append(note)
    return found
