"""Who is out, by leave or because the planner said so, and what that takes off their published rounds."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from servicedesk.people.models import Leave, Lodging, Technician
from servicedesk.routes.crews import visit_of
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.queries.changes import Part, is_asked, part_of, visits_of
from servicedesk.routes.queries.ends import Ends, ends_of, lodgings_of, points_of
from servicedesk.routes.queries.outs import outs_between
from servicedesk.routes.queries.round import RoundTimes, StopTimes, today_of
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.times import instant, midnight
from servicedesk.routes.travel import MatrixProvider, Point
from servicedesk.visits.models import Visit

Span = tuple[datetime, datetime]
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Apart:
    """``told``: what is taken off people who are out, in force at once. ``rest``: what remains to be asked."""

    told: list[Part]
    rest: list[Part]


@dataclass(frozen=True, slots=True)
class Asks:
    """Names: whom publishing would ask instead of changing the round under them, and whom it would only tell."""

    asked: list[str]
    told: list[str]


def asks_of(plan: WeekPlan | None) -> Asks:
    if plan is None or plan.state == WeekPlan.State.PUBLISHED:
        return Asks([], [])
    apart = set_apart([part_of(row) for row in rounds_to_publish(plan)])
    asked = [part for part in apart.rest if is_asked(part, today_of(part.round.technician))]
    return Asks(_names(asked), _names(apart.told))


def rounds_to_publish(plan: WeekPlan) -> list[Round]:
    return list(plan.rounds.select_related("technician__user", "plan").prefetch_related("stops__visit"))


def _names(parts: Iterable[Part]) -> list[str]:
    return list(dict.fromkeys(str(part.round.technician) for part in parts))


def away_between(technicians: Iterable[Technician], first: date, last: date) -> dict[int, list[Span]]:
    """By technician, the spans in which they are not there."""
    people = {row.pk: row for row in technicians}
    found: dict[int, list[Span]] = {}
    for pk, rows in outs_between(first, last).items():
        if pk in people:
            zone = ZoneInfo(people[pk].time_zone)
            found.setdefault(pk, []).extend((row.since, row.ends(zone)) for row in rows)
    for leave in Leave.objects.filter(technician__in=people, first_day__lte=last, last_day__gte=first):
        zone = ZoneInfo(people[leave.technician_id].time_zone)
        found.setdefault(leave.technician_id, []).extend(_leave_spans(leave, zone))
    return found


def _leave_spans(leave: Leave, zone: ZoneInfo) -> list[Span]:
    days = [leave.first_day + ONE_DAY * step for step in range((leave.last_day - leave.first_day).days + 1)]
    spans = []
    for day in days:
        noon = datetime.combine(day, time(12), tzinfo=zone)
        begins = noon if leave.part == Leave.Part.AFTERNOON else midnight(day, zone)
        ends = noon if leave.part == Leave.Part.MORNING else midnight(day + ONE_DAY, zone)
        spans.append((begins, ends))
    return spans


def set_apart(parts: Sequence[Part]) -> Apart:
    """Part what those who are out cannot do any more, which needs no answer of theirs, from all that does."""
    days = [part.round.date for part in parts]
    away = away_between([part.round.technician for part in parts], min(days), max(days)) if days else {}
    concerned = [part for part in parts if away.get(part.round.technician_id) and _loses(part)]
    if not concerned:
        return Apart([], list(parts))
    visits = visits_of(concerned)
    lodgings = lodgings_of(part.old for part in concerned)
    ends = {part.round.pk: ends_of(part.round.technician, part.old, lodgings) for part in concerned}
    travel = provider_for(_points(concerned, visits, lodgings.values()))
    told, rest = [], []
    for part in parts:
        own = ends.get(part.round.pk)
        taken = _taken(part, away[part.round.technician_id], own.end.point, visits, travel) if own else set()
        if not taken or part.old is None or own is None:
            rest.append(part)
            continue
        left = replace(part, old=_shortened(part.old, taken, own, visits, travel))
        if is_asked(left, today_of(part.round.technician)):
            told.append(replace(part, new=left.old if left.before else None))
            rest.append(left)
        else:
            told.append(part)
            rest.append(replace(part, old=part.new))
    return Apart(told, rest)


def _loses(part: Part) -> bool:
    is_ahead = part.round.date >= today_of(part.round.technician)
    return is_ahead and any(visit_of(call) not in part.settled for call in set(part.before) - set(part.after))


def _taken(
    part: Part, away: Sequence[Span], end: Point, visits: Mapping[str, Visit], travel: MatrixProvider
) -> set[str]:
    """The stops that are given away and cannot be reached, done and left for the day's end before the person goes.

    One that was not begun at its hour is done from now on, if at all.
    """
    now = timezone.now()
    zone = ZoneInfo(part.round.technician.time_zone)
    found = set()
    for stop in part.old.stops if part.old else ():
        if stop.call in part.after or stop.visit_id in part.settled or stop.visit_id not in visits:
            continue
        way_s, _metres = travel.drive(_at(visits[stop.visit_id]), end)
        begins, ends = (instant(part.round.date, at, zone) for at in (stop.arrive_s, stop.leave_s + way_s))
        late = max(now - begins, timedelta(0))
        if any(low < ends + late and begins + late < high for low, high in away):
            found.add(stop.visit_id)
    return found


def _shortened(
    old: RoundTimes, taken: set[str], ends: Ends, visits: Mapping[str, Visit], travel: MatrixProvider
) -> RoundTimes:
    """A round without some stops: the others keep their hours, the drives between them are anew."""
    here, before, stops = ends.start.point, "", list[StopTimes]()
    previous = {after.visit_id: stop.visit_id for stop, after in zip(old.stops, old.stops[1:], strict=False)}
    for stop in old.stops:
        if stop.visit_id in taken or stop.visit_id not in visits:
            continue
        drive = (stop.travel_s, stop.distance_m)
        if previous.get(stop.visit_id, "") != before:
            drive = travel.drive(here, _at(visits[stop.visit_id]))
        since = stops[-1].leave_s if stops else stop.start_s - drive[0]
        arrive = min(stop.start_s, since + drive[0]) if drive[0] != stop.travel_s else stop.arrive_s
        stops.append(replace(stop, travel_s=drive[0], distance_m=drive[1], arrive_s=arrive))
        here, before = _at(visits[stop.visit_id]), stop.visit_id
    if not stops:
        return RoundTimes(None, None, 0, 0, 0, None, 0, [], is_published=True)
    back_s, back_m = travel.drive(here, ends.end.point)
    last = stops[-1].leave_s
    has_break = old.break_start_s is not None and old.break_start_s < last
    return replace(
        old,
        stops=stops,
        leave_s=stops[0].arrive_s - stops[0].travel_s,
        return_s=last + back_s,
        travel_s=back_s + sum(stop.travel_s for stop in stops),
        distance_m=back_m + sum(stop.distance_m for stop in stops),
        overtime_s=max(old.overtime_s - max((old.return_s or 0) - last - back_s, 0), 0),
        break_start_s=old.break_start_s if has_break else None,
        break_s=old.break_s if has_break else 0,
    )


def _points(parts: Iterable[Part], visits: Mapping[str, Visit], lodgings: Iterable[Lodging]) -> list[Point]:
    homes = (_home(part.round.technician) for part in parts)
    return [*homes, *points_of(lodgings), *map(_at, visits.values())]


def _home(who: Technician) -> Point:
    return who.home_latitude, who.home_longitude


def _at(visit: Visit) -> Point:
    return visit.site.latitude, visit.site.longitude
