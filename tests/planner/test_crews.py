"""A visit for two people: a helper stands on another technician's round and begins at the same moment."""

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from servicedesk.planner.changes import as_before, changes
from servicedesk.planner.check import check
from servicedesk.planner.plan import Plan, Stop
from servicedesk.planner.problem import Crew, Problem
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, a_day, a_problem, a_technician, a_visit, a_window
from tests.planner.strategies import problems

TWO = (a_technician("t1"), a_technician("t2"))


def with_crews(problem: Problem, which: set[int]) -> Problem:
    """Some of the visits need two people for their first half."""
    visits = tuple(
        replace(visit, crew=Crew(2, visit.duration_s // 2), skip_cost=Decimal(900)) if number in which else visit
        for number, visit in enumerate(problem.visits)
    )
    return replace(problem, visits=visits)


def stops_at(plan: Plan, visit: str) -> list[tuple[str, Stop]]:
    return [(row.technician, stop) for row in plan.rounds for stop in row.stops if stop.visit == visit]


def test_helper_begins_with_the_lead_and_leaves_earlier() -> None:
    problem = a_problem(a_visit("a", minutes=90, crew=Crew(2, 45 * 60)), a_visit("b"), a_visit("c"), people=TWO)
    plan = solve(problem, iterations=60)
    (_one, lead), (_other, helper) = sorted(stops_at(plan, "a"), key=lambda row: row[1].helper)
    assert lead.begin == helper.begin
    assert (lead.leave - lead.begin, helper.leave - helper.begin) == (timedelta(minutes=90), timedelta(minutes=45))
    assert len({who for who, _stop in stops_at(plan, "a")}) == 2
    assert check(problem, plan) == []


def test_one_person_alone_cannot_do_it() -> None:
    plan = solve(a_problem(a_visit("a", crew=Crew(2, 1800))), iterations=20)
    assert plan.unserved[0].state == "cannot"
    assert "no two" in plan.unserved[0].reason


def test_two_who_never_work_at_one_time_cannot_do_it() -> None:
    people = (
        a_technician("t1", days=(a_day(MONDAY, "06:00", "10:00"),)),
        a_technician("t2", days=(a_day(MONDAY, "10:00"),)),
    )
    plan = solve(a_problem(a_visit("a", crew=Crew(2, 1800)), people=people), iterations=20)
    assert plan.unserved[0].state == "cannot"


def test_meets_where_windows_force_one_moment() -> None:
    """Each is bound elsewhere until ten and from noon: only the hour between is free to both."""
    early, late = (a_window("08:30", "10:00"),), (a_window("12:30", "14:00"),)
    visits = [a_visit(f"{n}1", "a", windows=early, only=(n,)) for n in ("t1", "t2")]
    visits += [a_visit(f"{n}2", "a", windows=late, only=(n,)) for n in ("t1", "t2")]
    problem = a_problem(*visits, a_visit("b", minutes=60, crew=Crew(2, 3600)), people=TWO)
    plan = solve(problem, iterations=100)
    assert len(stops_at(plan, "b")) == 2
    assert not plan.unserved
    assert check(problem, plan) == []


def test_checker_finds_a_helper_who_comes_later() -> None:
    problem = a_problem(a_visit("a", crew=Crew(2, 1800)), people=TWO)
    plan = solve(problem, iterations=20)
    late = timedelta(minutes=10)
    rows = tuple(
        replace(
            row,
            back=row.back + late,
            stops=tuple(replace(stop, begin=stop.begin + late, leave=stop.leave + late) for stop in row.stops),
        )
        if row.stops[0].helper
        else row
        for row in plan.rounds
    )
    assert any("needs 2 people" in line for line in check(problem, replace(plan, rounds=rows)))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(problems(), st.sets(st.integers(0, 6), max_size=3), st.integers(1, 5))
def test_replanning_with_nothing_changed_moves_neither_lead_nor_visits(
    problem: Problem, which: set[int], seed: int
) -> None:
    problem = with_crews(problem, which)
    plan = solve(problem, iterations=30, seed=seed)
    again = solve(as_before(problem, plan, Decimal(2000)), iterations=30, seed=seed + 1)
    assert again.score.moved == 0
    assert not [row for row in changes(problem, plan, again) if row.kind in {"moved", "swapped", "dropped"}]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(problems(), st.sets(st.integers(0, 6), max_size=3), st.integers(1, 5))
def test_plans_with_crews_pass_the_independent_check(problem: Problem, which: set[int], seed: int) -> None:
    problem = with_crews(problem, which)
    assert check(problem, solve(problem, iterations=15, seed=seed)) == []


def placed(plan: Plan) -> list[tuple[str, str | None, bool, datetime]]:
    return [(row.technician, stop.visit, stop.helper, stop.begin) for row in plan.rounds for stop in row.stops]


def test_planned_again_with_nothing_changed_keeps_lead_helper_and_hour() -> None:
    visits = [a_visit(f"v{n}", minutes=45, place="abc"[n % 3]) for n in range(5)]
    problem = a_problem(*visits, a_visit("two", "a", minutes=90, crew=Crew(2, 45 * 60)), people=TWO)
    first = solve(problem, iterations=300)
    again = as_before(problem, first, Decimal(8))
    second = solve(again, iterations=0)
    assert check(again, second) == []
    assert placed(second) == placed(first)
    assert second.score.cost == first.score.cost


def test_another_helper_than_before_costs_and_the_checker_reckons_the_same() -> None:
    problem = a_problem(a_visit("two", "a", crew=Crew(2, 1800)), people=(*TWO, a_technician("t3")))
    first = solve(problem, iterations=30)
    helper = next(row.technician for row in first.rounds for stop in row.stops if stop.helper)
    again = as_before(problem, first, Decimal(8))
    other = replace(again, technicians=tuple(row for row in again.technicians if row.id != helper))
    second = solve(other, iterations=30)
    assert check(other, second) == []
    assert second.score.cost == first.score.cost + 8
