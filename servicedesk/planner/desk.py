"""A plan laid open for questions: what would it cost to take this out, to put that in, to have it otherwise?

Nothing here changes the plan. Costs are of the state at hand, with no further search unless said.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from servicedesk.planner.evaluate import INFINITE, Timed, Times
from servicedesk.planner.instance import Job, Shift, ts
from servicedesk.planner.nights import with_nights
from servicedesk.planner.orders import Orders, state_of
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem, Visit
from servicedesk.planner.search import Search, State, new_search


@dataclass(frozen=True, slots=True)
class Place:
    """Where a job may be put in: the rise in cost in thousandths, the shift, the place in its order."""

    rise: int
    shift: Shift
    at: int


class Desk:
    """A problem and a plan of it."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.plan = plan
        self.problem = with_nights(problem, plan.nights)
        self.search: Search = new_search(self.problem, plan.seed)
        self.state: State = state_of(self.search, plan_orders(self.problem, plan))

    def job(self, visit: str) -> Job:
        return self.search.instance.job_of[visit]

    def invite(self, visit: Visit) -> Job:
        """A job for a visit that is not of the problem, or is asked for on other terms."""
        job = self.search.instance.add(visit)
        self.search.invite(job)
        return job

    def without(self, jobs: Iterable[int], state: State | None = None) -> State:
        """The state with some jobs taken out."""
        found = (state or self.state).copy()
        for job in jobs:
            if job in found.pairs:
                self.search.crews.part(found, job)
            elif job in found.where:
                self.search.remove(found, found.where[job], {job})
        return found

    def places(self, state: State, job: int) -> list[Place]:
        """Every shift that has room for the job, with its cheapest place there; the cheapest first."""
        shifts = self.search.instance.shifts
        offers = [(*self.search.best_insert(state, at, job), at) for at in self.search.allowed[job]]
        return [Place(rise, shifts[at], place) for rise, place, at in sorted(offers) if rise < INFINITE]

    def timed(self, state: State, shift: Shift) -> Timed | None:
        return self.search.evaluator.timed(shift, state.routes[shift.index].order)

    def stop(self, state: State, shift: Shift, job: int) -> Times | None:
        """When a job is done on a shift."""
        timed = self.timed(state, shift)
        stops = timed.stops if timed else ()
        return next((stop for stop in stops if stop.node.job is not None and stop.node.job.index == job), None)


def plan_orders(problem: Problem, plan: Plan) -> Orders:
    """The rounds of a plan as a search takes them."""
    crews = {visit.id for visit in problem.visits if visit.crew is not None and visit.crew.people > 1}
    return [
        (
            row.technician,
            row.date.isoformat(),
            [
                (stop.visit, ts(stop.begin) if stop.visit in crews else None, stop.helper)
                for stop in row.stops
                if stop.visit is not None
            ],
        )
        for row in plan.rounds
    ]
