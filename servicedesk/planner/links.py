"""Rules that reach across rounds: rest between a technician's days, gaps between visits, shared things."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date

from servicedesk.planner.evaluate import Evaluator, Timed
from servicedesk.planner.instance import Instance, Job, Shift, Span, moment, ts
from servicedesk.planner.routes import Route


class Links:
    """Asks whether a round goes together with all the others. ``rounds`` are one per shift, in their order.

    Most rounds are touched by none of these rules, or by a gap between visits whose dates are known from the shift:
    that is told without timing anything. A round is *linked* when more has to be looked at.
    """

    def __init__(self, instance: Instance, evaluator: Evaluator) -> None:
        self.instance, self.evaluator = instance, evaluator
        self.kept: dict[str, list[Span]] = defaultdict(list)
        for row in instance.problem.kept:
            if row.visits or row.leave < row.back:  # a settled day may be nothing but a drive home
                self.kept[row.technician].append((ts(row.leave), ts(row.back)))
        self.shifts_of: dict[str, list[Shift]] = defaultdict(list)
        for shift in instance.shifts:
            self.shifts_of[shift.who.id].append(shift)
        self.tight = {shift.index for shift in instance.shifts if self._is_tight(shift)}
        self.mates: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self.fixed_mates: dict[int, list[tuple[int, int]]] = defaultdict(list)
        self._read_gaps()
        self.things = {job.index: job.visit.things for job in instance.jobs if job.visit.things}
        self.counts = {thing.id: thing.count for thing in instance.problem.things}
        self._kept_uses = list(self._uses_of_kept())
        self._dates: dict[tuple[int, int], int | None] = {}
        self.by_time = {*self.things, *self._vague()}

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
                    self.fixed_mates[jobs[one].index].append((begun[other].toordinal(), gap.min_days))

    def _zone_of_visit(self, visit: str, otherwise: str) -> str:
        found = next((row for row in self.instance.problem.visits if row.id == visit), None)
        return self.instance.zones[found.place] if found else otherwise

    def adopt(self, lead: int, visit: int) -> None:
        """A job made after the others has the ties of a visit, and uses the things of its own."""
        for ties in (self.mates, self.fixed_mates):
            if visit in ties:
                ties[lead] = ties[visit]
        things = self.instance.rows[lead].visit.things
        if things:
            self.things[lead] = things
        if things or visit in self.by_time:
            self.by_time.add(lead)

    # --- without timing

    def has_gap(self, job: int) -> bool:
        return job in self.mates or job in self.fixed_mates

    def date_on(self, job: int, at: int) -> int | None:
        """The day number on which the visit begins on a shift; None where that depends on the hour."""
        key = (job, at)
        if key not in self._dates:
            row = self.instance.rows[job]
            spans = self.instance.spans(row, self.instance.shifts[at])
            days = {_day_of(row, second) for span in spans for second in span}
            self._dates[key] = days.pop() if len(days) == 1 else None
        return self._dates[key]

    def may_keep_gaps(self, where: dict[int, int], job: int, at: int) -> bool:
        """Whether the dates known from shifts alone leave room for the visit here."""
        own = self.date_on(job, at)
        return own is None or own not in self.barred_dates(where, job)

    def barred_dates(self, where: dict[int, int], job: int) -> set[int]:
        """The day numbers that lie too near those of the visits it must keep a gap from, as far as they are known."""
        known = list(self.fixed_mates.get(job, ()))
        for mate, least in self.mates.get(job, ()):
            date_of_mate = self.date_on(mate, where[mate]) if mate in where else None
            if date_of_mate is not None:
                known.append((date_of_mate, least))
        return {day for centre, least in known for day in range(centre - least + 1, centre + least)}

    def is_linked(self, at: int, order: Sequence[int]) -> bool:
        """Whether these rules can touch the round in a way that its times decide."""
        return at in self.tight or not (not self.by_time or self.by_time.isdisjoint(order))

    def _vague(self) -> set[int]:
        """Jobs with a gap to keep whose date, or whose mate's, hangs on the hour on some shift."""
        found = set()
        for job in {*self.mates, *self.fixed_mates}:
            row = self.instance.rows[job]
            shifts = (shift for shift in self.instance.shifts if self.instance.spans(row, shift))
            if any(self.date_on(job, shift.index) is None for shift in shifts):
                found |= {job, *(mate for mate, _least in self.mates.get(job, ()))}
        return found

    # --- by the times

    def allow(self, rounds: Sequence[Route], where: dict[int, int], route: Route) -> bool:
        """Whether the round keeps the rules together with the other rounds."""
        at = route.at
        if not all(self.may_keep_gaps(where, job, at) for job in route.order if self.has_gap(job)):
            return False
        if not self.is_linked(at, route.order):
            return True
        timed = self.evaluator.timed(self.instance.shifts[at], route.order)
        return (
            timed is not None
            and self.rests(rounds, route)
            and self._gaps(rounds, where, at, timed)
            and self._shares(rounds, at, timed)
        )

    def rests(self, rounds: Sequence[Route], route: Route) -> bool:
        """Whether the round leaves rest enough before and after its technician's other days."""
        shift = self.instance.shifts[route.at]
        if route.at not in self.tight or not (route.order or shift.day.drive_empty):
            return True
        rest = shift.who.rest_s
        spans = list(self.kept[shift.who.id])
        others = (other for other in self.shifts_of[shift.who.id] if other is not shift)
        driven = (rounds[other.index] for other in others if rounds[other.index].order or other.day.drive_empty)
        spans += [(other.leave, other.back) for other in driven]
        return all(route.leave >= back + rest or leave >= route.back + rest for leave, back in spans)

    def _gaps(self, rounds: Sequence[Route], where: dict[int, int], at: int, timed: Timed) -> bool:
        for stop in timed.stops:
            job = stop.node.job
            if job is None or job.helper or not self.has_gap(job.index):
                continue
            own = _day_of(job, stop.begin)
            dates = list(self.fixed_mates.get(job.index, ()))
            for mate, least in self.mates.get(job.index, ()):
                begin = self._begin_of(rounds, where, at, timed, mate)
                if begin is not None:
                    dates.append((_day_of(self.instance.jobs[mate], begin), least))
            if any(abs(own - other) < least for other, least in dates):
                return False
        return True

    def _begin_of(self, rounds: Sequence[Route], where: dict[int, int], at: int, timed: Timed, job: int) -> int | None:
        other = where.get(job, at)
        found = timed if other == at else self._timed(rounds[other])
        for stop in found.stops if found else ():
            own = stop.node.job
            if own is not None and own.visit_index == job and not own.helper:
                return stop.begin
        return None

    def _timed(self, route: Route) -> Timed | None:
        return self.evaluator.timed(self.instance.shifts[route.at], route.order)

    def _shares(self, rounds: Sequence[Route], at: int, timed: Timed) -> bool:
        used = self._uses(timed)
        if not used:
            return True
        others: dict[str, list[Span]] = defaultdict(list)
        for thing, span in (*used, *self._kept_uses):
            others[thing].append(span)
        for other in rounds:
            if other.at == at or self.things.keys().isdisjoint(other.order):
                continue
            found = self._timed(other)
            for thing, span in self._uses(found) if found else ():
                others[thing].append(span)
        return all(most_at_once(others[thing]) <= self.counts[thing] for thing, _span in used)

    def _uses_of_kept(self) -> Iterator[tuple[str, Span]]:
        visits = {visit.id: visit for visit in self.instance.problem.visits}
        for row in self.instance.problem.kept:
            for own, begins in zip(row.visits, row.begins, strict=False):
                for thing in visits[own].things if own in visits else ():
                    yield thing, (ts(begins), ts(begins) + visits[own].duration_s)

    def _uses(self, timed: Timed) -> list[tuple[str, Span]]:
        return [
            (thing, (stop.begin, stop.end))
            for stop in timed.stops
            if stop.node.job is not None and not stop.node.job.helper
            for thing in stop.node.job.visit.things
        ]


def _day_of(job: Job, second: int) -> int:
    found: date = moment(second, job.zone).date()
    return found.toordinal()


def most_at_once(spans: Sequence[Span]) -> int:
    """How many spans overlap at the busiest moment; one that ends when another begins does not."""
    steps = sorted([(low, 1) for low, _high in spans] + [(high, -1) for _low, high in spans])
    most = now = 0
    for _at, step in steps:
        now += step
        most = max(most, now)
    return most
