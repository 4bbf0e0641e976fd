"""The look ahead read from the database: agreements in the slots they could sit in, and who works when."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Prefetch, QuerySet

from servicedesk.clients.models import Agreement, Closure
from servicedesk.common.recurrence import Cadence, expand, from_rule, to_rule
from servicedesk.installations.queries import covered_by
from servicedesk.people.models import Technician
from servicedesk.planner.cadence import Base, Call, Look, Option, Prices, Slot
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal
from servicedesk.routes.models import Stop
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.shifts import shifts_between
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.lengths import length_of, past_lengths
from servicedesk.visits.services.schedule import due_day

WEEKS = 10
MARGIN = timedelta(days=14)  # holidays move visits over the edge of the look
FIXED_STATES = (Visit.State.PUBLISHED, Visit.State.STARTED, Visit.State.SIGNED)


@dataclass(frozen=True, slots=True)
class LookInput:
    """What the planner is asked, and the agreements by its names for them."""

    look: Look
    agreements: dict[str, Agreement]


def first_monday(today: date) -> date:
    """The Monday a look begins with: this week is under way already."""
    return Week.of(today).shifted(1).monday


def agreements_in_force(first: date, last: date) -> QuerySet[Agreement]:
    rows = Agreement.objects.filter(archived_at=None, site__archived_at=None, starts_on__lte=last)
    return (
        rows.exclude(ends_on__lt=first)
        .select_related("site__client", "client", "preferred_technician")
        .prefetch_related(Prefetch("site__closures", queryset=Closure.objects.all()), "site__access_windows")
        .order_by("pk")
    )


def week_number(day: date) -> int:
    """Weeks counted from Monday 1 January of the year 1: what phases are counted in."""
    return (day.toordinal() - 1) // 7


def slot_of(agreement: Agreement) -> tuple[Slot, int] | None:
    """The weekday and week of its cycle an agreement sits in, and how many weeks the cycle has.

    None for one that cannot be moved: by the month or the day, on several weekdays, or counted from its last visit.
    """
    cadence = from_rule(agreement.rule)
    if cadence.unit != "weeks" or len(cadence.weekdays) != 1 or not agreement.anchored:
        return None
    return Slot(cadence.weekdays[0], week_number(agreement.first_visit_on) % cadence.every), cadence.every


def rule_of(slot: Slot, every: int) -> str:
    return to_rule(Cadence("weeks", every, (slot.weekday,)))


def slot_dates(slot: Slot, every: int, first: date, last: date) -> list[date]:
    """The days of a slot from ``first`` to ``last``."""
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    return [day for day in days if day.weekday() == slot.weekday and week_number(day) % every == slot.phase]


def look_input(first: date, weeks: int) -> LookInput:
    """Everything the planner needs to look ahead; asks once or twice per agreement, so in the worker only."""
    last = first + timedelta(days=7 * weeks - 1)
    agreements = {f"{row.pk:08}": row for row in agreements_in_force(first, last)}
    technicians = list(technicians_between(first, last))
    works_on = _hours(technicians, first, last)
    days_of = {who.user_id: {(first + timedelta(days=d)).weekday() for d in works_on[who.pk]} for who in technicians}
    places: dict[tuple[float, float], int] = {}
    calls = []
    past = past_lengths({row.site_id for row in agreements.values()})
    for key, agreement in agreements.items():
        site = agreement.site
        place = places.setdefault((site.latitude, site.longitude), len(places))
        covers = frozenset(row.pk for row in covered_by(agreement, max(first, agreement.starts_on)))
        minutes = length_of(agreement, (agreement.site_id, covers), past).minutes
        minutes += (agreement.people_needed - 1) * (agreement.second_person_min or agreement.duration_min)
        options = _options(agreement, first, last, weeks, days_of)
        calls.append(Call(key, place, minutes * 60, options))
    bases = [
        Base(
            f"{who.pk:08}",
            places.setdefault((who.home_latitude, who.home_longitude), len(places)),
            works_on[who.pk],
        )
        for who in technicians
    ]
    points = list(places)
    matrix = provider_for(points).table(points)
    prices = _prices(technicians)
    return LookInput(Look(weeks, tuple(calls), tuple(bases), matrix.seconds, matrix.metres, prices), agreements)


def _prices(technicians: list[Technician]) -> Prices:
    """Mean cost of an hour and a kilometre of those who drive."""
    number = len(technicians) or 1
    plain = Prices()
    hour = sum(float(row.hourly_cost) for row in technicians) / number or plain.hour
    km = sum(float(row.km_cost) for row in technicians) / number or plain.km
    return Prices(hour=hour, km=km)


def _hours(technicians: list[Technician], first: date, last: date) -> dict[int, dict[int, int]]:
    """Seconds each works on each day of the look, leave taken off."""
    found: dict[int, dict[int, int]] = {who.pk: {} for who in technicians}
    for (who, day), shift in shifts_between(technicians, first - MARGIN, last + MARGIN).items():
        if shift.hours is not None:
            opens, closes = shift.hours
            found[who][(day - first).days] = max(closes - opens - shift.lunch_min * 60, 0)
    return found


def _options(
    agreement: Agreement, first: date, last: date, weeks: int, days_of: Mapping[int, set[int]]
) -> tuple[Option, ...]:
    """Where an agreement sits now, then where else it could."""
    found = slot_of(agreement)
    if found is None:
        return (_fixed(agreement, first, last),)
    now, every = found
    weekdays = _weekdays(agreement, days_of)
    phases = range(every) if weeks % every == 0 else (now.phase,)
    others = [Slot(weekday, phase) for weekday in sorted(weekdays) for phase in phases]
    return tuple(_option(agreement, slot, every, first, last) for slot in [now, *(s for s in others if s != now)])


def _weekdays(agreement: Agreement, days_of: Mapping[int, set[int]]) -> set[int]:
    """The days on which the agreement and the site allow visits, and the only person they take works."""
    windows = {window.weekday for window in agreement.site.access_windows.all()}
    allowed = set(agreement.allowed_weekdays) & windows if agreement.allowed_weekdays and windows else windows
    allowed = allowed or set(agreement.allowed_weekdays) or set(range(5))
    if agreement.only_preferred and agreement.preferred_technician_id is not None:
        allowed &= days_of.get(agreement.preferred_technician_id, allowed)
    return allowed


def _option(agreement: Agreement, slot: Slot, every: int, first: date, last: date) -> Option:
    return _seen_to(agreement, slot, slot_dates(slot, every, first, last), first)


def _seen_to(agreement: Agreement, slot: Slot, dates: list[date], first: date) -> Option:
    """The days after holidays and closures were seen to as the agreement says."""
    due = [due_day(agreement, day).day for day in dates if agreement.in_force(day)]
    return Option(slot, tuple((day - first).days for day in due if day is not None), sum(day is None for day in due))


def _fixed(agreement: Agreement, first: date, last: date) -> Option:
    slot = Slot(0, 0)
    if agreement.anchored:
        return _seen_to(agreement, slot, expand(agreement.rule, agreement.first_visit_on, first, last), first)
    open_days = Visit.objects.filter(agreement=agreement, due_on__range=(first, last)).exclude(
        state=Visit.State.CANCELLED
    )
    return Option(slot, tuple((day - first).days for day in open_days.values_list("due_on", flat=True)))


@dataclass(frozen=True, slots=True)
class Change:
    """When a new calendar of an agreement begins: ``from_day`` on old visits give way, ``first_on`` the first new."""

    from_day: date
    first_on: date
    last_before: date | None

    @property
    def gap_days(self) -> int | None:
        return (self.first_on - self.last_before).days if self.last_before else None


def change_of(agreement: Agreement, slot: Slot, every: int, today: date) -> Change:
    """The next occurrence on: visits of this week, given out, or on a week's plan stay; the wait after the last of
    them is the longest that the agreement's cycle and slack allow."""
    from_day = first_monday(today)
    own = Visit.objects.filter(agreement=agreement)
    held = [
        *own.filter(state__in=FIXED_STATES).values_list("due_on", flat=True),
        *Stop.objects.filter(visit__agreement=agreement).values_list("visit__due_on", flat=True),
    ]
    from_day = max([from_day, *(day + timedelta(days=1) for day in held)])
    before = own.exclude(state__in=[Visit.State.CANCELLED, Visit.State.NOT_DONE]).filter(due_on__lt=from_day)
    last_before = before.order_by("-due_on").values_list("due_on", flat=True).first()
    start = max(from_day, agreement.starts_on)
    dates = slot_dates(slot, every, start, start + timedelta(days=14 * every + 7))
    latest = (last_before or start) + timedelta(days=7 * every + agreement.slack_days_after)
    in_time = [day for day in dates if day <= latest]
    return Change(from_day, in_time[-1] if in_time else dates[0], last_before)


def newest_look() -> CadenceLook | None:
    return CadenceLook.objects.select_related("requested_by").first()


def last_done() -> CadenceLook | None:
    return CadenceLook.objects.filter(state=CadenceLook.State.DONE).select_related("requested_by").first()


def proposals_of(look: CadenceLook) -> QuerySet[CadenceProposal]:
    return look.proposals.select_related("agreement__site__client", "decided_by").order_by("-saved_s", "pk")
