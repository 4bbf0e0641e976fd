"""The checker finds what a search might do wrong: a good plan, spoilt in one place at a time."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from servicedesk.planner.check import check
from servicedesk.planner.plan import Plan, Round, Stop
from servicedesk.planner.problem import Booking, Fixed, Kept, Leave, OrderRule, Permission, Problem, Thing, Van
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, a_break, a_day, a_problem, a_technician, a_visit, a_window, at, with_visit

WINDOW = (a_window("08:00", "16:00"),)


def the_problem() -> Problem:
    badge = Permission("badge", date(2026, 1, 1), date(2026, 12, 31))
    person = a_technician(days=(a_day(breaks=(a_break(),)),), van=Van(500, 300), permissions=(badge,))
    return a_problem(
        a_visit("a", minutes=180, windows=WINDOW, needs=("badge",), load_l=100),
        a_visit("b", minutes=180, windows=WINDOW, load_l=100),
        people=(person,),
    )


def the_plan() -> Plan:
    return solve(the_problem(), iterations=30)


def first_stop(plan: Plan, change: Callable[[Stop], Stop]) -> Plan:
    row = plan.rounds[0]
    return with_round(plan, replace(row, stops=(change(row.stops[0]), *row.stops[1:])))


def with_round(plan: Plan, row: Round) -> Plan:
    return replace(plan, rounds=(row, *plan.rounds[1:]))


def later(stop: Stop, minutes: int) -> Stop:
    shift = timedelta(minutes=minutes)
    return replace(stop, begin=stop.begin + shift, leave=stop.leave + shift)


def test_a_good_plan_keeps_every_rule() -> None:
    assert check(the_problem(), the_plan()) == []


SPOILT: dict[str, tuple[Callable[[Plan], Plan], str]] = {
    "a visit left out unsaid": (
        lambda plan: with_round(plan, replace(plan.rounds[0], stops=plan.rounds[0].stops[1:])),
        "neither on a round",
    ),
    "a visit done twice": (
        lambda plan: with_round(plan, replace(plan.rounds[0], stops=plan.rounds[0].stops * 2)),
        "is answered 2 times",
    ),
    "a stranger": (lambda plan: with_round(plan, replace(plan.rounds[0], technician="t9")), "no working day"),
    "a day nobody works": (
        lambda plan: with_round(plan, replace(plan.rounds[0], date=date(2026, 12, 9))),
        "no working day",
    ),
    "a shorter drive": (
        lambda plan: first_stop(plan, lambda stop: replace(stop, travel_s=1)),
        "the drive from",
    ),
    "shorter work": (
        lambda plan: first_stop(plan, lambda stop: replace(stop, leave=stop.leave - timedelta(minutes=5))),
        "does not last",
    ),
    "begun before the arrival": (
        lambda plan: first_stop(plan, lambda stop: replace(stop, arrive=stop.begin + timedelta(minutes=1))),
        "begins before the arrival",
    ),
    "no time to drive on": (lambda plan: first_stop(plan, lambda stop: later(stop, 45)), "cannot be reached"),
    "no break": (lambda plan: with_round(plan, replace(plan.rounds[0], pauses=())), "a break of 30 min is due"),
    "home too soon": (
        lambda plan: with_round(plan, replace(plan.rounds[0], back=plan.rounds[0].back - timedelta(minutes=30))),
        "the way back",
    ),
    "a cheaper round": (
        lambda plan: with_round(plan, replace(plan.rounds[0], cost=plan.rounds[0].cost - 5)),
        "the round costs",
    ),
    "a better score": (
        lambda plan: replace(plan, score=replace(plan.score, distance_m=1)),
        "The score tells 1 for the distance",
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_finds_what_is_spoilt(name: str) -> None:
    spoil, words = SPOILT[name]
    assert any(words in line for line in check(the_problem(), spoil(the_plan())))


STRICTER: dict[str, tuple[Callable[[Problem], Problem], str]] = {
    "window": (lambda row: with_visit(row, "a", windows=(a_window("06:00", "07:30"),)), "no open window"),
    "day": (lambda row: with_visit(row, "a", days=(date(2026, 12, 8),)), "no open window"),
    "permission": (
        lambda row: replace(row, technicians=(replace(row.technicians[0], permissions=()),)),
        "needs badge",
    ),
    "barred": (lambda row: with_visit(row, "a", barred=("t1",)), "does not want"),
    "only": (lambda row: with_visit(row, "a", only=("t2",)), "wants only"),
    "fixed": (lambda row: with_visit(row, "a", fixed=Fixed("t2")), "is fixed to t2"),
    "fixed time": (lambda row: with_visit(row, "a", fixed=Fixed(begins=at("15:00"))), "is fixed to begin"),
    "booking": (
        lambda row: with_visit(row, "a", bookings=(Booking("lift", at("15:00"), at("15:30")),)),
        "outside its booking",
    ),
    "tank": (lambda row: with_visit(row, "a", load_l=280), "the tank holds"),
    "payload": (lambda row: with_visit(row, "a", load_kg=400), "too heavy"),
    "leave": (
        lambda row: replace(row, technicians=(replace(row.technicians[0], leave=(Leave(at("09:00"), at("15:00")),)),)),
        "lies in an absence",
    ),
    "order": (
        lambda row: replace(
            with_visit(with_visit(row, "a", group="x"), "b", group="y"),
            orders=(OrderRule("x", "y"), OrderRule("y", "x")),
        ),
        "comes before",
    ),
    "lateness": (
        lambda row: with_visit(row, "a", due_on=date(2026, 12, 1), late_cost_per_day=Decimal(10)),
        "the round costs",
    ),
}


@pytest.mark.parametrize("name", STRICTER)
def test_finds_a_rule_that_the_plan_did_not_know(name: str) -> None:
    change, words = STRICTER[name]
    assert any(words in line for line in check(change(the_problem()), the_plan()))


def test_rest_too_short_is_found() -> None:
    days = (a_day(MONDAY, "08:00", "23:00"), a_day(date(2026, 12, 8), "06:00", "16:00"))
    visits = (
        a_visit("a", windows=(a_window("20:00", "23:00"),)),
        a_visit("b", windows=(a_window("06:30", "08:00", date(2026, 12, 8)),)),
    )
    relaxed = a_problem(*visits, people=(a_technician(days=days, rest_s=3600),))
    strict = a_problem(*visits, people=(a_technician(days=days),))
    assert any("of rest before" in line for line in check(strict, solve(relaxed, iterations=30)))


def test_thing_of_a_settled_round_is_not_used_a_second_time() -> None:
    """The only lift is at the settled visit from nine to ten."""
    lift = Thing("lift")
    one = a_visit("a", things=("lift",), windows=(a_window("09:00", "10:00"),))
    other = a_visit("b", things=("lift",), windows=(a_window("09:00", "10:00"),))
    settled = Kept("t1", MONDAY, at("08:50"), at("10:10"), ("a",), (at("09:00"),))
    people = (a_technician(), a_technician("t2"))
    problem = replace(a_problem(one, other, people=people), things=(lift,), kept=(settled,))
    plan = solve(problem, iterations=10)
    assert [row.visit for row in plan.unserved] == ["b"]
    without = replace(problem, visits=(replace(one, things=()), other))
    used = solve(without, iterations=10)
    assert used.unserved == ()
    assert any(line.startswith("lift is used by 2 visits") for line in check(problem, used))


def test_break_taken_on_leaving_at_its_last_moment_counts() -> None:
    """Whoever leaves at the last moment of a break may take it then, and it is not paid."""
    rest = a_break(30, "08:00", "09:00", paid=False)
    who = a_technician(days=(a_day(breaks=(rest,), closes="18:00"),))
    problem = a_problem(a_visit("a", minutes=420, windows=(a_window("09:40", "17:00"),)), people=(who,))
    assert check(problem, solve(problem, iterations=10)) == []
