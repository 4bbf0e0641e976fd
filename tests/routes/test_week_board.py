"""The week's board."""

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from servicedesk.people.models import Leave
from servicedesk.routes.models import PlanRun, WeekPlan
from servicedesk.routes.queries import week as queries
from servicedesk.routes.queries.score import score_of, with_change
from tests.routes.cast import EASTERN, MONDAY, MURFREESBORO, WEEK, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
TUESDAY = date(2026, 12, 8)


def test_cell_shows_the_stops_with_their_hours() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier")), a_visit(a_site(cast, "Quay"))])
    cell = cell_of(cast.rob.pk, MONDAY)
    assert [(stop.visit.site.name, stop.start.short) for stop in cell.stops] == [("Pier", "09:00"), ("Quay", "10:20")]
    assert "<title>Rob Reef, Mon 7 Dec: 2 stops</title>" in str(cell.ribbon)


def cell_of(technician: int, day: date) -> queries.Cell:
    shown = queries.board(WEEK)
    return next(cell for row in shown.days for cell in row.cells if (cell.technician.pk, cell.day) == (technician, day))


def test_both_clocks_are_told_where_the_zones_differ() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "East", time_zone=EASTERN))])
    start = cell_of(cast.rob.pk, MONDAY).stops[0].start
    assert (start.short, start.own, start.differs) == ("10:00", "09:00", True)
    assert start.text == "10:00 there, 09:00 technician's clock"


def test_day_of_leave_says_why() -> None:
    cast = the_cast()
    Leave.objects.create(technician=cast.rob, first_day=MONDAY, last_day=MONDAY, reason="dentist")
    cell = cell_of(cast.rob.pk, MONDAY)
    assert (cell.is_off, cell.shift.why_off if cell.shift else "") == (True, "dentist")


def test_weekend_is_left_out_when_nobody_works() -> None:
    the_cast()
    assert [row.day.weekday() for row in queries.board(WEEK).days] == [0, 1, 2, 3, 4]


def test_tray_tells_why_due_and_why_not_with_the_impossible_first() -> None:
    cast = the_cast()
    waits, cannot = a_visit(a_site(cast, "Waits")), a_visit(a_site(cast, "Cannot"), due_on=TUESDAY)
    plan = a_plan()
    plan.left_out = [
        {"visit": str(waits.pk), "state": "waits", "reason": "Placing it costs more.", "cost": 120.0},
        {"visit": str(cannot.pk), "state": "cannot", "reason": "Nobody holds the badge.", "cost": None},
    ]
    plan.save()
    rows = queries.board(WEEK).tray
    assert [(row.visit.site.name, row.why_not) for row in rows] == [
        ("Cannot", "Nobody holds the badge."), ("Waits", "Placing it costs more."),
    ]  # fmt: skip
    assert rows[0].why_due.startswith("Due Tue 8 Dec")


def test_visit_on_a_round_is_not_in_the_tray() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    assert queries.board(WEEK).tray == []


def test_moved_promise_is_marked() -> None:
    cast = the_cast()
    visit = a_visit(
        a_site(cast, "Pier"), state="published", technician=cast.rob.user, planned_on=MONDAY, promised_start=time(11)
    )
    a_round(cast.rob, [visit])
    assert cell_of(cast.rob.pk, MONDAY).stops[0].promise_moved


def test_score_counts_kilometres_hours_lateness_and_what_is_left_out() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Left"))
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"), due_on=date(2026, 12, 5))])
    score = score_of(WEEK, a_plan())
    # Two drives of 10 km; out at 8:40, back at 10:20; two days after its due day; one visit on no round,
    # six days late by the end of the week.
    assert score == {
        "km": 20.0, "hours": 1.67, "overtime_h": 0.0, "late_days": 8, "promises_moved": 0, "left_out": 1,
        "nights": 0, "lodging": 0.0,
    }  # fmt: skip


def test_score_line_shows_the_change() -> None:
    the_cast()
    plan = a_plan()
    then = {"km": 80.0, "hours": 8.0, "overtime_h": 0, "late_days": 0, "promises_moved": 0, "left_out": 0}
    plan.score = with_change(then, then | {"km": 100.0})
    figures = {figure.key: figure for figure in queries.score_figures(plan, left_out=1)}
    assert (figures["km"].text, figures["km"].change, figures["km"].better) == ("80 km", "−20", True)
    assert (figures["left_out"].change, figures["left_out"].better) == ("+1", False)
    assert (figures["hours"].change, figures["hours"].better) == ("no change", None)


def test_queries_do_not_grow_with_the_stops() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "One"))])
    a_visit(a_site(cast, "Left"))
    few = count_queries()
    a_round(cast.ana, [a_visit(a_site(cast, f"Site {n}", MURFREESBORO)) for n in range(8)], TUESDAY)
    for n in range(5):
        a_visit(a_site(cast, f"Left {n}"))
    assert count_queries() == few <= 12


def count_queries() -> int:
    with CaptureQueriesContext(connection) as queries_made:
        queries.board(WEEK)
    return len(queries_made)


def test_the_marks_on_the_board_add_up_to_the_days_late_of_the_score() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Left"), due_on=date(2026, 12, 3))
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"), due_on=date(2026, 12, 5))])
    shown = queries.board(WEEK)
    stops = sum(stop.late_days for day in shown.days for cell in day.cells for stop in cell.stops)
    assert stops + sum(row.late_days for row in shown.tray) == score_of(WEEK, a_plan())["late_days"] == 12


def test_a_promise_whose_visit_is_on_no_round_counts_as_moved() -> None:
    cast = the_cast()
    a_visit(
        a_site(cast, "Pier"), state="published", technician=cast.rob.user, planned_on=MONDAY, promised_start=time(11)
    )
    assert score_of(WEEK, a_plan())["promises_moved"] == 1
    assert queries.board(WEEK).tray[0].promise_moved


def test_the_last_search_is_told_only_until_the_plan_changes() -> None:
    cast = the_cast()
    plan, now = a_plan(), timezone.now()
    run = PlanRun.objects.create(
        plan=plan, state="done", message="45 visits placed.", ended_at=now, requested_by=cast.planner
    )
    assert queries.board(WEEK).told_run == run
    WeekPlan.objects.update(changed_at=now + timedelta(minutes=1))
    assert queries.board(WEEK).told_run is None
