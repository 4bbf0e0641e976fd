"""A week from the database in the planner's own words, and the planner's words in the reader's language."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from itertools import combinations
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext

from servicedesk.people.models import Depot, Lodging, Technician, Van
from servicedesk.planner import problem as planner
from servicedesk.planner.words import WORDS, Reason
from servicedesk.routes.crews import PLANNED_PEOPLE, helper_of, visit_of
from servicedesk.routes.hours import ONE_DAY, night_spans
from servicedesk.routes.nights import nights_left, offers
from servicedesk.routes.queries.ends import Base
from servicedesk.routes.queries.load import may_carry_kg
from servicedesk.routes.queries.problem import Key, ShiftInput, VisitInput, WeekInput
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import instant, local_seconds
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

BREAK_FROM, BREAK_BY = time(11), time(14)  # on the technician's clock, also on the day that it changes
PROMISE_S = 1800
PROMISE_COST, MOVED_COST, NOT_PREFERRED_COST, OUT_COST = Decimal(60), Decimal(8), Decimal(25), Decimal(15)
SETTLED_COST = Decimal(1_000_000)  # never worth leaving out
RELOAD_S = 900  # at the store, until the firm knows better; common practice
OWN_CAR_KG = 100.0  # what somebody carries who has no van; common practice
OTHERS, QUARANTINE = "others", "quarantine"
NOBODY = "nobody who works in these days"


def problem_of(data: WeekInput, kept: Callable[[Key], Timed]) -> planner.Problem:
    """The planning problem of a week. ``kept`` times a round that planning leaves as it is."""
    visits = [row for row in data.visits.values() if _is_planned(data, row) and (not row.helps or is_apart(data, row))]
    settled = [key for key in sorted(data.kept) if data.orders.get(key) or _is_away(data, key)]
    nights = offers(data)
    stores = {row.depot_id: row.depot for row in data.technicians.values()}
    places = (*(_home(row) for row in data.technicians.values()), *_sites(data), *map(_store, stores.values()))
    places = (*places, *_lodgings(data, [lodging for _night, lodging in nights]))
    return planner.Problem(
        first_day=data.week.monday,
        last_day=data.week.sunday,
        currency="",
        name=f"{data.week.year}-W{data.week.number:02}",
        places=places,
        estimate=data.travel.estimate,
        table=data.travel.planner_table({place.id: (place.latitude, place.longitude) for place in places}),
        technicians=tuple(_technician(data, row) for row in data.technicians.values()),
        visits=tuple(_visit(data, row) for row in visits),
        depots=tuple(planner.Depot(depot_id(row), depot_id(row), RELOAD_S) for row in stores.values()),
        gaps=_gaps(data),
        orders=_orders(visits),
        kept=tuple(_kept(data, key, kept(key)) for key in settled),
        overnights=tuple(_overnight(night, lodging) for night, lodging in nights),
    )


def is_settled(row: VisitInput) -> bool:
    """Begun, ended or called off: it stays where it is, and no rule about when it may be done counts any more."""
    return row.visit.state not in OPEN


def _is_planned(data: WeekInput, row: VisitInput) -> bool:
    """What is settled is planned round where its round changes otherwise, so that its time is not given away."""
    if not is_settled(row):
        return True
    return row.pinned is not None and row.pinned in data.shifts and row.pinned not in data.kept


def home_id(technician: Technician) -> str:
    return f"home-{technician.pk}"


def site_id(visit: VisitInput) -> str:
    return f"site-{visit.visit.site_id}"


def depot_id(depot: Depot) -> str:
    return f"depot-{depot.pk}"


def place_id(base: Base) -> str:
    return home_id(base.technician) if base.lodging is None else lodging_id(base.lodging)


def lodging_id(lodging: Lodging) -> str:
    return f"lodging-{lodging.pk}"


def _lodgings(data: WeekInput, offered: Iterable[Lodging]) -> list[planner.Place]:
    """Where nights are spent or might be."""
    ends = [base.lodging for shift in data.shifts.values() for base in (shift.ends.start, shift.ends.end)]
    used = {row.pk: row for row in (*ends, *offered) if row is not None}
    return [
        planner.Place(lodging_id(r), r.latitude, r.longitude, r.time_zone, r.name) for _pk, r in sorted(used.items())
    ]


def _is_away(data: WeekInput, key: Key) -> bool:
    """Whether a day is driven even without a visit, since a night away comes before or after it."""
    shift = data.shifts.get(key)
    return shift is not None and not shift.ends.are_home


def _overnight(night: Key, lodging: Lodging) -> planner.Overnight:
    return planner.Overnight(str(night[0]), night[1], lodging_id(lodging), lodging.price_per_night)


def _store(row: Depot) -> planner.Place:
    return planner.Place(depot_id(row), row.latitude, row.longitude, row.time_zone, row.name)


def _home(row: Technician) -> planner.Place:
    return planner.Place(home_id(row), row.home_latitude, row.home_longitude, row.time_zone, str(row))


def _sites(data: WeekInput) -> list[planner.Place]:
    sites = {site_id(row): row.visit.site for row in data.visits.values()}
    return [planner.Place(key, site.latitude, site.longitude, site.time_zone, site.name) for key, site in sites.items()]


def _technician(data: WeekInput, row: Technician) -> planner.Technician:
    shifts = [shift for key, shift in data.shifts.items() if key[0] == row.pk]
    return planner.Technician(
        id=str(row.pk),
        name=str(row),
        start=home_id(row),
        end=home_id(row),
        zone=row.time_zone,
        days=tuple(_day(shift) for shift in shifts),
        hourly_cost=row.hourly_cost,
        overtime_factor=row.overtime_factor,
        km_cost=row.km_cost,
        depot=depot_id(row.depot),
        van=van_of(row),
        night=_night(data, row),
        permissions=tuple(
            planner.Permission(held.kind.name, held.first_day, held.last_day) for held in data.held.get(row.pk, ())
        ),
        max_nights=nights_left(data, row),
    )


def van_of(row: Technician) -> planner.Van:
    """What the technician can bring along; without a van of their own, what fits a car."""
    van: Van | None = getattr(row, "van", None)
    if van is None or van.archived_at is not None:
        return planner.Van(OWN_CAR_KG)
    return planner.Van(may_carry_kg(van), van.water_tank_l)


def _night(data: WeekInput, row: Technician) -> planner.Night | None:
    rules = data.pay[row.pk]
    spans = night_spans(rules, data.week.monday - ONE_DAY, data.week.sunday)
    if not spans or not rules.night_premium:
        return None
    return planner.Night(rules.night_premium, tuple(planner.Window(low, high) for low, high in spans))


def _orders(visits: Iterable[VisitInput]) -> tuple[planner.OrderRule, ...]:
    """Hygiene: nobody goes from a quarantine system to another system on one round."""
    if not any(row.is_quarantine for row in visits):
        return ()
    why = gettext("Quarantine systems come last on a round, so that nothing is carried from them to other animals.")
    return (planner.OrderRule(OTHERS, QUARANTINE, why),)


def _gaps(data: WeekInput) -> tuple[planner.Gap, ...]:
    """Visits of one agreement that must not come too near each other, as far as their own days leave room for it."""
    by_agreement: dict[int, list[VisitInput]] = {}
    for row in data.visits.values():
        if row.gap_days and row.visit.agreement_id and (row.visit.state in OPEN or _kept_on(data, row)):
            by_agreement.setdefault(row.visit.agreement_id, []).append(row)
    pairs = (pair for rows in by_agreement.values() for pair in combinations(rows, 2))
    gaps = (planner.Gap(one.id, other.id, _room(data, one, other)) for one, other in pairs)
    return tuple(gap for gap in gaps if gap.min_days)


def _room(data: WeekInput, one: VisitInput, other: VisitInput) -> int:
    """The gap that two visits can keep: their days may be locked, or narrowed by a holiday, nearer than agreed."""
    first, second = _days(data, one), _days(data, other)
    widest = max((abs((a - b).days) for a in first for b in second), default=0)
    return min(one.gap_days, widest)


def _days(data: WeekInput, row: VisitInput) -> set[date]:
    kept = _kept_on(data, row)
    if kept is not None:
        return {kept}
    if row.pinned:
        return {row.pinned[1]}
    zone = ZoneInfo(row.visit.site.time_zone)
    moment = timedelta(microseconds=1)  # a window that closes at midnight does not reach the next day
    spans = (
        (window.opens.astimezone(zone).date(), (window.closes - moment).astimezone(zone).date())
        for window in row.windows
    )
    return {first + ONE_DAY * step for first, last in spans for step in range((last - first).days + 1)}


def _kept_on(data: WeekInput, row: VisitInput) -> date | None:
    """The day of a visit on a settled round; None for one that was not done, which keeps nothing away."""
    if row.before not in data.kept or row.visit.state in {Visit.State.NOT_DONE, Visit.State.CANCELLED}:
        return None
    return row.before[1] if row.before is not None else None


def _day(shift: ShiftInput) -> planner.Day:
    def at(seconds: int) -> datetime:
        return instant(shift.day, seconds, shift.zone)

    breaks: tuple[planner.Break, ...] = ()
    ends = shift.ends
    from_s, by_s = lunch_hours(shift.day, shift.zone)
    if shift.lunch_min and shift.open_s < by_s < shift.close_s:
        breaks = (planner.Break(shift.lunch_min * 60, at(from_s), at(by_s)),)
    return planner.Day(
        date=shift.day,
        opens=at(shift.open_s),
        closes=at(shift.close_s),
        max_overtime_s=shift.max_overtime_s,
        breaks=breaks,
        start=None if ends.start.is_home else place_id(ends.start),
        end=None if ends.end.is_home else place_id(ends.end),
        fixed_cost=OUT_COST + ends.end.price,
        drive_empty=not ends.are_home,
    )


def lunch_hours(day: date, zone: ZoneInfo) -> tuple[int, int]:
    """Between which seconds of a day lunch is begun."""
    return local_seconds(day, BREAK_FROM, zone), local_seconds(day, BREAK_BY, zone)


def is_apart(data: WeekInput, row: VisitInput) -> bool:
    """Whether the two parts of a visit are planned each by itself, since one of them stays where and when it is.

    Neither then leaves its hour; else the planner has one visit for two and is free to find both anew.
    """
    parts = [data.visits.get(call) for call in (visit_of(row.id), helper_of(visit_of(row.id)))]
    if any(part is None or part.before is None for part in parts):
        return False
    return any(part.pinned or part.before in data.kept for part in parts if part is not None)


def _crew(data: WeekInput, row: VisitInput) -> planner.Crew | None:
    is_one = row.crew_s and not is_settled(row) and not is_apart(data, row)
    return planner.Crew(PLANNED_PEOPLE, row.crew_s) if is_one else None


def _fixed(data: WeekInput, row: VisitInput) -> planner.Fixed | None:
    """Where and when it stays. Of a pair planned apart, whoever does not work that day any more is replaced."""
    if row.crew_s and row.before is not None and is_apart(data, row):
        who = str(row.before[0]) if row.before in data.shifts or row.before in data.kept else None
        return planner.Fixed(technician=who, date=row.before[1], begins=row.begins)
    begins = row.begins if is_settled(row) else None
    return planner.Fixed(technician=str(row.pinned[0]), date=row.pinned[1], begins=begins) if row.pinned else None


def _barred(data: WeekInput, row: VisitInput) -> frozenset[int]:
    """Of a pair planned apart nobody does both parts."""
    if not row.crew_s or not is_apart(data, row):
        return row.barred
    other = data.visits[visit_of(row.id) if row.helps else helper_of(row.id)]
    return row.barred | ({other.before[0]} if other.before is not None else set())


def _visit(data: WeekInput, row: VisitInput) -> planner.Visit:
    if is_settled(row):
        return _settled_visit(data, row)
    promise = row.promise
    return planner.Visit(
        id=row.id,
        name=row.visit.site.name,
        place=site_id(row),
        duration_s=row.service_s,
        crew=_crew(data, row),
        skip_cost=row.skip_cost,
        windows=tuple(planner.Window(window.opens, window.closes) for window in row.windows),
        needs=tuple(need.name for need in row.needs),
        prefers=str(row.preferred) if row.preferred is not None else None,
        not_preferred_cost=NOT_PREFERRED_COST,
        only=(str(row.preferred or NOBODY),) if row.only_preferred else (),
        barred=tuple(str(pk) for pk in sorted(_barred(data, row))),
        fixed=_fixed(data, row),
        due_on=row.visit.due_on,
        late_cost_per_day=row.late_cost_per_day,
        promise=planner.Promise(promise, PROMISE_S, PROMISE_COST) if promise else None,
        before=_before(data, row),
        group=QUARANTINE if row.is_quarantine else OTHERS,
        load_kg=row.load.kg,
        load_l=row.load.litres,
    )


def _settled_visit(data: WeekInput, row: VisitInput) -> planner.Visit:
    return planner.Visit(
        id=row.id,
        name=row.visit.site.name,
        place=site_id(row),
        duration_s=row.service_s,
        skip_cost=SETTLED_COST,
        fixed=_fixed(data, row),
        before=_before(data, row),
        group=QUARANTINE if row.is_quarantine else OTHERS,
        load_kg=row.load.kg,
        load_l=row.load.litres,
    )


def _before(data: WeekInput, row: VisitInput) -> planner.Before | None:
    if row.before is None:
        return None
    position = data.orders[row.before].index(row.id)
    before = planner.Before(str(row.before[0]), row.before[1], position, MOVED_COST)
    helper = data.visits.get(helper_of(row.id))
    if helper is None or helper.before is None:
        return before
    return replace(
        before,
        begins=row.begins,
        helper=str(helper.before[0]),
        helper_position=data.orders[helper.before].index(helper.id),
    )


def _kept(data: WeekInput, key: Key, timed: Timed) -> planner.Kept:
    zone = ZoneInfo(data.technicians[key[0]].time_zone)
    return planner.Kept(
        technician=str(key[0]),
        date=key[1],
        leave=instant(key[1], timed.leave_s or 0, zone),
        back=instant(key[1], timed.return_s or 0, zone),
        visits=tuple(data.orders[key]),
    )


def told(reason: Reason, currency: str = "") -> str:
    """A reason of the planner in the reader's language. ``currency``: of the costs in it."""
    shown = {key: _shown(value) for key, value in reason.params.items()}
    for name in ("cost", "waiting"):
        if currency and name in shown:
            shown[name] = f"{currency} {shown[name]}"
    return gettext(WORDS[reason.rule]).format(**shown)


def _shown(value: object) -> str:
    if isinstance(value, datetime):
        return f"{value:%H:%M}"
    if isinstance(value, date):
        return str(date_format(value, "D j M"))
    return str(value)
