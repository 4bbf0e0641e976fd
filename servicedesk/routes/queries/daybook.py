"""The days of technicians as ``routes.urgent`` reads them: what is still to come, from where and when on."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.people.models import Lodging, Permission, Technician
from servicedesk.planner import problem as planner
from servicedesk.routes.models import Round, Stop
from servicedesk.routes.queries.ends import ends_of, lodgings_of, points_of
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.shifts import Shift, shifts_between
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.queries.windows import site_windows, visit_windows
from servicedesk.routes.times import instant
from servicedesk.routes.translate import OUT_COST, PROMISE_COST, lunch_hours
from servicedesk.routes.travel import MatrixProvider, Point
from servicedesk.routes.urgent import Day, Known, Rates
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

ONE_DAY = timedelta(days=1)
EXTRA_SKIP_COST = Decimal(500)
READY = timedelta(minutes=10)
ENDED = (Visit.State.SIGNED, Visit.State.NOT_DONE, Visit.State.CANCELLED)


@dataclass(frozen=True, slots=True)
class Entry:
    """A technician's day: as a day to put something into, or the reason why nothing can be put there."""

    technician: Technician
    date: date
    round: Round | None
    day: Day | None
    why_not: str = ""
    settled: tuple[Stop, ...] = ()


def entries_ahead(now: datetime, first: date, last: date, also: Iterable[Point] = ()) -> list[Entry]:
    """What is left of each technician's days, from ``now`` on. ``also``: points that may be driven to."""
    return [_ahead(*row, now) for row in _days(first, last, also)]


def entries_of(first: date, last: date, also: Iterable[Point] = ()) -> list[Entry]:
    """Each technician's days whole, as they stand in the books, whether they are over or not."""
    return [_whole(*row) for row in _days(first, last, also)]


@dataclass(frozen=True, slots=True)
class Held:
    """What holds for all days of one technician: permissions, the drives among all places, nights, shared visits."""

    permissions: tuple[planner.Permission, ...]
    travel: MatrixProvider
    lodgings: Mapping[int, Lodging]
    shared: frozenset[UUID]


Read = tuple[Technician, date, Shift, Round | None, Held]


def _days(first: date, last: date, also: Iterable[Point]) -> list[Read]:
    technicians = list(technicians_between(first, last))
    shifts = shifts_between(technicians, first, last)
    rounds = {(row.technician_id, row.date): row for row in _rounds(first, last)}
    held = _held(technicians)
    lodgings = lodgings_of(rounds.values())
    points = [(who.home_latitude, who.home_longitude) for who in technicians] + points_of(lodgings.values())
    shared = _shared(rounds.values())
    points += [_place(stop.visit) for row in rounds.values() for stop in row.stops.all()]
    travel = provider_for([*points, *also])
    return [
        (
            who,
            day,
            shifts[who.pk, day],
            rounds.get((who.pk, day)),
            Held(held.get(who.user_id, ()), travel, lodgings, shared),
        )
        for who in technicians
        for day in (first + ONE_DAY * step for step in range((last - first).days + 1))
    ]


def _rounds(first: date, last: date) -> Iterable[Round]:
    sites = Site.objects.prefetch_related("access_windows", "closures").select_related("client")
    visits = Visit.objects.select_related("agreement").prefetch_related(Prefetch("site", queryset=sites))
    stops = Stop.objects.prefetch_related(Prefetch("visit", queryset=visits))
    return Round.objects.filter(date__range=(first, last)).select_related("plan", "van").prefetch_related(
        Prefetch("stops", queryset=stops)
    )  # fmt: skip


def _held(technicians: Sequence[Technician]) -> dict[int, tuple[planner.Permission, ...]]:
    found: dict[int, list[planner.Permission]] = {}
    rows = Permission.objects.filter(user__in=[who.user_id for who in technicians]).select_related("kind")
    for row in rows:
        found.setdefault(row.user_id, []).append(planner.Permission(row.kind.name, row.first_day, row.last_day))
    return {user: tuple(held) for user, held in found.items()}


def _day(
    who: Technician,
    day: date,
    shift: Shift,
    hours: tuple[int, int],
    held: Held,
    known: tuple[Known, ...],
    row: Round | None,
) -> Day:
    """A whole day from where it begins to where it ends."""
    zone = ZoneInfo(who.time_zone)
    ends = ends_of(who, row, held.lodgings)
    lunch = None
    from_s, by_s = lunch_hours(day, zone)
    if shift.lunch_min and hours[0] < by_s < hours[1]:
        lunch = (shift.lunch_min * 60, instant(day, from_s, zone), instant(day, by_s, zone))
    return Day(
        name=str(who), date=day, zone=who.time_zone, opens=instant(day, hours[0], zone),
        closes=instant(day, hours[1], zone), start=ends.start.point, end=ends.end.point, known=known,
        drive_empty=not ends.are_home,
        rates=Rates(who.hourly_cost, who.overtime_factor, who.km_cost, OUT_COST, PROMISE_COST),
        max_overtime_s=0 if shift.goes_early else who.max_overtime_min * 60, lunch=lunch,
        permissions=held.permissions, travel=held.travel,
    )  # fmt: skip


def _shared(rounds: Iterable[Round]) -> frozenset[UUID]:
    """Visits at which somebody helps."""
    return frozenset(stop.visit_id for row in rounds for stop in row.stops.all() if stop.helps)


def _known(
    stop: Stop,
    day: date,
    zone: ZoneInfo,
    windows: tuple[tuple[datetime, datetime], ...] | None,
    shared: frozenset[UUID],
) -> Known:
    """A stop still to come. Where two people begin together, neither changes day or hour for something else."""
    visit = stop.visit
    promise = None
    begins, length = instant(day, stop.start_s, zone), timedelta(seconds=stop.leave_s - stop.start_s)
    is_shared = visit.pk in shared
    if visit.promised_start is not None and visit.planned_on is not None and visit.state in OPEN and not stop.helps:
        promise = datetime.combine(visit.planned_on, visit.promised_start, tzinfo=ZoneInfo(visit.site.time_zone))
    return Known(
        id=str(visit.pk), name=visit.site.name, at=(visit.site.latitude, visit.site.longitude),
        zone=visit.site.time_zone, duration_s=_seconds(stop), begins=begins,
        windows=((begins, begins + length),) if is_shared else windows, promise=promise,
        skip_cost=visit.agreement.skip_cost if visit.agreement else EXTRA_SKIP_COST,
        fixed=stop.locked or is_shared, shared=is_shared, helps=stop.helps,
    )  # fmt: skip


def _seconds(stop: Stop) -> int:
    return stop.leave_s - stop.start_s if stop.helps else stop.visit.duration_min * 60


def _ended(stop: Stop) -> datetime | None:
    """When a stop was over: the visit, or the part of it that somebody helped with."""
    begun, ended = stop.visit.started_at, stop.visit.ended_at
    if not stop.helps or begun is None:
        return ended
    return min(begun + timedelta(seconds=_seconds(stop)), ended or datetime.max.replace(tzinfo=UTC))


def windows_of_site(site: Site, day: date) -> tuple[tuple[datetime, datetime], ...]:
    """When one may work at a site on a day or in the night before and after it."""
    rows = [window for step in (-1, 0, 1) for window in site_windows(site, day + ONE_DAY * step)]
    return tuple((row.opens, row.closes) for row in rows)


def _whole(who: Technician, day: date, shift: Shift, row: Round | None, held: Held) -> Entry:
    if shift.hours is None:
        return Entry(who, day, row, None, shift.why_off)
    zone = ZoneInfo(who.time_zone)
    stops = row.stops.all() if row is not None else ()
    known = tuple(_known(stop, day, zone, windows_of_site(stop.visit.site, day), held.shared) for stop in stops)
    return Entry(who, day, row, _day(who, day, shift, shift.hours, held, known, row))


def _ahead(who: Technician, day: date, shift: Shift, row: Round | None, held: Held, now: datetime) -> Entry:
    zone = ZoneInfo(who.time_zone)
    today = now.astimezone(zone).date()
    if shift.hours is None:
        return Entry(who, day, row, None, shift.why_off)
    if row is not None and row.locked:
        return Entry(who, day, row, None, _("the round is locked"))
    if day < today:
        return Entry(who, day, row, None, _("the day is over"))
    stops = list(row.stops.all()) if row is not None else []
    settled = [stop for stop in stops if stop.visit.state not in OPEN]
    to_come = [stop for stop in stops if stop.visit.state in OPEN]
    known = tuple(_known(stop, day, zone, _windows_ahead(stop.visit, day, today), held.shared) for stop in to_come)
    whole = _day(who, day, shift, shift.hours, held, known, row)
    left = _from_now(whole, row, settled, to_come, zone, now) if day == today else whole
    if left.opens >= left.closes + timedelta(seconds=left.max_overtime_s):
        return Entry(who, day, row, None, _("the working day is over"))
    return Entry(who, day, row, left, settled=tuple(settled))


def _windows_ahead(visit: Visit, day: date, today: date) -> tuple[tuple[datetime, datetime], ...]:
    rows = visit_windows(visit, day - ONE_DAY, day + ONE_DAY, min(day - ONE_DAY, today))
    return tuple((row.opens, row.closes) for row in rows)


def _from_now(
    whole: Day, row: Round | None, settled: Sequence[Stop], to_come: Sequence[Stop], zone: ZoneInfo, now: datetime
) -> Day:
    """What is left of today: from where the technician is, as far as the visits tell."""
    fields: dict[str, object] = {"opens": max(whole.opens, now + READY)}
    over = [stop for stop in settled if _is_over(stop, now)]
    begun = [stop for stop in settled if stop.visit.state == Visit.State.STARTED and stop not in over]
    leave = instant(whole.date, row.leave_s, zone) if row is not None and row.leave_s is not None else None
    if begun:
        visit = begun[-1].visit
        ends = (visit.started_at or now) + timedelta(seconds=_seconds(begun[-1]))
        fields = {"start": _place(visit), "opens": max(ends, now + READY), "under_way": True}
    elif over:
        last = max(over, key=lambda stop: _ended(stop) or now).visit
        fields = {"start": _place(last), "opens": now, "under_way": True}
    elif leave is not None and to_come and now >= leave:
        arriving = now - timedelta(seconds=to_come[0].travel_s)
        fields = {"opens": max(leave, arriving), "first_free": 1, "under_way": True}
    return replace(whole, **fields)  # type: ignore[arg-type]


def _is_over(stop: Stop, now: datetime) -> bool:
    ended = _ended(stop)
    return ended is not None and (stop.visit.state in ENDED or (stop.helps and ended <= now))


def _place(visit: Visit) -> tuple[float, float]:
    return visit.site.latitude, visit.site.longitude


def typed_windows(day: date, low: time, high: time, zone: ZoneInfo) -> tuple[tuple[datetime, datetime], ...]:
    """Hours of a day as typed; ending at or before the beginning means the next date."""
    end = day + ONE_DAY if high <= low else day
    return ((datetime.combine(day, low, tzinfo=zone), datetime.combine(end, high, tzinfo=zone)),)


def day_words(day: date) -> str:
    return str(date_format(day, "D j M"))
