"""Days worked out by hand: a minute of drive is a kilometre, an hour costs 36.00, a kilometre 0.50."""

from datetime import date
from decimal import Decimal

import pytest

from servicedesk.planner.problem import Night, OrderRule, Permission, Promise, Van
from tests.planner.cast import (
    MINUTE,
    MONDAY,
    a_break,
    a_day,
    a_problem,
    a_technician,
    a_visit,
    a_window,
    at,
    timed,
)


def test_a_day_costs_its_hours_and_its_kilometres() -> None:
    found = timed(a_problem(a_visit("a"), a_visit("b")), "a", "b")
    assert found is not None
    # 10 min out, 60 work, 10 on, 60 work, 20 back: 160 min at 0.60 a minute, 40 km at 0.50.
    assert (found.back - found.leave, found.metres, found.cost) == (160 * MINUTE, 40_000, 116_000)


def test_leaves_so_late_that_nobody_waits_at_the_door() -> None:
    found = timed(a_problem(a_visit("a", windows=(a_window("10:00", "12:00"),))), "a")
    assert found is not None
    assert found.leave == at("09:50").timestamp()


def test_work_must_end_inside_the_window() -> None:
    visit = a_visit("a", windows=(a_window("08:00", "09:05"),))
    assert timed(a_problem(visit), "a") is None
    assert timed(a_problem(a_visit("a", windows=(a_window("08:00", "09:10"),))), "a") is not None


def test_window_across_midnight_is_one_window() -> None:
    night = a_technician(days=(a_day(opens="20:00", closes="28:00"),))
    found = timed(a_problem(a_visit("a", minutes=120, windows=(a_window("23:00", "25:30"),)), people=(night,)), "a")
    assert found is not None
    assert found.stops[0].begin == at("23:00").timestamp()


def test_overtime_costs_half_as_much_again() -> None:
    allowed = a_technician(days=(a_day(max_overtime_s=40 * MINUTE),))
    found = timed(a_problem(a_visit("a", minutes=500), people=(allowed,)), "a")
    assert found is not None
    # 10 + 500 + 10 = 520 min at 0.60, the last 40 of them 0.30 dearer, 20 km at 0.50.
    assert (found.overtime, found.cost) == (40 * MINUTE, 334_000)


def test_overtime_beyond_what_is_allowed_forbids_the_day() -> None:
    assert timed(a_problem(a_visit("a", minutes=470)), "a") is None


def test_break_is_taken_by_whoever_is_under_way() -> None:
    people = (a_technician(days=(a_day(breaks=(a_break(),)),)),)
    found = timed(a_problem(a_visit("a", minutes=180), a_visit("b", minutes=180), people=people), "a", "b")
    assert found is not None
    (begin, seconds), length = found.pauses[0], found.back - found.leave
    assert (seconds, length) == (30 * MINUTE, (10 + 180 + 10 + 180 + 20 + 30) * MINUTE)
    assert at("11:00").timestamp() <= begin <= at("13:00").timestamp()


def test_unpaid_break_costs_nothing() -> None:
    visits = a_visit("a", minutes=180), a_visit("b", minutes=180)
    paid = timed(a_problem(*visits, people=(a_technician(days=(a_day(breaks=(a_break(),)),)),)), "a", "b")
    unpaid = timed(a_problem(*visits, people=(a_technician(days=(a_day(breaks=(a_break(paid=False),)),)),)), "a", "b")
    assert paid is not None
    assert unpaid is not None
    assert paid.cost - unpaid.cost == 18_000  # half an hour at 36.00


def test_full_van_is_loaded_again_at_the_store() -> None:
    people = (a_technician(van=Van(payload_kg=400, tank_l=300)),)
    found = timed(a_problem(a_visit("a", load_l=200), a_visit("b", load_l=200), people=people), "a", "b")
    assert found is not None
    assert [stop.node.place for stop in found.stops] == ["a", "store", "b"]


def test_one_visit_heavier_than_the_van_is_forbidden() -> None:
    people = (a_technician(van=Van(payload_kg=200, tank_l=300)),)
    assert timed(a_problem(a_visit("a", load_l=200), people=people), "a") is None  # 200 L weigh 205 kg


@pytest.mark.parametrize(("last_day", "allowed"), [(date(2026, 12, 6), False), (MONDAY, True)])
def test_permission_counts_on_the_day_of_the_visit(last_day: date, allowed: bool) -> None:
    people = (a_technician(permissions=(Permission("badge", date(2026, 1, 1), last_day),)),)
    found = timed(a_problem(a_visit("a", needs=("badge",)), people=people), "a")
    assert (found is not None) is allowed


def test_broken_promise_costs_what_it_says() -> None:
    kept = a_visit("a", promise=Promise(at("09:00"), cost=Decimal(60)), windows=(a_window("08:40", "10:00"),))
    broken = a_visit("a", promise=Promise(at("12:00"), cost=Decimal(60)), windows=(a_window("08:40", "10:00"),))
    first, second = timed(a_problem(kept), "a"), timed(a_problem(broken), "a")
    assert first is not None
    assert second is not None
    assert second.cost - first.cost == 60_000


def test_lateness_is_counted_in_days_from_the_due_date() -> None:
    due = timed(a_problem(a_visit("a", due_on=MONDAY, late_cost_per_day=Decimal(20))), "a")
    late = timed(a_problem(a_visit("a", due_on=date(2026, 12, 4), late_cost_per_day=Decimal(20))), "a")
    assert due is not None
    assert late is not None
    assert late.cost - due.cost == 60_000


def test_night_premium_is_paid_for_the_hours_of_the_night() -> None:
    night = Night(Decimal(6), (a_window("22:00", "30:00"),))
    people = (a_technician(days=(a_day(opens="20:00", closes="28:00"),), night=night),)
    visit = a_visit("a", minutes=120, windows=(a_window("21:10", "23:10"),))
    found = timed(a_problem(visit, people=people), "a")
    assert found is not None
    assert found.night == 80 * MINUTE  # 22:00 to 23:20


def test_order_rule_forbids_the_other_way_round() -> None:
    problem = a_problem(
        a_visit("a", group="quarantine"), a_visit("b", group="fish"), orders=(OrderRule("fish", "quarantine"),)
    )
    assert timed(problem, "a", "b") is None
    assert timed(problem, "b", "a") is not None
