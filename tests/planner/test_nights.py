"""A night away is taken where it is cheaper than driving home and out again."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from servicedesk.planner.check import check
from servicedesk.planner.problem import Kept, Overnight, Problem
from servicedesk.planner.schema import plan_from_text, to_text
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, TUESDAY, a_day, a_problem, a_technician, a_visit


def far_away(lodging: int) -> Problem:
    """Two long visits 90 min away that do not fit one day: two drives out and home, or one and a night."""
    person = a_technician(days=(a_day(MONDAY), a_day(TUESDAY)))
    problem = a_problem(a_visit("v1", "d", minutes=240), a_visit("v2", "d", minutes=240), people=(person,))
    table = problem.table
    assert table is not None
    nine = [
        [0 if one == other else 90 if "d" in {one, other} else 10 for other in table.places] for one in table.places
    ]
    seconds = tuple(tuple(60 * minutes for minutes in row) for row in nine)
    metres = tuple(tuple(1000 * minutes for minutes in row) for row in nine)
    return replace(
        problem,
        table=replace(table, seconds=seconds, metres=metres),
        overnights=(Overnight("t1", MONDAY, "d", Decimal(lodging)),),
    )


def test_cheap_lodging_is_taken() -> None:
    """The night saves 180 min at 0.60 and 180 km at 0.50: 198."""
    problem = far_away(lodging=190)
    plan = solve(problem, iterations=100)
    assert [night.date for night in plan.nights] == [MONDAY]
    assert [(row.stops[-1].place, row.back_travel_s) for row in plan.rounds] == [("d", 0), ("d", 90 * 60)]
    assert check(problem, plan) == []
    assert plan_from_text(to_text(plan)) == plan


def test_cheaper_lodging_takes_the_place_of_a_dearer_one() -> None:
    problem = far_away(lodging=190)
    cheap = replace(problem.overnights[0], cost=Decimal(120))
    both = replace(problem, overnights=(*problem.overnights, cheap))
    plan = solve(both, iterations=200)
    assert plan.nights == (cheap,)
    assert check(both, plan) == []


def test_nobody_is_away_more_often_than_allowed() -> None:
    problem = far_away(lodging=190)
    home = replace(problem, technicians=tuple(replace(who, max_nights=0) for who in problem.technicians))
    plan = solve(home, iterations=100)
    assert plan.nights == ()
    assert check(home, plan) == []
    assert any("0 are allowed" in line for line in check(home, solve(problem, iterations=100)))


def test_settled_day_that_only_drives_home_counts_for_the_rest() -> None:
    """Back at 03:00 from a lodging, so the next day may not begin at 08:00."""
    problem = far_away(lodging=190)
    who = problem.technicians[0]
    day = who.days[1]
    back = day.opens - timedelta(hours=5)
    kept = Kept(who.id, MONDAY, back - timedelta(hours=2), back, ())
    plan = solve(replace(problem, kept=(kept,), overnights=()), iterations=50)
    for row in plan.rounds:
        assert row.leave - back >= timedelta(seconds=who.rest_s)


def test_dear_lodging_is_not() -> None:
    problem = far_away(lodging=206)
    plan = solve(problem, iterations=100)
    assert plan.nights == ()
    assert check(problem, plan) == []


def test_checker_refuses_a_night_that_was_not_offered() -> None:
    problem = far_away(lodging=190)
    plan = solve(problem, iterations=100)
    assert any("none of the problem's" in line for line in check(replace(problem, overnights=()), plan))
    later = replace(plan.nights[0], date=MONDAY + timedelta(days=1))
    moved = replace(problem, overnights=(later,))
    assert any("between two working days" in line for line in check(moved, replace(plan, nights=(later,))))
