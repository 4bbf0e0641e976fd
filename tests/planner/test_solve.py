from datetime import timedelta
from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from servicedesk.planner.check import check
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.instance import Instance
from servicedesk.planner.problem import Crew, Fixed, Gap, Problem, Technician, Thing
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, TUESDAY, a_day, a_problem, a_technician, a_visit, a_window, placed
from tests.planner.strategies import PLACES, problems


def test_the_same_seed_and_iterations_give_the_same_plan() -> None:
    problem = a_problem(*(a_visit(f"v{n}", PLACES[n % 4], 45) for n in range(8)), people=two_people())
    assert solve(problem, iterations=60, seed=5) == solve(problem, iterations=60, seed=5)


def two_people() -> tuple[Technician, ...]:
    days = (a_day(MONDAY), a_day(TUESDAY))
    return a_technician("t1", days=days), a_technician("t2", days=days)


def test_finds_the_cheapest_order_of_one_day() -> None:
    """Against all orders, tried one by one."""
    windows = {"a": ("08:00", "11:00"), "b": ("09:30", "16:00"), "c": ("08:00", "16:00"), "d": ("12:00", "14:30")}
    visits = [a_visit(name, windows=(a_window(*windows[name]),)) for name in PLACES]
    problem = a_problem(*visits)
    instance = Instance(problem)
    evaluator = Evaluator(instance)
    costs = [evaluator.cost(instance.shifts[0], order) for order in permutations(range(4))]
    plan = solve(problem, iterations=200)
    assert plan.score.cost == Decimal(min(costs)) / 1000


def test_waits_when_placing_costs_more_than_leaving_out() -> None:
    plan = solve(a_problem(a_visit("d", skip_cost=Decimal(5))), iterations=20)
    assert [(row.visit, row.state) for row in plan.unserved] == [("d", "waits")]
    assert plan.unserved[0].reason.endswith(": more than waiting, 5.")


def test_says_which_rule_forbids_a_visit_everywhere() -> None:
    plan = solve(a_problem(a_visit("a", needs=("harbour badge",))), iterations=20)
    assert plan.unserved[0].state == "cannot"
    assert "harbour badge" in plan.unserved[0].reason


def test_three_people_are_refused_in_words() -> None:
    plan = solve(a_problem(a_visit("a", crew=Crew(3, 1800))), iterations=20)
    assert "two at most" in plan.unserved[0].reason


def test_fixed_technician_and_day_are_kept() -> None:
    problem = a_problem(a_visit("a", fixed=Fixed("t2", TUESDAY)), a_visit("b"), people=two_people())
    assert placed(solve(problem, iterations=50))["a"] == ("t2", TUESDAY)


def test_two_visits_keep_their_gap() -> None:
    people = (a_technician(days=tuple(a_day(MONDAY + timedelta(days=n)) for n in range(4))),)
    problem = a_problem(a_visit("v1", "a"), a_visit("v2", "a"), people=people, gaps=(Gap("v1", "v2", 3),))
    days = {visit: day for visit, (_who, day) in placed(solve(problem, iterations=80)).items()}
    assert abs((days["v1"] - days["v2"]).days) >= 3


def test_rest_between_days_is_kept() -> None:
    late = a_day(MONDAY, "14:00", "24:00")
    early = a_day(TUESDAY, "06:00", "14:00")
    problem = a_problem(
        a_visit("a", windows=(a_window("22:00", "24:00"),)),
        a_visit("b", windows=(a_window("06:30", "08:00", TUESDAY),)),
        people=(a_technician(days=(late, early)),),
    )
    assert len(placed(solve(problem, iterations=50))) == 1


def test_shared_machine_is_used_by_one_at_a_time() -> None:
    window = (a_window("09:00", "10:30"),)
    problem = a_problem(
        a_visit("a", windows=window, things=("lift",)),
        a_visit("b", windows=window, things=("lift",)),
        people=(a_technician("t1"), a_technician("t2")),
        things=(Thing("lift"),),
    )
    assert len(placed(solve(problem, iterations=50))) == 1


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(problems(), st.integers(1, 5))
def test_every_plan_passes_the_independent_check(problem: Problem, seed: int) -> None:
    assert check(problem, solve(problem, iterations=15, seed=seed)) == []


@pytest.mark.parametrize("asked", [1, 3])
def test_stops_early_with_the_best_so_far(asked: int) -> None:
    calls: list[int] = []

    def stop() -> bool:
        calls.append(1)
        return len(calls) >= asked

    plan = solve(a_problem(*(a_visit(name) for name in PLACES)), seconds=60, stop=stop)
    assert len(placed(plan)) == 4
