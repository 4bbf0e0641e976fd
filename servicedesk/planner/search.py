"""Ruin and recreate: take some visits out of their rounds, put them back where they cost least, keep what is better.

The same seed and number of iterations give the same plan.
"""

import random
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from datetime import date
from math import exp

from servicedesk.planner.crews import Crews
from servicedesk.planner.evaluate import INFINITE, Evaluator
from servicedesk.planner.instance import Instance, Job, ts
from servicedesk.planner.links import Links
from servicedesk.planner.problem import Problem
from servicedesk.planner.routes import NO_OFFER, Offer, Route, Routes
from servicedesk.planner.ruin import ruin

EAGER, EAGER_SHARE = 4, 0.5  # leaving a visit out weighs so much more in the first part of a search
HOT, WARM, COLD = 2.0, 0.5, 0.06  # annealing temperatures, times the mean cost of a short hop
BLINK = 0.03
NEIGHBOURS = 60  # of a visit, that are removed together with it
REGRET, HARDEST = 0.35, 0.4  # shares of the ways to put back; the rest is in random order
MUST = 10**12  # what leaving out a fixed visit weighs in the search
Spent = Callable[[int, int], float]
NOBODY: frozenset[int] = frozenset()


@dataclass(slots=True)
class State:
    """Rounds by shift, the shift of each placed job, and what it all costs; ``pairs``: the jobs of visits for two."""

    routes: list[Route]
    where: dict[int, int]
    cost: int
    pairs: dict[int, tuple[int, int]] = field(default_factory=dict)

    def copy(self) -> "State":
        return State(list(self.routes), dict(self.where), self.cost, dict(self.pairs))


@dataclass(slots=True)
class Choice:
    """Where a job costs least and what the second best shift would cost."""

    rise: int
    at: int
    place: int
    second: int
    second_at: int


class Search:
    """One search over one problem."""

    def __init__(
        self, instance: Instance, evaluator: Evaluator, seed: int, allowed: dict[int, list[int]] | None = None
    ) -> None:
        self.instance, self.evaluator = instance, evaluator
        self.links = Links(instance, evaluator)
        self.routes = Routes(instance, evaluator)
        self.random = random.Random(seed)
        self.allowed = allowed_shifts(instance) if allowed is None else allowed
        for job in instance.jobs:
            for at in self.allowed[job.index]:
                self.routes.pricer.admit(job, at)
        self.skip = {job.index: job.skip + (MUST if job.visit.fixed else 0) for job in instance.jobs}
        self._eager = 1
        self.pinned = {job.index for job in instance.jobs if _is_pinned(job)}
        self._near: dict[int, list[int]] = {}
        self.crews = Crews(self)

    def adopt(self, job: Job) -> None:
        """Make a job known that was made after the others: one of a visit for two."""
        visit = job.visit_index
        self.routes.pricer.learn(job)
        shifts = self.instance.shifts if job.helper else [self.instance.shifts[at] for at in self.allowed[visit]]
        self.allowed[job.index] = [shift.index for shift in shifts if self.instance.forbids(job, shift) is None]
        for at in self.allowed[job.index]:
            self.routes.pricer.admit(job, at)
        self.skip[job.index] = 0 if job.helper else self.skip[visit]

    def invite(self, job: Job) -> None:
        """Make a visit known that is not of the problem: a prospective one, or one asked for on other terms."""
        self.routes.pricer.learn(job)
        self.allowed[job.index] = [
            shift.index for shift in self.instance.shifts if self.instance.forbids(job, shift) is None
        ]
        for at in self.allowed[job.index]:
            self.routes.pricer.admit(job, at)
        self.skip[job.index] = job.skip
        self.links.adopt(job.index, self.instance.job_of[job.visit.id].index if self._knows(job) else job.index)

    def _knows(self, job: Job) -> bool:
        return job.visit.id in self.instance.job_of

    def run(self, spent: Spent, start: State | None = None, heat: float = HOT) -> tuple[State, int]:
        """Search until ``spent(iterations, best cost)`` reaches 1; the best state and the iterations made."""
        current = start or self.start()
        self.put_back(current, self.waiting(current))
        best, number = current.copy(), 0
        hop = self._short_hop()
        if heat == HOT:
            self._weigh(EAGER, current)
        while (share := spent(number, best.cost)) < 1:
            if self._eager > 1 and share >= EAGER_SHARE:
                self._weigh(1, current)
            trial = current.copy()
            ruin(self, trial)
            self._recreate(trial)
            chance = hop * heat * (COLD / heat) ** share
            worse = trial.cost - current.cost
            if worse <= 0 or self.random.random() < exp(-worse / chance):
                current = trial
                cost = current.cost - (self._eager - 1) * self._left_out(current)
                if cost < best.cost:
                    best = current.copy()
                    best.cost = cost
            number += 1
        self._weigh(1, current)
        self.put_back(best, self.waiting(best))
        return best, number

    def _weigh(self, factor: int, state: State) -> None:
        """Let leaving out weigh so many times what it costs, and price a state so.

        A visit once placed is easily dropped where that is cheaper; one left out seldom finds room in a full week.
        """
        if factor == 1 and self._eager == 1:
            return
        left = self._left_out(state)
        for job in self.skip:
            self.skip[job] = self.skip[job] // self._eager * factor
        state.cost += (factor - self._eager) * left
        self._eager = factor

    def _left_out(self, state: State) -> int:
        """What leaving out costs in a state."""
        return sum(self.skip[job.index] for job in self.instance.jobs if job.index not in state.where) // self._eager

    # --- the first plan

    def empty(self) -> State:
        """No visit placed; only the drives that are due without one."""
        routes = []
        for shift in self.instance.shifts:
            route = self.routes.route(shift.index, ())
            routes.append(route if route is not None else self.routes.none(shift.index))
        return State(
            routes, {}, sum(self.skip[job.index] for job in self.instance.jobs) + sum(route.cost for route in routes)
        )

    def start(self) -> State:
        """The last plan less what breaks a rule by now, the rest put in by regret."""
        state = self.empty()
        rows = [row for job in self.instance.jobs for row in self._as_before(job)]
        rank = {job: position for job, position, _key in rows}
        for job, position, key in sorted(rows, key=lambda row: (row[0] not in self.pinned, row[1], row[0])):
            home = self.instance.shift_of.get(key)
            if home is None or home.index not in self.allowed[job]:
                continue
            order = state.routes[home.index].order
            place = sum(1 for other in order if rank.get(other, 0) <= position)
            self.put_if_legal(state, home.index, job, place)
        self.crews.pair_up(state)
        self.put_back(state, self.waiting(state))
        return state

    def _as_before(self, job: Job) -> list[tuple[int, int, tuple[str, date]]]:
        """Where the last plan had the visit, or each half of one for two: job, position, technician's day."""
        before = job.visit.before
        if before is None:
            return []
        if job.index not in self.crews.visits:
            return [(job.index, before.position, (before.technician, before.date))]
        if before.begins is None or before.helper is None:
            return []
        lead, helper = self.crews.pair(job.index, ts(before.begins))
        return [
            (lead, before.position, (before.technician, before.date)),
            (helper, before.helper_position, (before.helper, before.date)),
        ]

    def put_if_legal(self, state: State, at: int, job: int, place: int) -> bool:
        """Put a job at a place in a round where that breaks no rule."""
        order = state.routes[at].order
        route = self.routes.route(at, (*order[:place], job, *order[place:]))
        if route is None or not self.links.allow(state.routes, state.where, route):
            return False
        self._put(state, job, route)
        return True

    def put_round(self, state: State, at: int, order: tuple[int, ...]) -> bool:
        """Give an empty round all its jobs at once where that breaks no rule."""
        route = self.routes.route(at, order)
        where = state.where | dict.fromkeys(order, at)
        if route is None or not self.links.allow(state.routes, where, route):
            return False
        state.cost += route.cost - state.routes[at].cost - sum(self.skip[job] for job in order)
        state.routes[at] = route
        state.where = where
        return True

    def _put(self, state: State, job: int, route: Route) -> None:
        state.cost += route.cost - state.routes[route.at].cost - self.skip[job]
        state.routes[route.at] = route
        state.where[job] = route.at

    # --- taking out

    def remove(self, state: State, at: int, gone: Collection[int], *, by_force: bool = False) -> None:
        """Take jobs out of a round; where even the shorter one breaks a rule, all that is not pinned, at worst all.

        Where even the empty one does, its due drive coming too near another day, the round stays; ``by_force`` it is
        emptied all the same.
        """
        old = state.routes[at]
        new = old
        for kept in (
            tuple(job for job in old.order if job not in gone),
            tuple(job for job in old.order if job in self.pinned),
            (),
        ):
            route = self.routes.route(at, kept)
            if route is not None and self.links.allow(state.routes, state.where, route):
                new = route
                break
        else:
            if by_force:
                new = self.routes.route(at, ()) or self.routes.none(at)
        state.cost += new.cost - old.cost
        state.routes[at] = new
        for job in set(old.order) - set(new.order):
            del state.where[job]
            state.cost += self.skip[job]

    # --- recreate

    def waiting(self, state: State) -> list[int]:
        return [job.index for job in self.instance.jobs if job.index not in state.where and self.allowed[job.index]]

    def _recreate(self, state: State) -> None:
        waiting = self.waiting(state)
        self.random.shuffle(waiting)
        blinked = frozenset(shift.index for shift in self.instance.shifts if self.random.random() < BLINK)
        dice = self.random.random()
        if dice < REGRET:
            self.put_back(state, waiting, blinked)
            return
        waiting = self._crews_first(state, waiting, blinked)
        if dice < REGRET + HARDEST:
            waiting.sort(key=lambda job: (len(self.allowed[job]), -self.instance.jobs[job].duration))
        for job in waiting:
            choice = self.choose(state, job, blinked, two=False)
            if choice is not None:
                self._put_choice(state, job, choice)

    def put_back(self, state: State, waiting: list[int], blinked: frozenset[int] = NOBODY) -> None:
        """Put in whatever of the waiting jobs costs less than leaving it out."""
        self._by_regret(state, self._crews_first(state, waiting, blinked), blinked)

    def _crews_first(self, state: State, waiting: list[int], blinked: frozenset[int]) -> list[int]:
        """Put in the visits for two, which are the hardest to place; the visits for one that still wait."""
        if not self.crews.visits:
            return waiting
        for visit in [job for job in waiting if job in self.crews.visits]:
            found = self.crews.best(state, visit, blinked, self.skip[visit])
            if found is not None:
                self.crews.put(state, visit, found)
        return [job for job in waiting if job not in self.crews.visits]

    def _put_choice(self, state: State, job: int, choice: Choice) -> bool:
        order = state.routes[choice.at].order
        route = self.routes.route(choice.at, (*order[: choice.place], job, *order[choice.place :]))
        if route is None or (
            self.links.is_linked(route.at, route.order) and not self.links.allow(state.routes, state.where, route)
        ):
            return False
        self._put(state, job, route)
        return True

    def _by_regret(self, state: State, waiting: list[int], blinked: frozenset[int]) -> None:
        """Put in, again and again, the visit that would lose most by waiting."""
        choices = {job: choice for job in waiting if (choice := self.choose(state, job, blinked)) is not None}
        while choices:
            chosen = max(choices, key=lambda job: choices[job].second - choices[job].rise)
            choice = choices.pop(chosen)
            if not self._put_choice(state, chosen, choice):
                continue
            at = choice.at
            far = self.links.has_gap(chosen) or self.links.is_linked(at, state.routes[at].order)
            for job in list(choices):
                self._refresh(state, job, at, choices, blinked, everywhere=far)

    def _refresh(
        self,
        state: State,
        job: int,
        at: int,
        choices: dict[int, Choice],
        blinked: frozenset[int],
        *,
        everywhere: bool,
    ) -> None:
        """Look again at a waiting job's best shifts after one round has changed."""
        choice = choices[job]
        if everywhere or at in {choice.at, choice.second_at}:
            found = self.choose(state, job, blinked)
            if found is None:
                del choices[job]
            else:
                choices[job] = found
            return
        if at in blinked or job not in self.routes.pricer.days[at].spans:
            return
        rise, place = self._offer(state, at, job, choice.second)
        if rise < choice.rise:
            choices[job] = Choice(rise, at, place, choice.rise, choice.at)
        elif rise < choice.second:
            choice.second, choice.second_at = rise, at

    def choose(self, state: State, job: int, blinked: frozenset[int] = NOBODY, *, two: bool = True) -> Choice | None:
        """The job's two best shifts (the best alone where ``two`` is false); None where waiting is cheaper."""
        best, best_at, best_place = self.skip[job], -1, 0
        second, second_at = best, -1
        asked: list[tuple[int, int]] = []
        rounds = state.routes
        barred = self.links.barred_dates(state.where, job) if self.links.has_gap(job) else None
        tight, by_time = self.links.tight, self.links.by_time
        is_known = job not in by_time
        for at in self.allowed[job]:
            if at in blinked or (barred and self.links.date_on(job, at) in barred):
                continue
            route = rounds[at]
            found = route.offers.get(job) if is_known and at not in tight else None
            if found is None or not (not by_time or by_time.isdisjoint(route.order)):
                floor = route.floors[job] if job in route.floors else self.routes.floor(route, job)
                if floor < second:
                    asked.append((floor, at))
                continue
            if found[0] < best:
                second, second_at = best, best_at
                best, best_at, best_place = found[0], at, found[1]
            elif found[0] < second:
                second, second_at = found[0], at
        asked.sort()
        for bound, at in asked:
            limit = second if two else best
            if bound >= limit:
                break
            rise, place = self._offer(state, at, job, limit)
            if rise < best:
                second, second_at = best, best_at
                best, best_at, best_place = rise, at, place
            elif rise < second:
                second, second_at = rise, at
        return Choice(best, best_at, best_place, second, second_at) if best_at >= 0 else None

    def _offer(self, state: State, at: int, job: int, limit: int = INFINITE) -> Offer:
        """The least rise in cost for a job on a shift; what costs ``limit`` or more may be told as that."""
        route = state.routes[at]
        if self.links.has_gap(job) and not self.links.may_keep_gaps(state.where, job, at):
            return NO_OFFER
        if job not in self.links.by_time and not self.links.is_linked(at, route.order):
            return self.routes.offer(route, job, limit)
        return self._linked_offer(state, route, job, limit)

    def _linked_offer(self, state: State, route: Route, job: int, limit: int) -> Offer:
        best = NO_OFFER
        for bound, place in self.routes.bounds(route, job):
            if bound >= min(best[0], limit):
                break
            rise = self.routes.rise(route, job, place)
            if rise < best[0]:
                longer = self.routes.route(route.at, (*route.order[:place], job, *route.order[place:]))
                if longer is not None and self.links.allow(state.routes, state.where, longer):
                    best = (rise, place)
        return best

    def best_insert(self, state: State, at: int, job: int, limit: int = INFINITE) -> Offer:
        """The least rise in cost for a job on a shift, and the place in its order.

        A rise of ``limit`` or more may be told as that.
        """
        return self._offer(state, at, job, limit)

    # --- measures

    def near(self, job: int) -> list[int]:
        """The other visits by the drive to them, the nearest first."""
        visit = self.instance.rows[job].visit_index
        found = self._near.get(visit)
        if found is None:
            place, row = self.routes.pricer.place, self.routes.pricer.seconds[self.routes.pricer.place[visit]]
            drives = sorted((row[place[other.index]], other.index) for other in self.instance.jobs)
            found = self._near[visit] = [other for _drive, other in drives if other != visit][:NEIGHBOURS]
        return found

    def _short_hop(self) -> float:
        """Mean cost of the drive from a visit to its nearest neighbour elsewhere, in thousandths."""
        shifts, pricer = self.instance.shifts, self.routes.pricer
        if not shifts:
            return 1.0
        hourly = sum(shift.hourly for shift in shifts) / len(shifts)
        km = sum(shift.km for shift in shifts) / len(shifts)
        places = sorted({pricer.place[job.index] for job in self.instance.jobs})
        costs = []
        for place in places:
            drives, metres = pricer.seconds[place], pricer.metres[place]
            least, other = min(((drives[other], other) for other in places if drives[other]), default=(0, place))
            if least:
                costs.append(hourly * least / 3_600_000 + km * metres[other] / 1_000_000)
        return max(sum(costs) / len(costs), 1.0) if costs else 1000.0


def new_search(problem: Problem, seed: int = 1) -> Search:
    """A search over a problem made ready."""
    instance = Instance(problem)
    return Search(instance, Evaluator(instance), seed)


def allowed_shifts(instance: Instance) -> dict[int, list[int]]:
    """For each job the shifts that no rule of its own forbids."""
    return {
        job.index: [shift.index for shift in instance.shifts if instance.forbids(job, shift) is None]
        for job in instance.jobs
    }


def _is_pinned(job: Job) -> bool:
    fixed = job.visit.fixed
    return fixed is not None and fixed.technician is not None and fixed.date is not None
