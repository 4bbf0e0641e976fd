"""Ruin and recreate: take some visits out of their rounds, put them back where they cost least, keep what is better.

The same seed and number of iterations give the same plan.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass
from math import exp, inf

from servicedesk.planner.evaluate import INFINITE, Evaluator
from servicedesk.planner.instance import Instance, Job, Shift
from servicedesk.planner.links import Links, Routes

HOT, COLD = 2.0, 0.06  # annealing temperatures, times the mean cost of a short hop
BLINK = 0.03
MUST = 10**12  # what leaving out a fixed visit weighs in the search
Spent = Callable[[int, int], float]


@dataclass(slots=True)
class State:
    """Rounds by shift, the shift of each placed job, and what it all costs."""

    routes: Routes
    where: dict[int, int]
    cost: int

    def copy(self) -> "State":
        return State(list(self.routes), dict(self.where), self.cost)


class Search:
    """One search over one problem."""

    def __init__(self, instance: Instance, evaluator: Evaluator, seed: int) -> None:
        self.instance, self.evaluator = instance, evaluator
        self.links = Links(instance, evaluator)
        self.random = random.Random(seed)
        self.allowed: dict[int, list[int]] = {
            job.index: [shift.index for shift in instance.shifts if instance.forbids(job, shift) is None]
            for job in instance.jobs
        }
        self.skip = [job.skip + (MUST if job.visit.fixed else 0) for job in instance.jobs]
        self.pinned = {job.index for job in instance.jobs if _is_pinned(job)}
        self.near = {job.index: self._by_nearness(job) for job in instance.jobs}
        self._bounds: dict[tuple[int, tuple[int, ...]], tuple[list[int], list[int]]] = {}
        self._inserts: dict[tuple[int, int, tuple[int, ...]], tuple[int, int]] = {}

    def run(self, spent: Spent) -> tuple[State, int]:
        """Search until ``spent(iterations, best cost)`` reaches 1; the best state and the iterations made."""
        current = self.start()
        best, number = current.copy(), 0
        hop = self._short_hop()
        while (share := spent(number, best.cost)) < 1:
            trial = current.copy()
            self._ruin(trial)
            self._recreate(trial)
            heat = hop * HOT * (COLD / HOT) ** share
            worse = trial.cost - current.cost
            if worse <= 0 or self.random.random() < exp(-worse / heat):
                current = trial
                if current.cost < best.cost:
                    best = current.copy()
            number += 1
        self._by_regret(best, self._waiting(best), blinked=frozenset())
        return best, number

    def start(self) -> State:
        """The last plan less what breaks a rule by now, the rest put in by regret."""
        state = State([() for _ in self.instance.shifts], {}, sum(self.skip))
        for shift in self.instance.shifts:
            state.cost += self.evaluator.cost(shift, ())
        rows = [job for job in self.instance.jobs if job.visit.before is not None]
        rank = {job.index: job.visit.before.position for job in rows if job.visit.before is not None}
        for job in sorted(rows, key=lambda job: (job.index not in self.pinned, rank[job.index], job.index)):
            before = job.visit.before
            home = self.instance.shift_of.get((before.technician, before.date)) if before else None
            if home is None or home.index not in self.allowed[job.index]:
                continue
            order = state.routes[home.index]
            place = sum(1 for other in order if rank.get(other, 0) <= rank[job.index])
            self._put_if_legal(state, home, job.index, place)
        self._by_regret(state, self._waiting(state), blinked=frozenset())
        return state

    def _put_if_legal(self, state: State, shift: Shift, job: int, place: int) -> None:
        order = state.routes[shift.index]
        longer = (*order[:place], job, *order[place:])
        if self.evaluator.timed(shift, longer) is not None and self.links.allow(state.routes, shift, longer):
            self._put(state, shift.index, job, place)

    def _put(self, state: State, at: int, job: int, place: int) -> None:
        shift, order = self.instance.shifts[at], state.routes[at]
        longer = (*order[:place], job, *order[place:])
        state.cost += self.evaluator.cost(shift, longer) - self.evaluator.cost(shift, order) - self.skip[job]
        state.routes[at] = longer
        state.where[job] = at

    # --- ruin

    def _ruin(self, state: State) -> None:
        loose = [job for job in state.where if job not in self.pinned]
        if not loose:
            return
        dice = self.random.random()
        if dice < 0.6:
            gone = self._string(state, self.random.choice(loose))
        elif dice < 0.85:
            used = sorted({state.where[job] for job in loose})
            chosen = set(self.random.sample(used, min(len(used), self.random.randint(1, 2))))
            gone = {job for job in loose if state.where[job] in chosen}
        else:
            gone = set(self.random.sample(loose, min(len(loose), self.random.randint(2, 14))))
        for at in sorted({state.where[job] for job in gone}):
            self._remove(state, at, gone)

    def _string(self, state: State, centre: int) -> set[int]:
        """Short runs of stops from the rounds near one visit."""
        wanted = self.random.randint(2, 14)
        gone: set[int] = set()
        seen: set[int] = set()
        for job in (centre, *self.near[centre]):
            if len(gone) >= wanted:
                break
            at = state.where.get(job)
            if at is None or at in seen:
                continue
            seen.add(at)
            order = state.routes[at]
            length = min(len(order), self.random.randint(1, 4), wanted - len(gone))
            place = order.index(job)
            first = self.random.randint(max(0, place - length + 1), min(place, len(order) - length))
            gone.update(other for other in order[first : first + length] if other not in self.pinned)
        return gone

    def _remove(self, state: State, at: int, gone: set[int]) -> None:
        """Take jobs out of a round; where even the shorter round breaks a rule, out goes all that is not pinned."""
        shift, order = self.instance.shifts[at], state.routes[at]
        for kept in (
            tuple(job for job in order if job not in gone),
            tuple(job for job in order if job in self.pinned),
            order,
        ):
            if self.evaluator.timed(shift, kept) is not None and self.links.allow(state.routes, shift, kept):
                break
        state.cost += self.evaluator.cost(shift, kept) - self.evaluator.cost(shift, order)
        state.routes[at] = kept
        for job in set(order) - set(kept):
            del state.where[job]
            state.cost += self.skip[job]

    # --- recreate

    def _waiting(self, state: State) -> list[int]:
        return [job.index for job in self.instance.jobs if job.index not in state.where and self.allowed[job.index]]

    def _recreate(self, state: State) -> None:
        waiting = self._waiting(state)
        blinked = frozenset(shift.index for shift in self.instance.shifts if self.random.random() < BLINK)
        dice = self.random.random()
        if dice < 0.6:
            self._by_regret(state, waiting, blinked)
            return
        self.random.shuffle(waiting)
        if dice < 0.8:
            waiting.sort(key=lambda job: (len(self.allowed[job]), -self.instance.jobs[job].duration))
        for job in waiting:
            offers = ((self.best_insert(state, at, job), at) for at in self.allowed[job] if at not in blinked)
            (rise, place), at = min(offers, default=((INFINITE, 0), 0))
            if rise < self.skip[job]:
                self._put(state, at, job, place)

    def _by_regret(self, state: State, waiting: list[int], blinked: frozenset[int]) -> None:
        """Put in, again and again, the visit that would lose most by waiting."""
        waiting = list(waiting)
        offers = {
            job: {at: self.best_insert(state, at, job) for at in self.allowed[job] if at not in blinked}
            for job in waiting
        }
        while waiting:
            chosen, at, regret = -1, -1, -1.0
            for job in waiting:
                loss, shift = self._regret(job, offers[job])
                if loss > regret:
                    chosen, at, regret = job, shift, loss
            if chosen < 0:
                return
            self._put(state, at, chosen, offers[chosen][at][1])
            waiting.remove(chosen)
            everywhere = self.links.concern(self.instance.shifts[at], state.routes[at])
            for job in waiting:
                for other in offers[job] if everywhere else (at,) if at in offers[job] else ():
                    offers[job][other] = self.best_insert(state, other, job)

    def _regret(self, job: int, offers: dict[int, tuple[int, int]]) -> tuple[float, int]:
        """How much the second best place costs more than the best, and the best; -1 where no place is worth it."""
        limit = self.skip[job]
        first = second = limit
        best = -1
        for at, (rise, _place) in offers.items():
            if rise < first:
                first, second, best = rise, first, at
            elif rise < second:
                second = rise
        return (float(second - first), best) if best >= 0 else (-1.0, -1)

    def best_insert(self, state: State, at: int, job: int) -> tuple[int, int]:
        """The least rise in cost for a job on a shift, and the place in its order."""
        shift, order = self.instance.shifts[at], state.routes[at]
        if self.links.concern(shift, (*order, job)):
            return self._linked_insert(state, shift, job)
        key = (job, at, order)
        found = self._inserts.get(key)
        if found is None:
            if len(self._inserts) > 2_000_000:
                self._inserts.clear()
            rises = [
                (rise, place)
                for place in self._gaps(shift, order, job)
                if (rise := self._rise(shift, job, place, order)) < INFINITE
            ]
            found = self._inserts[key] = min(rises, default=(INFINITE, 0))
        return found

    def _linked_insert(self, state: State, shift: Shift, job: int) -> tuple[int, int]:
        order = state.routes[shift.index]
        rises = sorted((self._rise(shift, job, place, order), place) for place in self._gaps(shift, order, job))
        for rise, place in rises:
            longer = (*order[:place], job, *order[place:])
            if rise < INFINITE and self.links.allow(state.routes, shift, longer):
                return rise, place
        return INFINITE, 0

    def _rise(self, shift: Shift, job: int, place: int, order: tuple[int, ...]) -> int:
        cost = self.evaluator.cost(shift, (*order[:place], job, *order[place:]))
        return INFINITE if cost >= INFINITE else cost - self.evaluator.cost(shift, order)

    def _gaps(self, shift: Shift, order: tuple[int, ...], job: int) -> list[int]:
        """The places in an order that are not out of the question by time alone."""
        ready, due = self._time_bounds(shift, order)
        row, drive = self.instance.jobs[job], self.instance.travel.drive
        spans, out = self.instance.spans(row, shift), []
        places = [shift.start, *(self.instance.jobs[other].place for other in order), shift.end]
        for place in range(len(order) + 1):
            reached = ready[place] + drive(places[place], row.place)[0]
            begin = next((max(reached, low) for low, high in spans if reached <= high), None)
            if begin is not None and begin + row.duration + drive(row.place, places[place + 1])[0] <= due[place]:
                out.append(place)
        return out

    def _time_bounds(self, shift: Shift, order: tuple[int, ...]) -> tuple[list[int], list[int]]:
        """No earlier than ``ready`` can one leave each stop, no later than ``due`` be at the next; breaks aside.

        With a load in the order a reload may come between, and then only drives that cannot shorten it count.
        """
        key = (shift.index, order)
        found = self._bounds.get(key)
        if found is None:
            if len(self._bounds) > 300_000:
                self._bounds.clear()
            found = self._bounds[key] = self._work_bounds(shift, [self.instance.jobs[job] for job in order])
        return found

    def _work_bounds(self, shift: Shift, jobs: list[Job]) -> tuple[list[int], list[int]]:
        drive = self.instance.travel.drive
        loaded = shift.depot is not None and any(job.kg or job.litres for job in jobs)
        ready, here = [shift.opens], shift.start
        for job in jobs:
            spans = self.instance.spans(job, shift)
            reached = ready[-1] + (0 if loaded else drive(here, job.place)[0])
            begin = next((max(reached, low) for low, high in spans if reached <= high), shift.limit)
            ready.append(begin + job.duration)
            here = job.place
        due, there = [shift.limit], shift.end
        for job in reversed(jobs):
            late = due[-1] - (0 if loaded else drive(job.place, there)[0]) - job.duration
            due.append(min(late, self.instance.spans(job, shift)[-1][1]))
            there = job.place
        return ready, due[::-1]

    # --- measures

    def _by_nearness(self, job: Job) -> list[int]:
        apart = self.instance.travel.apart
        others = [other for other in self.instance.jobs if other.index != job.index]
        others.sort(key=lambda other: (apart(job.place, other.place), other.index))
        return [other.index for other in others[:60]]

    def _short_hop(self) -> float:
        """Mean cost of the drive from a visit to its nearest neighbour elsewhere, in thousandths."""
        shifts, jobs = self.instance.shifts, self.instance.jobs
        if not shifts:
            return 1.0
        hourly = sum(shift.hourly for shift in shifts) / len(shifts)
        km = sum(shift.km for shift in shifts) / len(shifts)
        costs = []
        for job in jobs:
            hops = (self.instance.travel.drive(job.place, jobs[other].place) for other in self.near[job.index][:8])
            least = min((hourly * s / 3_600_000 + km * m / 1_000_000 for s, m in hops if s), default=inf)
            if least < inf:
                costs.append(least)
        return max(sum(costs) / len(costs), 1.0) if costs else 1000.0


def _is_pinned(job: Job) -> bool:
    fixed = job.visit.fixed
    return fixed is not None and fixed.technician is not None and fixed.date is not None
