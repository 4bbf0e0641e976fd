"""Days of many stops go to the second engine; its plan keeps every rule and is never worse than ours."""

import pytest

from servicedesk.planner.budget import Budget
from servicedesk.planner.check import check
from servicedesk.planner.problem import Problem
from servicedesk.planner.search import new_search
from servicedesk.planner.solve import plan_of, solve
from servicedesk.planner.tours import has_long_rounds, improved
from tests.benchmarks import solomon
from tests.benchmarks.weeks import week


@pytest.mark.source("Solomon, Operations Research 35 (1987): RC205, best known distance 1157.55")
def test_long_tours_come_near_the_best_known_distance() -> None:
    problem = solomon.instance("RC205")
    plan = solve(problem, iterations=300, seed=1)
    assert check(problem, plan) == []
    assert plan.score.unserved == 0
    assert (
        solomon.best_known("RC205") - 1 <= solomon.distance(plan.score.distance_m) <= 1.12 * solomon.best_known("RC205")
    )
    assert plan == solve(problem, iterations=300, seed=1)


@pytest.mark.parametrize("problem", [week("small", 5), solomon.instance("R101")], ids=["a week", "a long day"])
def test_engine_never_returns_a_worse_plan_nor_one_that_breaks_a_rule(problem: Problem) -> None:
    """A week has what the engine does not know: breaks, promises, gaps, orders of visits."""
    search = new_search(problem)
    start = search.start()
    state, made = improved(search, start.copy(), Budget(None, 100), seed=1)
    assert state.cost <= start.cost
    assert check(problem, plan_of(search, state, seed=1, iterations=made)) == []


def test_weeks_of_few_stops_a_day_are_our_own() -> None:
    assert not has_long_rounds(new_search(week("small", 5)).start())
    assert has_long_rounds(new_search(solomon.instance("RC205")).start())
