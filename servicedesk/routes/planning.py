"""The seam between a week in the database and the planner: times a round, finds a place, plans the week."""

from collections.abc import Mapping, Sequence
from datetime import date

from servicedesk.people.models import Technician
from servicedesk.routes.engine import Progress, Search, Solved, Timed, Timer, best_place
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries.problem import Key, WeekInput, week_input
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit

__all__ = ["Key", "Solved", "Timed", "WeekProblem", "week_problem"]


class WeekProblem:
    """A week ready to be timed and planned."""

    def __init__(self, data: WeekInput) -> None:
        self.data = data
        self._timer = Timer(data)

    def timed(self, key: Key, order: Sequence[str]) -> Timed:
        return self._timer.timed(key, order)

    def best_place(self, key: Key, order: Sequence[str], visit: str) -> int:
        """Where in a round a visit costs least; the end when no place keeps the rules."""
        return best_place(self._timer, key, order, visit)[1]

    def solve(self, seconds: float, seed: int, progress: Progress, *, iterations: int | None = None) -> Solved:
        return Search(self.data, seed).run(seconds, progress, iterations=iterations)


def week_problem(
    week: Week,
    plan: WeekPlan,
    technicians: Mapping[int, Technician],
    *,
    wanted: Visit | None = None,
    today: date | None = None,
) -> WeekProblem:
    return WeekProblem(week_input(week, plan, technicians, wanted=wanted, today=today))
