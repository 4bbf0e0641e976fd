"""Days as they were driven: the visits' own beginnings and ends, with the drives between them.

Nobody stamps a drive: a leg takes the time planned for it where the stops followed one another as planned, else the
estimate, and never more than there was between two visits. The rest of the gap is a break where one was planned and
there was time for it, else a wait.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.hours import Span
from servicedesk.routes.models import HoursEntry, Round, Stop
from servicedesk.routes.queries.ends import Base, Ends, ends_of, lodgings_of, points_of
from servicedesk.routes.queries.round import RoundTimes, times_published
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.times import instant
from servicedesk.routes.travel import MatrixProvider
from servicedesk.visits.models import Visit


@dataclass(frozen=True, slots=True)
class Leg:
    """A visit, or help at one, with the way to it; the way back has none and belongs to the last city, as a night."""

    city: str
    visit: Visit | None
    metres: int
    drive_s: int
    work_s: int
    wait_s: int
    lodging: Decimal = Decimal(0)
    helped: bool = False


@dataclass(frozen=True, slots=True)
class Worked:
    """A visit that somebody did, or helped at for its first minutes, with the stop it was planned as."""

    visit: Visit
    starts: datetime | None
    ends: datetime | None
    stop: Stop | None
    helped: bool = False

    @property
    def is_done(self) -> bool:
        return self.starts is not None and self.ends is not None and self.ends > self.starts

    @property
    def words(self) -> str:
        return _("%(site)s, helped") % {"site": self.visit.site} if self.helped else str(self.visit.site)


@dataclass(slots=True)
class ActualDay:
    """``ends``: home, or the lodgings of the nights before and after."""

    technician: Technician
    day: date
    travel: MatrixProvider
    ends: Ends
    spans: list[Span] = field(default_factory=list)
    legs: list[Leg] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def actual_days(technicians: Iterable[Technician], first: date, last: date) -> list[ActualDay]:
    """The days of work that began from ``first`` to ``last``, in a fixed number of queries."""
    people = {row.user_id: row for row in technicians}
    visits = _visits(people, first, last)
    stops = {
        row.visit_id: row
        for row in Stop.objects.filter(helps=False, visit__in=[visit.pk for visit in visits]).select_related("round")
    }
    helped = _helped(people.values(), first, last)
    back = _ways_home({stop.round for stop in [*stops.values(), *helped]})
    found: dict[tuple[int, date], list[Worked]] = {}
    for visit in visits:
        who = people[visit.technician_id or 0]
        worked = Worked(visit, visit.started_at, visit.ended_at, stops.get(visit.pk))
        found.setdefault((who.pk, _day_of(worked, who)), []).append(worked)
    by_pk = {row.pk: row for row in people.values()}
    for stop in helped:
        who = by_pk[stop.round.technician_id]
        found.setdefault((who.pk, stop.round.date), []).append(_help(stop))
    entries = _entries(people.values(), first, last)
    homes = [(row.home_latitude, row.home_longitude) for row in people.values()]
    away = _away(people.values(), first, last)
    lodgings = lodgings_of(away.values())
    points = [*homes, *points_of(lodgings.values())]
    sites = [worked.visit.site for rows in found.values() for worked in rows]
    travel = provider_for([*points, *((site.latitude, site.longitude) for site in sites)])
    days = []
    for pk, day in sorted({*found, *entries, *away}, key=lambda key: (key[1], key[0])):
        if first <= day <= last:
            own = sorted(found.get((pk, day), []), key=lambda worked: worked.starts or _NEVER)
            times = away.get((pk, day))
            out = ActualDay(by_pk[pk], day, travel, ends_of(by_pk[pk], times, lodgings))
            _day(out, own, back, entries.get((pk, day), []))
            if times is not None and not out.legs:
                _drive_only(out, times)
            if out.spans or out.notes:
                days.append(out)
    return days


_NEVER = datetime.max.replace(tzinfo=UTC)


def _visits(people: dict[int, Technician], first: date, last: date) -> list[Visit]:
    low = datetime.combine(first - timedelta(days=1), time(), tzinfo=UTC)
    high = datetime.combine(last + timedelta(days=3), time(), tzinfo=UTC)
    return list(
        Visit.objects.filter(technician__in=people, started_at__range=(low, high))
        .filter(Q(state__in=[Visit.State.SIGNED, Visit.State.NOT_DONE, Visit.State.STARTED]) | ~Q(ended_at=None))
        .select_related("site")
        .order_by("started_at")
    )


def _away(people: Iterable[Technician], first: date, last: date) -> dict[tuple[int, date], RoundTimes]:
    """Published rounds before or after a night away, also those on which nothing was to be done."""
    rows = Round.objects.filter(
        Q(published__has_key="lodging_id") | Q(published__has_key="start_lodging_id"),
        technician__in=list(people), date__range=(first, last),
    )  # fmt: skip
    return {(row.technician_id, row.date): times for row in rows if (times := times_published(row)) is not None}


def _drive_only(out: ActualDay, times: RoundTimes) -> None:
    """A day on which somebody only drove to a lodging or home from one, at the hours that were published."""
    zone = ZoneInfo(out.technician.time_zone)
    back = instant(out.day, times.return_s or 0, zone)
    if times.return_s is None or back > timezone.now():
        return
    seconds, metres = out.travel.drive(out.ends.start.point, out.ends.end.point)
    base = out.ends.start if out.ends.end.is_home else out.ends.end
    city = base.lodging.city if base.lodging is not None else ""
    out.spans.append(Span("drive", back - timedelta(seconds=seconds), back, _back_words(out.ends.end)))
    out.legs.append(Leg(city, None, metres, seconds, 0, 0, out.ends.end.price))


def _back_words(base: Base) -> str:
    return _("drive home") if base.is_home else _("drive to %(lodging)s") % {"lodging": base.name}


def _helped(technicians: Iterable[Technician], first: date, last: date) -> list[Stop]:
    """Where somebody was sent to help at a visit that was begun."""
    stops = Stop.objects.filter(
        helps=True, round__technician__in=technicians, round__date__range=(first, last),
        round__published__isnull=False, visit__started_at__isnull=False,
    )  # fmt: skip
    return list(stops.select_related("round", "visit__site"))


def _help(stop: Stop) -> Worked:
    """Nobody stamps the helper's part: it is the visit's first minutes, so many as were planned for it."""
    begun, ended = stop.visit.started_at, stop.visit.ended_at
    until = begun + timedelta(seconds=stop.leave_s - stop.start_s) if begun is not None else None
    if until is not None and ended is not None:
        until = min(until, ended)
    is_over = until is not None and until <= timezone.now()
    return Worked(stop.visit, begun, until if is_over else None, stop, helped=True)


def _day_of(worked: Worked, who: Technician) -> date:
    """The date the work belongs to: that of the round when it was done on it, also past midnight."""
    stop = worked.stop
    begun = worked.starts.astimezone(ZoneInfo(who.time_zone)).date() if worked.starts else date.max
    if stop is not None and stop.round.technician_id == who.pk and 0 <= (begun - stop.round.date).days <= 1:
        return stop.round.date
    return begun


def _ways_home(rounds: Iterable[Round]) -> dict[int, tuple[Any, int, int]]:
    """Per round: its last visit, and the seconds and metres of its drive home as planned."""
    out: dict[int, tuple[Any, int, int]] = {}
    by_pk = {row.pk: row for row in rounds}
    for stop in Stop.objects.filter(round__in=by_pk).order_by("round", "position"):
        _last, seconds, metres = out.get(stop.round_id, (None, 0, 0))
        out[stop.round_id] = (stop.visit_id, seconds + stop.travel_s, metres + stop.distance_m)
    return {
        pk: (last, max(by_pk[pk].travel_s - seconds, 0), max(by_pk[pk].distance_m - metres, 0))
        for pk, (last, seconds, metres) in out.items()
    }


def _entries(technicians: Iterable[Technician], first: date, last: date) -> dict[tuple[int, date], list[HoursEntry]]:
    low = datetime.combine(first - timedelta(days=1), time(), tzinfo=UTC)
    high = datetime.combine(last + timedelta(days=2), time(), tzinfo=UTC)
    people = {row.pk: row for row in technicians}
    rows = HoursEntry.objects.filter(technician__in=people, archived_at=None, began_at__range=(low, high))
    found: dict[tuple[int, date], list[HoursEntry]] = {}
    for row in rows.order_by("began_at"):
        zone = ZoneInfo(people[row.technician_id].time_zone)
        found.setdefault((row.technician_id, row.began_at.astimezone(zone).date()), []).append(row)
    return found


def _day(
    out: ActualDay, worked: Sequence[Worked], back: dict[int, tuple[Any, int, int]], entries: Sequence[HoursEntry]
) -> ActualDay:
    done = [row for row in worked if row.is_done]
    for row in worked:
        if not row.is_done:
            site = row.visit.site
            out.notes.append(_("%(site)s was begun and not ended: its time is not counted yet.") % {"site": site})
    if done:
        _drive_through(out, done, back, typed_break=any(entry.kind == "break" for entry in entries))
    for entry in entries:
        kind = "break" if entry.kind == HoursEntry.Kind.BREAK else "other"
        out.spans.append(Span(kind, entry.began_at, entry.ended_at, entry.note or str(entry.get_kind_display())))
    return out


def _drive_through(
    out: ActualDay, done: Sequence[Worked], back: dict[int, tuple[Any, int, int]], *, typed_break: bool
) -> None:
    """Drives, waits, visits and the planned break of a day, from leaving home to being back."""
    before: Worked | None = None
    gaps: list[tuple[int, Span]] = []  # what is left of each gap after its drive
    free_from = done[0].starts
    for row in done:
        assert row.starts is not None and row.ends is not None and free_from is not None  # noqa: S101, PT018
        seconds, metres = _way(out, before, row)
        gap = seconds if before is None else max(round((row.starts - free_from).total_seconds()), 0)
        seconds = min(seconds, gap)
        leaves = row.starts - timedelta(seconds=seconds)
        if gap - seconds > 0:
            gaps.append((len(out.legs), Span("wait", free_from, leaves, _("waiting, or other work"))))
        site = row.visit.site
        out.spans.append(Span("drive", leaves, row.starts, _("drive to %(site)s") % {"site": site}))
        out.spans.append(Span("visit", row.starts, row.ends, row.words))
        work = round((row.ends - row.starts).total_seconds())
        out.legs.append(Leg(site.city, row.visit, metres, seconds, work, gap - seconds, helped=row.helped))
        before, free_from = row, max(free_from, row.ends)
    assert before is not None and free_from is not None  # noqa: S101, PT018
    seconds, metres = _home(out, before, back)
    out.spans.append(Span("drive", free_from, free_from + timedelta(seconds=seconds), _back_words(out.ends.end)))
    out.legs.append(Leg(before.visit.site.city, None, metres, seconds, 0, 0, out.ends.end.price))
    _rest(out, gaps, max((row.stop.round.break_s for row in done if row.stop is not None), default=0),
          typed_break=typed_break)  # fmt: skip


def _way(out: ActualDay, before: Worked | None, row: Worked) -> tuple[int, int]:
    """Seconds and metres to a visit: as planned when it came after the same stop as planned, else as known."""
    who, stop = out.technician, row.stop
    if stop is not None and stop.round.technician_id == who.pk:
        earlier = before.stop if before is not None else None
        follows = stop.position == 1 if before is None else (
            earlier is not None and earlier.round_id == stop.round_id and earlier.position == stop.position - 1
        )  # fmt: skip
        if follows:
            return stop.travel_s, stop.distance_m
    here = out.ends.start.point
    if before is not None:
        here = (before.visit.site.latitude, before.visit.site.longitude)
    return out.travel.drive(here, (row.visit.site.latitude, row.visit.site.longitude))


def _home(out: ActualDay, last: Worked, back: dict[int, tuple[Any, int, int]]) -> tuple[int, int]:
    who, stop, site = out.technician, last.stop, last.visit.site
    if stop is not None and stop.round.technician_id == who.pk:
        planned_last, seconds, metres = back[stop.round_id]
        if planned_last == last.visit.pk:
            return seconds, metres
    return out.travel.drive((site.latitude, site.longitude), out.ends.end.point)


def _rest(out: ActualDay, gaps: list[tuple[int, Span]], planned_s: int, *, typed_break: bool) -> None:
    """Put the planned break into the longest gap that holds it; without one the day had none."""
    widest = max(gaps, key=lambda row: row[1].seconds, default=None)
    for row in gaps:
        number, span = row
        if row is widest and planned_s and not typed_break and span.seconds >= planned_s:
            ends = span.starts + timedelta(seconds=planned_s)
            out.spans.append(Span("break", span.starts, ends, _("break as planned")))
            span = Span("wait", ends, span.ends, span.words)
            leg = out.legs[number]
            out.legs[number] = replace(leg, wait_s=leg.wait_s - planned_s)
        out.spans.append(span)
    if planned_s and not typed_break and (widest is None or widest[1].seconds < planned_s):
        out.notes.append(_("There was no time for the planned break: none is taken off."))
