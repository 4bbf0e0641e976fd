"""Rules that reach across rounds: rest between a technician's days, gaps between visits, shared things."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date

from servicedesk.planner.evaluate import Evaluator, Timed
from servicedesk.planner.instance import Instance, Shift, Span, moment, ts

Routes = list[tuple[int, ...]]


class Links:
    """Asks whether a round, as timed, goes together with all the others."""

    def __init__(self, instance: Instance, evaluator: Evaluator) -> None:
        self.instance, self.evaluator = instance, evaluator
        self.kept: dict[str, list[Span]] = defaultdict(list)
        for row in instance.problem.kept:
            if row.visits:
                self.kept[row.technician].append((ts(row.leave), ts(row.back)))
        self.shifts_of: dict[str, list[Shift]] = defaultdict(list)
        for shift in instance.shifts:
            self.shifts_of[shift.who.id].append(shift)
        self.tight = {shift.index for shift in instance.shifts if self._is_tight(shift)}
        self.mates: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.fixed_mates: dict[int, list[tuple[date, int]]] = defaultdict(list)
        self._read_gaps()
        self.things = {job.index: job.visit.things for job in instance.jobs if job.visit.things}
        self.counts = {thing.id: thing.count for thing in instance.problem.things}

    def _is_tight(self, shift: Shift) -> bool:
        rest = shift.who.rest_s
        spans = [(other.opens, other.limit) for other in self.shifts_of[shift.who.id] if other is not shift]
        spans += self.kept[shift.who.id]
        return any(low < shift.limit + rest and shift.opens < high + rest for low, high in spans)

    def _read_gaps(self) -> None:
        problem, jobs = self.instance.problem, self.instance.job_of
        begun = {visit: row.date for row in problem.kept for visit in row.visits}
        for row in problem.kept:
            zone = self.instance.technicians[row.technician].zone
            for visit, begins in zip(row.visits, row.begins, strict=False):
                begun[visit] = moment(ts(begins), self._zone_of_visit(visit, zone)).date()
        for gap in problem.gaps:
            for one, other in ((gap.first, gap.second), (gap.second, gap.first)):
                if one not in jobs:
                    continue
                if other in jobs:
                    self.mates[jobs[one].index].append((jobs[other].index, gap.min_days))
                elif other in begun:
                    self.fixed_mates[jobs[one].index].append((begun[other], gap.min_days))

    def _zone_of_visit(self, visit: str, otherwise: str) -> str:
        found = next((row for row in self.instance.problem.visits if row.id == visit), None)
        return self.instance.zones[found.place] if found else otherwise

    def concern(self, shift: Shift, order: Sequence[int]) -> bool:
        """Whether any of these rules can touch the round at all."""
        if shift.index in self.tight:
            return True
        return any(job in self.mates or job in self.fixed_mates or job in self.things for job in order)

    def allow(self, routes: Routes, shift: Shift, order: tuple[int, ...]) -> bool:
        """Whether the round, done in this order, keeps the rules together with the other rounds."""
        if not self.concern(shift, order):
            return True
        timed = self.evaluator.timed(shift, order)
        if timed is None:
            return False
        return (
            self._rests(routes, shift, timed)
            and self._gaps(routes, shift, timed)
            and self._shares(routes, shift, timed)
        )

    def _rests(self, routes: Routes, shift: Shift, timed: Timed) -> bool:
        if shift.index not in self.tight or not (timed.stops or shift.day.drive_empty):
            return True
        rest = shift.who.rest_s
        spans = list(self.kept[shift.who.id])
        for other in self.shifts_of[shift.who.id]:
            if other is not shift and (routes[other.index] or other.day.drive_empty):
                found = self.evaluator.timed(other, routes[other.index])
                if found is not None:
                    spans.append((found.leave, found.back))
        return all(timed.leave >= back + rest or leave >= timed.back + rest for leave, back in spans)

    def _gaps(self, routes: Routes, shift: Shift, timed: Timed) -> bool:
        for stop in timed.stops:
            job = stop.node.job
            if job is None or (job.index not in self.mates and job.index not in self.fixed_mates):
                continue
            own = moment(stop.begin, job.zone).date()
            dates = list(self.fixed_mates.get(job.index, ()))
            for mate, least in self.mates.get(job.index, ()):
                begin = self._begin_of(routes, shift, timed, mate)
                if begin is not None:
                    dates.append((moment(begin, self.instance.jobs[mate].zone).date(), least))
            if any(abs((own - other).days) < least for other, least in dates):
                return False
        return True

    def _begin_of(self, routes: Routes, shift: Shift, timed: Timed, job: int) -> int | None:
        for other in self.instance.shifts:
            found = timed if other is shift else None
            if found is None and job in routes[other.index]:
                found = self.evaluator.timed(other, routes[other.index])
            for stop in found.stops if found else ():
                if stop.node.job is not None and stop.node.job.index == job:
                    return stop.begin
        return None

    def _shares(self, routes: Routes, shift: Shift, timed: Timed) -> bool:
        used = self._uses(timed)
        if not used:
            return True
        others: dict[str, list[Span]] = defaultdict(list)
        for thing, span in used:
            others[thing].append(span)
        for other in self.instance.shifts:
            if other is shift or not any(job in self.things for job in routes[other.index]):
                continue
            found = self.evaluator.timed(other, routes[other.index])
            for thing, span in self._uses(found) if found else ():
                others[thing].append(span)
        return all(most_at_once(others[thing]) <= self.counts[thing] for thing, _span in used)

    def _uses(self, timed: Timed) -> list[tuple[str, Span]]:
        return [
            (thing, (stop.begin, stop.end))
            for stop in timed.stops
            if stop.node.job is not None
            for thing in stop.node.job.visit.things
        ]


def most_at_once(spans: Sequence[Span]) -> int:
    """How many spans overlap at the busiest moment; one that ends when another begins does not."""
    steps = sorted([(low, 1) for low, _high in spans] + [(high, -1) for _low, high in spans])
    most = now = 0
    for _at, step in steps:
        now += step
        most = max(most, now)
    return most
