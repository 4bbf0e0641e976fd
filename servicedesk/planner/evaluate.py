"""The one place that times and prices a technician's day exactly.

Forward through the stops, carrying for each number of breaks taken the earliest moment at which all is done; then
backward from the return for the latest departure that still makes it; then the cost. Orders are worked out once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from servicedesk.planner.instance import Instance, Job, Pausing, Shift, Span

MEMO_LIMIT = 100_000
INFINITE = 1 << 60


@dataclass(frozen=True, slots=True)
class Node:
    """A stop of a day: a job, or a reload at the store when ``job`` is None."""

    place: str
    duration: int
    spans: tuple[Span, ...] | None  # None: at any time
    job: Job | None
    travel: int
    metres: int


@dataclass(frozen=True, slots=True)
class Times:
    """A stop as timed, with the breaks begun there before and after the work."""

    node: Node
    arrive: int
    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Timed:
    """A day as timed and priced; ``cost`` in thousandths of the currency."""

    stops: tuple[Times, ...] = ()
    pauses: tuple[tuple[int, int], ...] = ()  # begin, seconds
    leave: int = 0
    back: int = 0
    back_travel: int = 0
    back_metres: int = 0
    metres: int = 0
    overtime: int = 0
    night: int = 0
    cost: int = 0


START = Node("", 0, None, None, 0, 0)


@dataclass(slots=True)
class _Label:
    """The day so far with some breaks taken: ready to drive on at ``time``.

    ``last``: the last moment of beginning in the window chosen. ``skipped``: breaks that the day began too late for.
    """

    time: int
    before: "_Label | None"
    skipped: int
    node: Node = START
    last: int = INFINITE
    pause_before: bool = False
    pause_after: bool = False


class Evaluator:
    """Prices orders of jobs on shifts; None where a hard rule forbids the order."""

    def __init__(self, instance: Instance) -> None:
        self.instance = instance
        self._memo: dict[tuple[int, tuple[int, ...]], Timed | None] = {}
        self._forbidden = {(rule.after, rule.before) for rule in instance.problem.orders}

    def timed(self, shift: Shift, order: tuple[int, ...]) -> Timed | None:
        """The cheapest way to do the jobs in this order on the shift."""
        key = (shift.index, order)
        if key in self._memo:
            return self._memo[key]
        if len(self._memo) > MEMO_LIMIT:
            self._memo.clear()
        found = self._memo[key] = self._best(shift, order)
        return found

    def cost(self, shift: Shift, order: tuple[int, ...]) -> int:
        found = self.timed(shift, order)
        return INFINITE if found is None else found.cost

    def out_of_order(self, order: Sequence[int]) -> tuple[int, int] | None:
        """Two jobs of the order that an order rule wants the other way round."""
        if not self._forbidden:
            return None
        rows = self.instance.rows
        for place, first in enumerate(order):
            for second in order[place + 1 :]:
                if (rows[first].visit.group, rows[second].visit.group) in self._forbidden:
                    return first, second
        return None

    def _best(self, shift: Shift, order: tuple[int, ...]) -> Timed | None:
        if not order and not shift.day.drive_empty:
            return Timed()
        if self.out_of_order(order):
            return None
        jobs = [self.instance.rows[index] for index in order]
        best: Timed | None = None
        for reloads in reload_choices(shift, jobs):
            for wait in (False, True) if any(job.promise for job in jobs) else (False,):
                nodes = self.nodes(shift, jobs, reloads, wait_for_promises=wait)
                found = self._time(shift, nodes) if nodes is not None else None
                if found is not None and (best is None or found.cost < best.cost):
                    best = found
        return best

    def nodes(
        self, shift: Shift, jobs: Sequence[Job], reloads: frozenset[int], *, wait_for_promises: bool
    ) -> list[Node] | None:
        """The stops with their drives; None when a job has no window on the shift."""
        here, out = shift.start, []
        for place, job in enumerate(jobs):
            if place in reloads and shift.depot is not None:
                seconds, metres = self.instance.travel.drive(here, shift.depot)
                out.append(Node(shift.depot, shift.reload_s, None, None, seconds, metres))
                here = shift.depot
            spans = self.instance.spans(job, shift)
            if not spans:
                return None
            if wait_for_promises:
                spans = with_patience(job, spans)
            seconds, metres = self.instance.travel.drive(here, job.place)
            out.append(Node(job.place, job.duration, spans, job, seconds, metres))
            here = job.place
        return out

    def _time(self, shift: Shift, nodes: list[Node]) -> Timed | None:
        labels = _first_labels(shift)
        for node in nodes:
            labels = _advance(shift, labels, node)
            if not labels:
                return None
        here = nodes[-1].place if nodes else shift.start
        travel, metres = self.instance.travel.drive(here, shift.end)
        best: Timed | None = None
        for taken, label in labels.items():
            back = label.time + travel
            late_break = taken < len(shift.breaks) and back > shift.breaks[taken].latest
            if back > shift.limit or late_break:
                continue
            found = self._priced(shift, label, back, travel, metres)
            if found is not None and (best is None or found.cost < best.cost):
                best = found
        return best

    def _priced(self, shift: Shift, last: _Label, back: int, travel: int, metres: int) -> Timed | None:
        steps = _steps(last)
        leave = _latest_leave(shift, steps, back - travel, last.skipped)
        stops, pauses = _forward(shift, steps, leave, last.skipped)
        metres_all = metres + sum(stop.node.metres for stop in stops)
        unpaid = sum(rule.seconds for rule, _begin in pauses if not rule.paid)
        length = back - leave - unpaid
        overtime = max(back - shift.closes, 0)
        if shift.day.normal_s is not None:
            overtime = max(overtime, length - shift.day.normal_s)
            if overtime > shift.day.max_overtime_s:
                return None
        night = sum(max(min(back, high) - max(leave, low), 0) for low, high in shift.nights)
        cost = (
            _per_hour(shift.hourly, length)
            + _per_hour(shift.overtime, overtime)
            + _per_hour(shift.night, night)
            + (shift.km * metres_all + 500_000) // 1_000_000
            + shift.fixed
            + sum(visit_cost(shift, stop.node.job, stop.begin) for stop in stops if stop.node.job is not None)
        )
        return Timed(
            stops=tuple(stops),
            pauses=tuple((begin, rule.seconds) for rule, begin in pauses),
            leave=leave,
            back=back,
            back_travel=travel,
            back_metres=metres,
            metres=metres_all,
            overtime=overtime,
            night=night,
            cost=cost,
        )


def with_patience(job: Job, spans: tuple[Span, ...]) -> tuple[Span, ...]:
    """When the visit may begin if nobody begins before the hour that was promised."""
    if job.promise is None:
        return spans
    floor = job.promise[0]
    return tuple((max(low, floor), high) for low, high in spans if high >= floor) or spans


def _per_hour(micros: int, seconds: int) -> int:
    """Thousandths of the currency for some seconds at a rate per hour in millionths, rounded half up."""
    return (micros * seconds + 1_800_000) // 3_600_000


def visit_cost(shift: Shift, job: Job, begin: int) -> int:
    """What a visit costs by when and by whom it is done, beside the work itself."""
    visit, cost = job.visit, 0
    if job.late:
        cost += job.late * job.days_late(begin)
    if visit.prefers is not None and visit.prefers != shift.who.id:
        cost += job.disliked
    if visit.before is not None and not visit.before.is_home(shift.key, helper=job.helper):
        cost += job.moved
    if job.promise is not None and not job.promise[0] <= begin <= job.promise[1]:
        cost += job.promise[2]
    return cost


def reload_choices(shift: Shift, jobs: Sequence[Job]) -> Iterator[frozenset[int]]:
    """Before which jobs the van is loaded again: every single place where one reload is enough, else late as can be."""
    van = shift.who.van
    if van is None or not any(job.kg or job.litres for job in jobs):
        yield frozenset()
        return
    late: list[int] = []
    kg = litres = 0.0
    for place, job in enumerate(jobs):
        kg, litres = kg + job.kg, litres + job.litres
        if kg + litres * van.water_kg_per_l > van.payload_kg or litres > van.tank_l:
            late.append(place)
            kg, litres = job.kg, job.litres
    if not late:
        yield frozenset()
    elif shift.depot is not None and 0 not in late:
        if len(late) > 1:
            yield frozenset(late)
            return
        for place in range(late[0], 0, -1):
            rest = jobs[place:]
            kg, litres = sum(job.kg for job in rest), sum(job.litres for job in rest)
            if kg + litres * van.water_kg_per_l > van.payload_kg or litres > van.tank_l:
                return
            yield frozenset({place})


def _first_labels(shift: Shift) -> dict[int, _Label]:
    """Who leaves only when a break's latest beginning has passed owes it no longer."""
    labels = {0: _Label(shift.opens, None, 0)}
    for number, rule in enumerate(shift.breaks, start=1):
        labels[number] = _Label(max(shift.opens, rule.latest), None, number)
    return labels


def _advance(shift: Shift, labels: dict[int, _Label], node: Node) -> dict[int, _Label]:
    """The earliest ends of the next stop, with a break before it, after it, or none."""
    out: dict[int, _Label] = {}
    for taken, label in labels.items():
        arrive = label.time + node.travel
        _work(shift, out, taken, label, node, arrive, pause_before=False)
        if taken < len(shift.breaks):
            rule = shift.breaks[taken]
            pause = max(arrive, rule.earliest)
            if pause <= rule.latest:
                _work(shift, out, taken + 1, label, node, pause + rule.seconds, pause_before=True)
    for taken, label in list(out.items()):
        if taken < len(shift.breaks):
            rule = shift.breaks[taken]
            pause = max(label.time, rule.earliest)
            if pause <= rule.latest:
                rested = replace(label, time=pause + rule.seconds, pause_after=True)
                _keep(shift, out, taken + 1, rested)
    if not shift.breaks:
        return out
    return {taken: label for taken, label in out.items() if _in_time(shift, taken, label)}


def _work(
    shift: Shift, out: dict[int, _Label], taken: int, label: _Label, node: Node, at: int, *, pause_before: bool
) -> None:
    found = fit(node.spans, at)
    if found is not None:
        begin, last = found
        _keep(shift, out, taken, _Label(begin + node.duration, label, label.skipped, node, last, pause_before))


def _keep(shift: Shift, out: dict[int, _Label], taken: int, label: _Label) -> None:
    if label.time <= shift.limit and (taken not in out or label.time < out[taken].time):
        out[taken] = label


def _in_time(shift: Shift, taken: int, label: _Label) -> bool:
    return taken == len(shift.breaks) or label.time <= shift.breaks[taken].latest


def fit(spans: tuple[Span, ...] | None, at: int) -> tuple[int, int] | None:
    """The first moment of beginning from ``at`` on, and the last one in the same window."""
    if spans is None:
        return at, INFINITE
    for low, high in spans:
        if at <= high:
            return (at if at > low else low), high
    return None


def _steps(last: _Label) -> list[_Label]:
    """The labels of the stops in order."""
    out, label = [], last
    while label.before is not None:
        out.append(label)
        label = label.before
    return out[::-1]


def _latest_leave(shift: Shift, steps: list[_Label], late: int, skipped: int) -> int:
    """The latest departure from the start that keeps the return."""
    taken = skipped + sum(step.pause_before + step.pause_after for step in steps)
    for step in reversed(steps):
        if step.pause_after:
            taken -= 1
            late = min(late - shift.breaks[taken].seconds, shift.breaks[taken].latest)
        late = min(late - step.node.duration, step.last)
        if step.pause_before:
            taken -= 1
            late = min(late - shift.breaks[taken].seconds, shift.breaks[taken].latest)
        late -= step.node.travel
    return late


def _forward(
    shift: Shift, steps: list[_Label], leave: int, skipped: int
) -> tuple[list[Times], list[tuple[Pausing, int]]]:
    """The times of a day that leaves at a moment and takes its breaks where the labels say."""
    at, taken = leave, skipped
    stops: list[Times] = []
    pauses: list[tuple[Pausing, int]] = []
    for step in steps:
        node = step.node
        arrive = at = at + node.travel
        if step.pause_before:
            at = _pause(shift.breaks[taken], at, pauses)
            taken += 1
        found = fit(node.spans, at)
        begin = at if found is None else found[0]
        at = begin + node.duration
        stops.append(Times(node, arrive, begin, at))
        if step.pause_after:
            at = _pause(shift.breaks[taken], at, pauses)
            taken += 1
    return stops, pauses


def _pause(rule: Pausing, at: int, pauses: list[tuple[Pausing, int]]) -> int:
    begin = max(at, rule.earliest)
    pauses.append((rule, begin))
    return begin + rule.seconds
