"""A drive that is due without a visit, as after a committed night away, is made or told, never lost unsaid."""

from datetime import timedelta
from decimal import Decimal

from servicedesk.planner.check import check
from servicedesk.planner.desk import Desk
from servicedesk.planner.problem import Leave
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, TUESDAY, a_day, a_problem, a_technician, a_visit, a_window, at


def test_drive_farther_than_the_hours_is_told() -> None:
    """From "d" to the store it is farther than one hour."""
    day = a_day(closes="08:05", start="d", drive_empty=True)
    plan = solve(a_problem(a_visit("a"), people=(a_technician(days=(day,)),)), iterations=5)
    assert plan.notes == ("t1 has to drive on Mon 7 Dec farther than the hours of that day allow.",)
    assert [row.visit for row in plan.unserved] == ["a"]


def test_drive_on_a_day_off_is_told() -> None:
    absence = Leave(at("00:00"), at("24:00"))
    who = a_technician(days=(a_day(start="d", drive_empty=True),), leave=(absence,))
    plan = solve(a_problem(people=(who,)), iterations=5)
    assert plan.notes == ("t1 has to drive on Mon 7 Dec from the lodging of the night before, and is off on that day.",)


def test_drive_too_soon_after_the_day_before_is_told() -> None:
    days = (a_day(closes="24:00", start="d", drive_empty=True), a_day(TUESDAY, start="d", drive_empty=True))
    who = a_technician(days=(a_day(opens="23:00", closes="24:00", end="d", drive_empty=True), days[1]))
    plan = solve(a_problem(people=(who,)), iterations=5)
    assert all("too little rest" in note for note in plan.notes)
    assert plan.notes


def test_lawful_week_has_no_notes() -> None:
    who = a_technician(days=(a_day(end="d", drive_empty=True), a_day(TUESDAY, start="d", drive_empty=True)))
    problem = a_problem(a_visit("a"), a_visit("b"), people=(who,))
    plan = solve(problem, iterations=20)
    assert plan.notes == ()
    assert check(problem, plan) == []


def test_plan_read_back_has_every_visit_although_the_due_drive_begins_later() -> None:
    """Tuesday's empty drive would begin too soon after Monday's late round; the round that is driven does not."""
    late = a_day(opens="12:00", closes="23:00")
    due = a_day(TUESDAY, opens="06:00", closes="20:00", end="d", drive_empty=True)
    evening = a_visit("a", days=(MONDAY,), minutes=600)
    afternoon = a_visit("b", windows=(a_window("14:00", "16:00", TUESDAY),))
    problem = a_problem(evening, afternoon, people=(a_technician(days=(late, due), rest_s=11 * 3600),))
    plan = solve(problem, iterations=40)
    assert Desk(problem, plan).state.cost == int(plan.score.cost * 1000)
    assert plan.score.skip_cost == Decimal(0)
    assert plan.rounds[1].leave - plan.rounds[0].back >= timedelta(hours=11)
