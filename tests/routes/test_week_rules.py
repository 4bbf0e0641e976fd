"""What the planner learns beyond hours and windows: loads and vans, hygiene, days between visits, the night premium."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import pytest

from servicedesk.consumables.models import Item
from servicedesk.installations.models import Installation
from servicedesk.people.models import PayRule, Technician, WorkingHours
from servicedesk.planner.check import check
from servicedesk.planner.problem import Visit as PlannedVisit
from servicedesk.planner.solve import solve
from servicedesk.routes.gaps import gap_days
from servicedesk.routes.models import Stop, WeekPlan
from servicedesk.routes.planning import Solved, WeekProblem, week_problem
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.swapping import rounds_swap
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.routes.timing import Timer
from servicedesk.visits.models import HandOn, Visit, VisitInstallation
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    WEEK,
    Cast,
    a_plan,
    a_round,
    a_site,
    a_visit,
    an_agreement,
    the_cast,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY, WEDNESDAY, THURSDAY, FRIDAY = (MONDAY + timedelta(days=step) for step in range(1, 5))
TWICE = "FREQ=WEEKLY;INTERVAL=1;BYDAY=TU,FR;WKST=MO"
BEFORE = datetime(2026, 12, 1, tzinfo=UTC)


def week_of(*people: Technician) -> WeekProblem:
    return week_problem(WEEK, a_plan(), {row.pk: row for row in people})


def planned(problem: WeekProblem, visit: Visit) -> PlannedVisit:
    return next(row for row in problem.problem.visits if row.id == str(visit.pk))


def solved(problem: WeekProblem) -> Solved:
    return problem.solve(60, 1, lambda _share, _words: False, iterations=60)


def day_of(found: Solved, visit: Visit) -> date | None:
    stops = {stop.visit_id: key[1] for key, timed in found.rounds.items() for stop in timed.stops}
    return stops.get(str(visit.pk))


def an_item(name: str, **over: object) -> Item:
    fields: dict[str, object] = {"kind": "salt_mix", "unit": "g", "pack_quantity": 20_000, "kg_per_unit": "0.001"}
    return Item.objects.create(code=name[:20], name=name, **(fields | over))


def brings(visit: Visit, item: Item, quantity: int) -> None:
    HandOn.objects.create(site=visit.site, kind="load", text="bring", item=item, quantity=quantity, at=BEFORE)


def a_heavy_visit(cast: Cast, name: str, kg: int, at: tuple[float, float] = MURFREESBORO) -> Visit:
    visit = a_visit(a_site(cast, name, at))
    salt = Item.objects.filter(name="Salt").first() or an_item("Salt")
    brings(visit, salt, kg * 1000)
    return visit


def a_water_visit(cast: Cast, name: str, litres: int) -> Visit:
    visit = a_visit(a_site(cast, name))
    brings(visit, an_item("Mixed water", kind="water", unit="L", kg_per_unit="1.025"), litres)
    return visit


def goes_to(visit: Visit, code: str, *, quarantine: bool) -> Visit:
    system = Installation.objects.create(
        code=code, name=code, kind="fish_only", display_l=900, is_quarantine=quarantine
    )
    VisitInstallation.objects.create(visit=visit, installation=system)
    return visit


def twice_a_week(cast: Cast, first: date = TUESDAY, second: date = FRIDAY) -> tuple[Visit, Visit]:
    site = a_site(cast, "Lobby")
    agreement = an_agreement(site, rule=TWICE)
    one, other = (
        a_visit(site, day, agreement=agreement, occurrence_on=day, days=(MONDAY, FRIDAY)) for day in (first, second)
    )
    return one, other


def moved(cast: Cast, visit: Visit, day: date, *, position: int | None = None) -> WeekPlan:
    return visit_move(
        week=WEEK, version=WeekPlan.objects.get().version, visit=visit, technician_id=cast.rob.pk, day=day,
        position=position, actor=cast.planner,
    )  # fmt: skip


def refused(cast: Cast, visit: Visit, day: date, *, position: int | None = None) -> str:
    with pytest.raises(RuleBrokenError) as found:
        moved(cast, visit, day, position=position)
    return " ".join(found.value.sentences)


# --- loads


def test_visit_brings_what_its_load_list_says_in_kilograms_and_litres() -> None:
    cast = the_cast()
    salt, water = a_heavy_visit(cast, "Pier", 12), a_water_visit(cast, "Quay", 200)
    problem = week_of(cast.rob)
    assert (planned(problem, salt).load_kg, planned(problem, salt).load_l) == (12, 0)
    assert (planned(problem, water).load_kg, planned(problem, water).load_l) == (0, 200)


def test_thing_noted_for_whoever_comes_next_is_brought_by_the_first_visit_only() -> None:
    cast = the_cast()
    first = a_heavy_visit(cast, "Pier", 12)
    second = a_visit(first.site, FRIDAY)
    problem = week_of(cast.rob)
    assert [planned(problem, visit).load_kg for visit in (first, second)] == [12, 0]


def test_van_carries_its_payload_less_driver_and_kit_and_is_loaded_at_the_store() -> None:
    cast = the_cast()
    (who,) = week_of(cast.rob).problem.technicians
    assert who.van is not None
    assert (who.van.payload_kg, who.van.tank_l) == (900 - 90 - 120, 300)
    assert who.depot in {row.id for row in week_of(cast.rob).problem.depots}


def test_without_a_van_somebody_brings_what_fits_a_car() -> None:
    cast = the_cast()
    cast.rob.van.delete()
    rob = Technician.objects.get(pk=cast.rob.pk)
    light, heavy = a_heavy_visit(cast, "Light", 20), a_heavy_visit(cast, "Heavy", 300)
    found = solved(week_of(rob))
    assert (day_of(found, light), day_of(found, heavy)) == (MONDAY, None)


def test_visit_too_heavy_for_every_van_waits_in_the_tray_and_says_so() -> None:
    cast = the_cast()
    visit = a_heavy_visit(cast, "Pier", 800)
    (left,) = solved(week_of(cast.rob, cast.ana)).left_out
    assert (left.visit_id, left.cannot) == (str(visit.pk), True)
    assert "800 kg" in left.reason


def test_more_water_than_the_tank_holds_refuses_a_drag_in_words() -> None:
    cast = the_cast()
    visit = a_water_visit(cast, "Quay", 400)
    a_plan()
    words = refused(cast, visit, MONDAY)
    assert "Quay needs" in words
    assert "more than Rob Reef can bring at once" in words


def test_two_loads_too_much_for_one_van_go_by_the_store_between() -> None:
    cast = the_cast()
    visits = [a_heavy_visit(cast, "Pier", 500), a_heavy_visit(cast, "Quay", 400)]
    problem = week_of(cast.rob)
    key, order = (cast.rob.pk, MONDAY), [str(visit.pk) for visit in visits]
    timed = problem.timed(key, order)
    assert timed.hard == []
    assert timed.soft[0] == (order[1], "Before Quay the van is loaded again at Main store (15 min).")
    first, second = timed.stops
    assert second.arrive_s == first.leave_s + second.travel_s + 15 * 60
    assert second.travel_s > 2 * 1800  # both towns lie some 60 km apart


def test_lenient_and_exact_times_go_by_the_store_alike() -> None:
    cast = the_cast()
    visits = [a_heavy_visit(cast, "Pier", 500), a_heavy_visit(cast, "Quay", 400)]
    a_round(cast.rob, visits)
    timer = Timer(week_of(cast.rob).data)
    key = (cast.rob.pk, MONDAY)
    exact, asked = timer.timed(key, timer.data.orders[key]), timer.as_asked(key)
    assert (asked.travel_s, asked.distance_m) == (exact.travel_s, exact.distance_m)
    assert asked.soft == exact.soft


# --- hygiene


def test_quarantine_comes_last_on_a_planned_round() -> None:
    cast = the_cast()
    sick = goes_to(a_visit(a_site(cast, "Sick bay")), "Q1", quarantine=True)
    well = [goes_to(a_visit(a_site(cast, f"Site {n}", MURFREESBORO)), f"F{n}", quarantine=False) for n in (1, 2)]
    problem = week_of(cast.rob)
    plan = solve(problem.problem, iterations=60, seed=1)
    assert check(problem.problem, plan) == []
    rounds = [[stop.visit for stop in row.stops] for row in plan.rounds if row.stops]
    assert {visit for order in rounds for visit in order} == {str(visit.pk) for visit in (sick, *well)}
    assert all(str(sick.pk) not in order[:-1] for order in rounds)


def test_dragging_another_system_behind_a_quarantine_system_is_refused_in_words() -> None:
    cast = the_cast()
    sick = goes_to(a_visit(a_site(cast, "Sick bay")), "Q1", quarantine=True)
    well = goes_to(a_visit(a_site(cast, "Lobby")), "F1", quarantine=False)
    a_round(cast.rob, [sick])
    assert "Lobby comes after Sick bay, which has a quarantine system" in refused(cast, well, MONDAY, position=2)
    moved(cast, well, MONDAY, position=1)
    assert [stop.visit for stop in Stop.objects.order_by("position")] == [well, sick]


def test_without_quarantine_there_is_no_rule_of_order() -> None:
    cast = the_cast()
    goes_to(a_visit(a_site(cast, "Lobby")), "F1", quarantine=False)
    assert week_of(cast.rob).problem.orders == ()


# --- days between visits


@pytest.mark.parametrize(
    ("rule", "days"),
    [
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=TU,FR;WKST=MO", 2),
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=MO,TU;WKST=MO", 1),
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=MO,SU;WKST=MO", 1),  # Sunday and the next Monday
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=MO,WE,FR;WKST=MO", 1),
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=TU;WKST=MO", 0),
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR;WKST=MO", 0),
        ("FREQ=DAILY;INTERVAL=3", 2),
        ("FREQ=DAILY;INTERVAL=1", 1),
        ("FREQ=DAILY;INTERVAL=14", 0),
        ("FREQ=MONTHLY;INTERVAL=1;BYDAY=1TU", 0),
        ("FREQ=WEEKLY", 0),
    ],
)
def test_days_an_agreement_wants_between_its_visits(rule: str, days: int) -> None:
    assert gap_days(rule) == days


def test_two_visits_a_week_are_planned_two_days_apart() -> None:
    cast = the_cast()
    one, other = twice_a_week(cast, MONDAY, TUESDAY)
    problem = week_of(cast.rob)
    plan = solve(problem.problem, iterations=60, seed=1)
    assert check(problem.problem, plan) == []
    dates = {stop.visit: row.date for row in plan.rounds for stop in row.stops}
    assert abs((dates[str(one.pk)] - dates[str(other.pk)]).days) >= 2


def test_drag_too_near_the_other_visit_of_the_week_is_refused_in_words() -> None:
    cast = the_cast()
    one, other = twice_a_week(cast)
    a_round(cast.ana, [one], TUESDAY)  # a round that the drag itself does not touch
    words = refused(cast, other, WEDNESDAY)
    assert words == "Lobby is visited on Tue 8 Dec already: its agreement wants 2 days between."
    moved(cast, other, THURSDAY)
    assert Stop.objects.get(visit=other).round.date == THURSDAY


def test_swap_that_brings_visits_too_near_is_refused() -> None:
    cast = the_cast()
    one, other = twice_a_week(cast)
    a_round(cast.rob, [one], TUESDAY)
    a_round(cast.ana, [other], FRIDAY)
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))], THURSDAY)
    with pytest.raises(RuleBrokenError) as found:
        rounds_swap(
            week=WEEK, version=WeekPlan.objects.get().version, one=(cast.rob.pk, TUESDAY),
            other=(cast.rob.pk, THURSDAY), actor=cast.planner,
        )  # fmt: skip
    assert "Lobby is visited on Fri 11 Dec already" in found.value.sentences[0]


def test_swapping_the_two_visits_of_a_week_with_each_other_is_no_offence() -> None:
    cast = the_cast()
    one, other = twice_a_week(cast)
    a_round(cast.rob, [one], TUESDAY)
    a_round(cast.ana, [other], FRIDAY)
    rounds_swap(
        week=WEEK, version=WeekPlan.objects.get().version, one=(cast.rob.pk, TUESDAY), other=(cast.ana.pk, FRIDAY),
        actor=cast.planner,
    )  # fmt: skip
    assert Stop.objects.get(visit=one).round.date == FRIDAY


def test_what_a_person_locked_too_near_is_left_alone() -> None:
    cast = the_cast()
    one, other = twice_a_week(cast)
    a_round(cast.rob, [one], TUESDAY)
    a_round(cast.rob, [other], WEDNESDAY)
    Stop.objects.update(locked=True)
    found = solved(week_of(cast.rob))
    assert found.left_out == []
    assert (day_of(found, one), day_of(found, other)) == (TUESDAY, WEDNESDAY)


def test_visits_that_piled_up_only_want_different_days() -> None:
    cast = the_cast()
    one, _other = twice_a_week(cast)
    for day in (date(2026, 12, 1), date(2026, 12, 4)):
        a_visit(one.site, day, agreement=one.agreement, occurrence_on=day, days=(MONDAY, FRIDAY))
    problem = week_of(cast.rob)
    assert {gap.min_days for gap in problem.problem.gaps} == {1}
    assert solved(problem).left_out == []


# --- night


def a_night_rule(cast: Cast, premium: str, low: time = time(13), high: time = time(5)) -> None:
    PayRule.objects.create(
        technician=cast.rob, valid_from=date(2026, 1, 1), night_from=low, night_to=high,
        night_premium=Decimal(premium),
    )  # fmt: skip


def test_night_of_the_pay_rule_costs_its_premium_in_the_planner() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Late", windows=[(0, time(14), time(16))]))
    plain = week_of(cast.rob).timed((cast.rob.pk, MONDAY), [str(visit.pk)])
    a_night_rule(cast, "12")
    dear = week_of(cast.rob).timed((cast.rob.pk, MONDAY), [str(visit.pk)])
    assert plain.leave_s is not None
    assert plain.return_s is not None
    assert plain.leave_s >= 13 * 3600  # so the whole day is night
    assert dear.cost - plain.cost == pytest.approx(12 * (plain.return_s - plain.leave_s) / 3600, abs=0.002)


def test_lenient_price_knows_the_night_too() -> None:
    cast = the_cast()
    a_night_rule(cast, "12")
    WorkingHours.objects.update(lunch_min=0)
    visit = a_visit(a_site(cast, "Late", windows=[(0, time(14), time(16))]))
    a_round(cast.rob, [visit])
    timer = Timer(week_of(cast.rob).data)
    key = (cast.rob.pk, MONDAY)
    assert timer.as_asked(key).cost == pytest.approx(timer.timed(key, [str(visit.pk)]).cost, abs=0.01)


def test_nights_over_midnight_reach_the_planner_from_the_sunday_before_on() -> None:
    cast = the_cast()
    a_night_rule(cast, "8", time(22), time(6))
    (who,) = week_of(cast.rob).problem.technicians
    assert who.night is not None
    first = who.night.spans[0]
    # 22:00 and 06:00 in Nashville are 04:00 and 12:00 UTC in winter.
    assert (first.opens, first.closes) == (datetime(2026, 12, 7, 4, tzinfo=UTC), datetime(2026, 12, 7, 12, tzinfo=UTC))
    assert len(who.night.spans) == 8


def test_rule_without_a_premium_is_no_night() -> None:
    cast = the_cast()
    a_night_rule(cast, "0")
    assert week_of(cast.rob).problem.technicians[0].night is None


def test_an_overdue_visit_and_the_next_of_a_weekly_agreement_fall_on_different_days() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    agreement = an_agreement(site)
    overdue = a_visit(site, MONDAY - timedelta(days=7), agreement=agreement)
    due = a_visit(site, TUESDAY, agreement=agreement)
    found = solved(week_of(cast.rob, cast.ana))
    assert {day_of(found, overdue), day_of(found, due)} <= {MONDAY, TUESDAY, WEDNESDAY, THURSDAY, FRIDAY}
    assert day_of(found, overdue) != day_of(found, due)
