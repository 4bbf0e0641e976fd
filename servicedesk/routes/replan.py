"""A week planned again from a moment on: what was begun stays, who is out does no more, the rest is open.

``OpenWeek`` is the week made ready; what comes back are whole rounds, the part already driven at its actual times.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import date

from servicedesk.planner import problem as planner
from servicedesk.planner.calls import Call, calls
from servicedesk.planner.desk import Desk
from servicedesk.planner.plan import Plan
from servicedesk.routes.crews import helper_of
from servicedesk.routes.kept import KeptRound
from servicedesk.routes.nights import shifts_left
from servicedesk.routes.planning import Solved, WeekProblem
from servicedesk.routes.queries.ends import ends_of
from servicedesk.routes.queries.problem import Key, ShiftInput, VisitInput, WeekInput
from servicedesk.routes.queries.round import AWAY, StopTimes
from servicedesk.routes.queries.running import LiveRound
from servicedesk.routes.running import Expected
from servicedesk.routes.scope import Scope
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import seconds_at
from servicedesk.routes.timing import Timer
from servicedesk.routes.translate import is_settled

MOST_CALLS = 60


class PlannedWeek(WeekProblem):
    """A week that remembers the plan that was found for it, to be asked about."""

    def __init__(self, data: WeekInput, stands: Mapping[Key, KeptRound] | None = None) -> None:
        self.plan: Plan | None = None
        self.stands = stands or {}
        super().__init__(data)

    def best_calls(self) -> list[Call]:
        """The telephone calls that would save most, of the visits that come next."""
        return [] if self.plan is None or self.asked is None else calls_of(self.asked, self.plan)

    def _solved(self, plan: Plan) -> Solved:
        self.plan = plan
        found = self._found(plan)
        return replace(found, rounds=self._with_settled(found.rounds))

    def _found(self, plan: Plan) -> Solved:
        return super()._solved(plan)

    def _with_settled(self, rounds: Mapping[Key, Timed]) -> dict[Key, Timed]:
        """What was begun, ended or called off stands where it stood, also where nobody could plan it in."""
        found = dict(rounds)
        for key, kept in self.stands.items():
            if key in self.data.kept:
                continue
            there = {stop.call for stop in found.get(key, Timed()).stops}
            stay = [stop for stop in kept.times.stops if stop.call not in there and self._is_settled(stop)]
            if stay:
                found[key] = _beside(found.get(key, Timed()), stay, kept, self.data)
        return found

    def _is_settled(self, stop: StopTimes) -> bool:
        return stop.visit_id in self.data.visits and is_settled(self.data.visits[stop.visit_id])


class OpenWeek(PlannedWeek):
    """A week of which only what is still open is planned."""

    def __init__(
        self,
        data: WeekInput,
        scope: Scope,
        live: Collection[LiveRound],
        stands: Mapping[Key, KeptRound] | None = None,
    ) -> None:
        self.live = {row.key: row for row in live}
        super().__init__(_opened(data, scope, self.live), stands)

    def _timer_of(self, data: WeekInput) -> Timer:
        timer = super()._timer_of(data)
        timer.use(_from_here(timer.problem, data, self.live))
        return timer

    def _found(self, plan: Plan) -> Solved:
        found = super()._found(plan)
        rounds = dict(found.rounds)
        for key, row in self.live.items():
            if key in self.data.kept:
                continue
            rest = rounds.get(key, Timed())
            over = self.stands[key].as_timed() if self._is_over(row, rest) else None
            rounds[key] = over or whole_round(row, rest, self.data)
        for key in self.data.orders:  # of those who are out: what is left of their days
            if key not in self.data.kept and key not in rounds:
                rounds[key] = Timed()
        return Solved(rounds, found.left_out, found.iterations)

    def _is_over(self, row: LiveRound, rest: Timed) -> bool:
        """Driven to its end, and nothing comes to it: it stays as it is in the books."""
        kept = self.stands.get(row.key)
        driven = {stop.call for stop in kept.times.stops} if kept is not None else set()
        return row.is_over and not rest.stops and driven == {_call(stop) for stop in row.run.stops}


def _call(stop: Expected) -> str:
    return helper_of(stop.visit_id) if stop.helps else stop.visit_id


def _beside(rest: Timed, stay: Sequence[StopTimes], kept: KeptRound, data: WeekInput) -> Timed:
    """A round with stops that stay at their times; a day otherwise empty is driven for them alone."""
    if rest.stops:
        return replace(
            rest,
            stops=sorted([*rest.stops, *stay], key=lambda stop: stop.start_s),
            leave_s=min(rest.leave_s or 0, stay[0].arrive_s - stay[0].travel_s),
            return_s=max(rest.return_s or 0, stay[-1].leave_s),
            travel_s=rest.travel_s + sum(stop.travel_s for stop in stay),
            distance_m=rest.distance_m + sum(stop.distance_m for stop in stay),
        )
    shift = data.shifts.get(kept.key)
    ends = shift.ends if shift is not None else ends_of(data.technicians[kept.technician], None, {})
    here, stops = ends.start.point, []
    for stop in stay:
        site = data.visits[stop.visit_id].visit.site
        drive_s, drive_m = data.travel.drive(here, (site.latitude, site.longitude))
        stops.append(replace(stop, travel_s=drive_s, distance_m=drive_m, arrive_s=stop.start_s))
        here = (site.latitude, site.longitude)
    back_s, back_m = data.travel.drive(here, ends.end.point)
    return Timed(
        stops=stops,
        leave_s=max(stops[0].start_s - stops[0].travel_s, 0),
        return_s=stops[-1].leave_s + back_s,
        travel_s=back_s + sum(stop.travel_s for stop in stops),
        distance_m=back_m + sum(stop.distance_m for stop in stops),
    )


def calls_of(problem: planner.Problem, plan: Plan) -> list[Call]:
    """The best calls for a plan, looking only at the visits that come first, since each is tried by itself."""
    promised = {row.id for row in problem.visits if row.promise is not None}
    stops = sorted(
        (stop.begin, stop.visit) for row in plan.rounds for stop in row.stops if stop.visit in promised and stop.visit
    )
    wanted = [visit for _begin, visit in stops[:MOST_CALLS]]
    left = [row.visit for row in plan.unserved if row.visit in promised][:MOST_CALLS]
    return calls(Desk(problem, plan), {*wanted, *left}) if wanted or left else []


def _opened(data: WeekInput, scope: Scope, live: Mapping[Key, LiveRound]) -> WeekInput:
    """The week without those who are out, and with today's rounds open from now on."""
    kept = {key for key in data.kept if not _may_open(key, data, scope, live)}
    shifts, gone = {}, set()
    for key, own in data.shifts.items():
        shift = own
        leaves = scope.leaves_at(shift.technician, shift.day)
        if leaves is not None:
            shift = replace(
                shift, close_s=min(shift.close_s, seconds_at(leaves, shift.day, shift.zone)), goes_early=True
            )
        elif scope.is_out(shift.technician, shift.day):
            gone.add(key)
            continue
        is_today = shift.day == scope.today(shift.technician.time_zone)
        later = _from_now(shift, scope, live.get(key)) if is_today else shift
        if later is not None:
            shifts[key] = later
    visits = {pk: _opened_visit(row, data, scope, live) for pk, row in data.visits.items()}
    return replace(data, shifts=shifts_left(shifts, kept, gone), kept=frozenset(kept), visits=visits)


def _may_open(key: Key, data: WeekInput, scope: Scope, live: Mapping[Key, LiveRound]) -> bool:
    who = data.technicians.get(key[0])
    if who is None or key[1] < scope.today(who.time_zone):
        return False
    if scope.is_out(who, key[1]):
        return True
    row = live.get(key)
    return row is not None and not row.round.locked


def _opened_visit(row: VisitInput, data: WeekInput, scope: Scope, live: Mapping[Key, LiveRound]) -> VisitInput:
    """What is locked to somebody who is out is free again; what today's rounds have behind them is not planned."""
    if row.pinned is None:
        return row
    if is_settled(row):
        return replace(row, pinned=None) if row.pinned in live else row
    who = data.technicians.get(row.pinned[0])
    return replace(row, pinned=None) if who is not None and scope.is_out(who, row.pinned[1]) else row


def _from_now(shift: ShiftInput, scope: Scope, live: LiveRound | None) -> ShiftInput | None:
    """What is left of today's shift: from the end of the visit under way, without a break already taken."""
    now_s = seconds_at(scope.since, shift.day, shift.zone)
    opens, lunch = max(shift.open_s, now_s), shift.lunch_min
    if live is not None:
        behind = _behind(live)
        opens = max([opens, *(stop.leave_s for stop in behind)])
        taken = live.run.break_start_s
        lunch = 0 if behind and taken is not None and taken < opens else lunch
    if opens >= shift.close_s:
        return None
    return replace(shift, open_s=opens, lunch_min=lunch)


def _behind(live: LiveRound) -> list[Expected]:
    return [stop for stop in live.run.stops if stop.state != "ahead"]


def _from_here(problem: planner.Problem, data: WeekInput, live: Mapping[Key, LiveRound]) -> planner.Problem:
    """Today's rounds begin where their technicians are."""
    places = {place.id for place in problem.places}
    more: list[planner.Place] = []
    starts: dict[tuple[str, date], str] = {}
    for key, row in live.items():
        behind = _behind(row)
        if not behind:
            continue
        site = row.visits[behind[-1].visit_id].site
        place = f"site-{site.pk}"
        if place not in places:
            places.add(place)
            more.append(planner.Place(place, site.latitude, site.longitude, site.time_zone, site.name))
        starts[str(key[0]), key[1]] = place
    people = tuple(
        replace(who, days=tuple(replace(day, start=starts.get((who.id, day.date), day.start)) for day in who.days))
        for who in problem.technicians
    )
    return replace(problem, technicians=people, places=(*problem.places, *more))


def whole_round(live: LiveRound, rest: Timed, data: WeekInput) -> Timed:
    """What was driven already at its actual times, then what is still to come."""
    behind = _behind(live)
    if not behind:
        return rest
    stops = [
        StopTimes(
            row.visit_id, row.travel_s, row.distance_m, row.arrive_s, row.start_s, row.leave_s, helps=row.helps
        )
        for row in behind
    ]  # fmt: skip
    travel, metres = sum(stop.travel_s for stop in stops), sum(stop.distance_m for stop in stops)
    begun = live.run.break_start_s
    nights = {name: getattr(live.going.times, name) for name in AWAY}
    pause = (begun, live.run.break_s) if begun is not None and begun < stops[-1].leave_s else (None, 0)
    if not rest.stops:
        site = live.visits[stops[-1].visit_id].site
        back_s, back_m = data.travel.drive((site.latitude, site.longitude), live.going.end)
        back = stops[-1].leave_s + back_s
        return Timed(
            stops=stops, leave_s=live.run.leave_s, return_s=back, travel_s=travel + back_s, distance_m=metres + back_m,
            break_start_s=pause[0], break_s=pause[1], **nights,
        )  # fmt: skip
    return Timed(
        stops=[*stops, *rest.stops], leave_s=live.run.leave_s, return_s=rest.return_s, travel_s=travel + rest.travel_s,
        distance_m=metres + rest.distance_m, overtime_s=rest.overtime_s,
        break_start_s=pause[0] if pause[0] is not None else rest.break_start_s,
        break_s=pause[1] or rest.break_s, cost=rest.cost, hard=rest.hard, soft=rest.soft,
        **nights,
    )  # fmt: skip
