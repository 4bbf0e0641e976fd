"""Questions put to a plan: what changed, why here, what a wish costs, who could come, whom to call."""

from decimal import Decimal

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from servicedesk.planner.calls import best_call
from servicedesk.planner.changes import as_before, changes
from servicedesk.planner.desk import Desk
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem, Promise
from servicedesk.planner.solve import solve
from servicedesk.planner.why import why, why_all, wish
from tests.planner.cast import (
    MONDAY,
    TUESDAY,
    a_day,
    a_problem,
    a_technician,
    a_visit,
    a_window,
    at,
    with_visit,
)
from tests.planner.strategies import problems

DAYS = (a_day(MONDAY, max_overtime_s=7200), a_day(TUESDAY, max_overtime_s=7200))
DEAR = Decimal(2000)  # more than moving any visit of these small problems could save


def two_days() -> Problem:
    monday, tuesday = (a_window("08:00", "16:00"),), (a_window("08:00", "16:00", TUESDAY),)
    visits = a_visit("a", windows=monday), a_visit("b", windows=monday), a_visit("c", windows=tuesday)
    return a_problem(*visits, people=(a_technician(days=DAYS),))


def solved(problem: Problem) -> Plan:
    return solve(problem, iterations=60)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(problems(), st.integers(1, 5))
def test_replanning_with_nothing_changed_moves_nothing(problem: Problem, seed: int) -> None:
    plan = solve(problem, iterations=30, seed=seed)
    again = solve(as_before(problem, plan, DEAR), iterations=30, seed=seed + 1)
    assert again.score.moved == 0
    assert not [row for row in changes(problem, plan, again) if row.kind in {"moved", "swapped", "dropped"}]


def test_two_who_change_places_are_told_as_a_swap() -> None:
    people = (a_technician("t1"), a_technician("t2"))
    problem = a_problem(a_visit("a", only=("t1",)), a_visit("b", only=("t2",)), people=people)
    other = with_visit(with_visit(problem, "a", only=("t2",)), "b", only=("t1",))
    found = changes(problem, solved(problem), solved(other))
    assert [(row.visit, row.kind, row.other) for row in found] == [("a", "swapped", "b"), ("b", "swapped", "a")]
    assert found[0].reason.words() == "a and b change places: t2 on Mon 7 Dec instead of t1 on Mon 7 Dec."


def test_moved_dropped_and_placed_are_told() -> None:
    old = two_days()
    new = with_visit(with_visit(old, "a", windows=(a_window("08:00", "16:00", TUESDAY),)), "b", skip_cost=Decimal(1))
    found = changes(old, solved(old), solved(new))
    assert [(row.visit, row.kind) for row in found if row.kind != "retimed"] == [("a", "moved"), ("b", "dropped")]
    back = changes(old, solved(new), solved(old))
    assert ("b", "placed") in [(row.visit, row.kind) for row in back]


def test_broken_promise_is_told() -> None:
    problem = with_visit(two_days(), "a", promise=Promise(at("09:00"), cost=Decimal(20)))
    late = with_visit(problem, "a", windows=(a_window("12:00", "16:00"),))
    assert "promise_broken" in [row.kind for row in changes(problem, solved(problem), solved(late))]


def test_call_that_saves_most_is_the_one_whose_hour_costs_most() -> None:
    """Visit d at noon keeps the round waiting for hours; the hour of a is where the round is anyway."""
    problem = a_problem(
        a_visit("a", windows=(a_window("08:00", "09:30"),), promise=Promise(at("08:15"), cost=Decimal(5))),
        a_visit("d", windows=(a_window("10:30", "16:00"),), promise=Promise(at("15:00"), cost=Decimal(90))),
        people=(a_technician(days=DAYS),),
    )
    problem = with_visit(problem, "a", only=("t1",), days=(MONDAY,))
    call = best_call(Desk(problem, solved(problem)))
    assert call is not None
    assert call.visit == "d"
    assert call.saving > 0
    only_a = best_call(Desk(problem, solved(problem)), visits=("a",))
    assert only_a is None or only_a.saving < call.saving


def test_no_call_where_nobody_was_told_an_hour() -> None:
    problem = a_problem(a_visit("a"), a_visit("b"))
    assert best_call(Desk(problem, solved(problem))) is None


def test_next_best_costs_what_it_says() -> None:
    """Moving a to the other day means a drive of its own there: the cost of the plan made that way says how much."""
    problem = a_problem(
        a_visit("a"), a_visit("b", windows=(a_window("08:00", "16:00"),)), people=(a_technician(days=DAYS),)
    )
    plan = solved(problem)
    found = why(Desk(problem, plan), "a")
    assert (found.technician, found.date, found.next_date) == ("t1", MONDAY, TUESDAY)
    other = solved(with_visit(problem, "a", windows=(a_window("08:00", "16:00", TUESDAY),)))
    assert found.more == other.score.cost - plan.score.cost
    assert len(why_all(Desk(problem, plan))) == 2


def test_only_place_is_told_as_such() -> None:
    assert why(Desk(a_problem(a_visit("a")), solved(a_problem(a_visit("a")))), "a").reason.rule == "why_only"


def test_wish_costs_the_difference_of_two_insertions() -> None:
    people = (a_technician("t1", days=DAYS), a_technician("t2", days=DAYS, hourly_cost=Decimal(48)))
    problem = a_problem(a_visit("a"), people=people)
    found = wish(Desk(problem, solved(problem)), "a", only=("t2",))
    assert found.cost == Decimal(16)  # 80 min at 12.00 an hour more
    hour = wish(Desk(problem, solved(problem)), "a", windows=(a_window("09:00", "09:30"),))
    assert hour.cost is None
