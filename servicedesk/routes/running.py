"""A round as it goes: what is done at its actual times, what is ahead timed on from there.

All times are seconds from the local midnight of the round's date in the technician's zone, as in the plan.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from servicedesk.routes.queries.round import AWAY, RoundTimes, StopTimes
from servicedesk.routes.travel import MatrixProvider

PROMISE_S = 30 * 60
NOT_DONE_S = 10 * 60  # at the door of a visit that could not be done, whose end nobody noted
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Call:
    """What the timing must know of one visit. ``spans``: when one may work there; ``promise_s``: the hour told.

    ``for_two``: it needs two people; ``helps``: only the second person's part of it. ``together_s``: when the other
    of the two is expected, before whom nobody begins.
    """

    visit_id: str
    point: Point
    service_s: int
    started_s: int | None = None
    ended_s: int | None = None
    closed: bool = False
    spans: tuple[tuple[int, int], ...] = ()
    promise_s: int | None = None
    planned_s: int | None = None
    helps: bool = False
    for_two: bool = False
    together_s: int | None = None


@dataclass(frozen=True, slots=True)
class Going:
    """A round under way: ``times`` as published, its calls, and the latest second the technician may be back.

    ``start``, ``end``: home, or the lodging of a night away.
    """

    start: Point
    end: Point
    times: RoundTimes
    calls: dict[str, Call]
    limit_s: int | None = None
    travel: MatrixProvider = field(default_factory=MatrixProvider)

    @property
    def behind(self) -> list[Call]:
        """Calls begun or ended, in the order in which that happened."""
        begun = [call for call in self.calls.values() if call.started_s is not None]
        return sorted(begun, key=lambda call: call.started_s or 0)

    @property
    def ahead(self) -> list[str]:
        """Calls still to come, in the published order; those added since stand at the end."""
        order = [stop.visit_id for stop in self.times.stops]
        rest = [pk for pk in self.calls if pk not in order]
        return [pk for pk in [*order, *rest] if pk in self.calls and is_ahead(self.calls[pk])]


def is_ahead(call: Call) -> bool:
    return call.started_s is None and not call.closed


def helping(call: Call, now_s: int) -> Call:
    """The helper's part of a visit: begun when the visit was, over when its first minutes are, or the visit itself."""
    ended = call.ended_s
    if call.started_s is not None and call.started_s + call.service_s <= now_s:
        ended = min(call.started_s + call.service_s, ended if ended is not None else now_s)
    return replace(call, helps=True, for_two=True, promise_s=None, ended_s=ended)


def not_there(calls: dict[str, Call]) -> dict[str, Call]:
    """Whoever has an earlier stop of her own still to do is not yet with the other, though the visit was begun."""
    open_s = [call.planned_s or 0 for call in calls.values() if not call.helps and is_ahead(call)]
    first_s = min(open_s, default=None)
    return {
        pk: replace(call, started_s=None)
        if first_s is not None and call.helps and call.ended_s is None and first_s < (call.planned_s or 0)
        else call
        for pk, call in calls.items()
    }


def passed(calls: dict[str, Call]) -> dict[str, Call]:
    """Who has begun a later stop helps no more at an earlier one that was not begun."""
    begun = max((call.planned_s for call in calls.values() if call.started_s is not None and call.planned_s), default=0)
    return {
        pk: replace(call, closed=True)
        if call.helps and call.started_s is None and (call.planned_s or 0) < begun
        else call
        for pk, call in calls.items()
    }


@dataclass(frozen=True, slots=True)
class Expected:
    """One stop as it was or will be. ``state``: done, here or ahead."""

    visit_id: str
    state: str
    travel_s: int
    distance_m: int
    arrive_s: int
    start_s: int
    leave_s: int
    late_s: int
    promise_late_s: int = 0
    shut: bool = False
    helps: bool = False

    @property
    def at_risk(self) -> bool:
        return self.promise_late_s > 0 or self.shut


@dataclass(slots=True)
class Run:
    """The day as it will go, with what it breaks."""

    stops: list[Expected] = field(default_factory=list)
    leave_s: int = 0
    back_s: int = 0
    back_travel_s: int = 0
    back_m: int = 0
    over_s: int = 0
    break_start_s: int | None = None
    break_s: int = 0
    start_lodging_id: int | None = None
    lodging_id: int | None = None

    @property
    def risks(self) -> list[Expected]:
        return [stop for stop in self.stops if stop.at_risk and stop.state == "ahead"]

    @property
    def late_s(self) -> int:
        """How much later than planned the next stop begins; when none is ahead, the present one ends."""
        ahead = [stop for stop in self.stops if stop.state == "ahead"]
        here = [stop for stop in self.stops if stop.state == "here"]
        return next((stop.late_s for stop in [*ahead, *here]), 0)

    @property
    def is_late(self) -> bool:
        """Whether the office must know: a promise or an open door will be missed, or the overtime allowed exceeded."""
        return bool(self.risks) or self.over_s > 0

    @property
    def weight(self) -> tuple[int, int, int]:
        """The smaller the better: things broken, seconds by which, end of the day."""
        return (
            len(self.risks) + bool(self.over_s),
            sum(stop.promise_late_s for stop in self.risks) + self.over_s,
            self.back_s,
        )

    @property
    def distance_m(self) -> int:
        return self.back_m + sum(stop.distance_m for stop in self.stops)

    def as_times(self) -> RoundTimes:
        """The run as a round to publish."""
        stops = [
            StopTimes(
                row.visit_id, row.travel_s, row.distance_m, row.arrive_s, row.start_s, row.leave_s, helps=row.helps
            )
            for row in self.stops
        ]  # fmt: skip
        travel = self.back_travel_s + sum(stop.travel_s for stop in self.stops)
        return RoundTimes(
            self.leave_s, self.back_s, travel, self.distance_m, self.over_s,
            self.break_start_s, self.break_s, stops, is_published=True, start_lodging_id=self.start_lodging_id,
            lodging_id=self.lodging_id,
        )  # fmt: skip


def run(going: Going, now_s: int, order: Sequence[str] | None = None) -> Run:
    """Time the round on from what has happened. ``order``: another order of the calls ahead."""
    return _Driver(going, now_s).drive(going.ahead if order is None else order)


class _Driver:
    """One pass through a day under way."""

    def __init__(self, going: Going, now_s: int) -> None:
        self.going, self.now = going, now_s
        self.planned = {stop.visit_id: stop for stop in going.times.stops}
        self.before = _predecessors(going.times.stops)
        self.out = Run(leave_s=going.times.leave_s or 0, **{name: getattr(going.times, name) for name in AWAY})
        self.at = going.times.leave_s or 0
        self.here: Point = going.start
        self.last: str | None = None
        self.break_stop = _break_stop(going.times)

    def drive(self, order: Sequence[str]) -> Run:
        for call in self.going.behind:
            self._behind(call)
        for pk in order:
            self._ahead(self.going.calls[pk])
        out = self.out
        out.back_travel_s, out.back_m = self.going.travel.drive(self.here, self.going.end)
        out.back_s = self.at + out.back_travel_s
        if self.going.limit_s is not None:
            out.over_s = max(out.back_s - self.going.limit_s, 0)
        return out

    def _behind(self, call: Call) -> None:
        started = call.started_s or 0
        travel_s, metres = self._leg(call)
        ended = call.ended_s if call.ended_s is not None else started + NOT_DONE_S if call.closed else None
        leave = ended if ended is not None else max(self.now, started + call.service_s)
        late = started - call.planned_s if call.planned_s is not None else 0
        if ended is None and call.planned_s is not None:
            late = leave - call.planned_s - call.service_s
        if not self.out.stops:
            self.out.leave_s = min(self.out.leave_s, max(started - travel_s, 0))
        state = "here" if ended is None else "done"
        self.out.stops.append(
            Expected(
                call.visit_id, state, travel_s, metres, started, started, max(leave, started), late, helps=call.helps
            )
        )  # fmt: skip
        self._taken(call.visit_id, started)
        self._go_on(call, max(leave, started))

    def _ahead(self, call: Call) -> None:
        travel_s, metres = self._leg(call)
        reach = self.at + travel_s
        begin = reach
        if self.break_stop is not None and (call.visit_id == self.break_stop or reach >= self._break_from()):
            begin += self.going.times.break_s
            self.out.break_start_s, self.out.break_s, self.break_stop = reach, self.going.times.break_s, None
        arrive = max(reach, self.now)
        begin = max(begin, arrive)
        if call.promise_s is not None:
            begin = max(begin, call.promise_s - PROMISE_S)
        if call.together_s is not None:
            begin = max(begin, call.together_s)
        start, shut = _into_window(call, begin)
        late = start - call.planned_s if call.planned_s is not None else 0
        promise_late = max(start - call.promise_s - PROMISE_S, 0) if call.promise_s is not None else 0
        self.out.stops.append(
            Expected(
                call.visit_id, "ahead", travel_s, metres, arrive, start, start + call.service_s, late, promise_late,
                shut, call.helps,
            )
        )  # fmt: skip
        self._go_on(call, start + call.service_s)

    def _break_from(self) -> int:
        return self.going.times.break_start_s or 0

    def _taken(self, visit_id: str, started: int) -> None:
        """The break counts as taken once the stop it came before is begun, or a later one."""
        if self.break_stop is not None and (visit_id == self.break_stop or started >= self._break_from()):
            self.out.break_start_s, self.out.break_s = self.going.times.break_start_s, self.going.times.break_s
            self.break_stop = None

    def _leg(self, call: Call) -> tuple[int, int]:
        """The drive to a stop: as planned after the stop planned before it, else reckoned."""
        planned = self.planned.get(call.visit_id)
        if planned is not None and self.before[call.visit_id] == self.last:
            return planned.travel_s, planned.distance_m
        return self.going.travel.drive(self.here, call.point)

    def _go_on(self, call: Call, at: int) -> None:
        self.at, self.here, self.last = at, call.point, call.visit_id


def _predecessors(stops: Sequence[StopTimes]) -> dict[str, str | None]:
    ids = [stop.visit_id for stop in stops]
    return dict(zip(ids, [None, *ids], strict=False))


def _break_stop(times: RoundTimes) -> str | None:
    """The stop on whose arrival the break is planned."""
    if times.break_start_s is None or not times.break_s:
        return None
    inside = (row.visit_id for row in times.stops if row.arrive_s <= (times.break_start_s or 0) < row.start_s)
    return next(inside, times.stops[-1].visit_id if times.stops else None)


def _into_window(call: Call, begin: int) -> tuple[int, bool]:
    """When work begins in the first open window that holds it, and whether none does any more."""
    for opens, closes in call.spans:
        start = max(begin, opens)
        if start + call.service_s <= closes:
            return start, False
    return begin, bool(call.spans)
