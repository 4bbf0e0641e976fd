"""Lunch is between eleven and two on the technician's own clock, also on days of 23 and 25 hours.

The days on which clocks change are those of the tz database (zoneinfo, PEP 615).
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from servicedesk.people.models import Technician, WorkingHours
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.daybook import entries_of
from servicedesk.routes.times import Week, instant
from servicedesk.routes.timing import Timer
from servicedesk.visits.models import Visit
from tests.routes.cast import a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.source("IANA tz database: Europe/Helsinki and America/New_York, changes of 2026"),
]
HELSINKI, NEW_YORK = "Europe/Helsinki", "America/New_York"
DAYS = [
    pytest.param(HELSINKI, date(2026, 3, 29), 23, id="Helsinki loses an hour"),
    pytest.param(HELSINKI, date(2026, 10, 25), 25, id="Helsinki gains an hour"),
    pytest.param(HELSINKI, date(2026, 10, 18), 24, id="Helsinki as usual"),
    pytest.param(NEW_YORK, date(2026, 3, 8), 23, id="New York loses an hour"),
    pytest.param(NEW_YORK, date(2026, 11, 1), 25, id="New York gains an hour"),
]


def a_sunday_worker(zone: str, day: date) -> tuple[Technician, Visit]:
    """Someone who works on Sunday from eight to half past four, with a visit of four hours on that day."""
    cast = the_cast()
    who = cast.rob
    who.time_zone = zone
    who.save()
    WorkingHours.objects.create(
        technician=who, weekday=day.weekday(), starts=time(8), ends=time(16, 30), lunch_min=30,
        valid_from=date(2024, 1, 1),
    )  # fmt: skip
    site = a_site(cast, "Lagoon", time_zone=zone, windows=[(day.weekday(), time(8), time(17))])
    return who, a_visit(site, day, days=(day, day), duration_min=240)


def problem_of_the_week(who: Technician, day: date) -> WeekProblem:
    return week_problem(Week.of(day), a_plan(Week.of(day)), {who.pk: who})


def on_the_clock(moment: datetime, zone: str) -> time:
    return moment.astimezone(ZoneInfo(zone)).time()


@pytest.fixture(autouse=True)
def early_in_the_year() -> object:
    with time_machine.travel(datetime(2026, 1, 5, 12, tzinfo=UTC)) as traveller:
        yield traveller


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS)
def test_the_days_are_as_long_as_the_tz_database_says(zone: str, day: date, hours: int) -> None:
    ends = datetime.combine(day + timedelta(days=1), time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)
    begins = datetime.combine(day, time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)
    assert ends - begins == timedelta(hours=hours)


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS)
def test_the_planner_is_given_lunch_by_the_clock(zone: str, day: date, hours: int) -> None:
    assert hours
    who, _visit = a_sunday_worker(zone, day)
    (person,) = problem_of_the_week(who, day).problem.technicians
    (pause,) = next(row for row in person.days if row.date == day).breaks
    assert (on_the_clock(pause.earliest, zone), on_the_clock(pause.latest, zone)) == (time(11), time(14))


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS)
def test_a_planned_day_has_lunch_by_the_clock(zone: str, day: date, hours: int) -> None:
    assert hours
    who, first = a_sunday_worker(zone, day)
    a_visit(first.site, day, days=(day, day), duration_min=240)
    found = problem_of_the_week(who, day).solve(60, 1, lambda _share, _words: False, iterations=20)
    timed = found.rounds[who.pk, day]
    assert (len(timed.stops), timed.break_s) == (2, 1800)
    assert timed.break_start_s is not None
    assert time(11) <= on_the_clock(instant(day, timed.break_start_s, ZoneInfo(zone)), zone) <= time(14)


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS)
def test_an_order_timed_by_hand_takes_lunch_before_the_visit_that_runs_past_two(
    zone: str, day: date, hours: int
) -> None:
    """Two visits, from about 8:00 to 10:30 and on to 13:30: begun at once, the second ends before two by the clock."""
    assert hours
    who, first = a_sunday_worker(zone, day)
    Visit.objects.update(duration_min=150)
    short = a_visit(first.site, day, days=(day, day), duration_min=180)
    late = a_visit(first.site, day, days=(day, day), duration_min=45)
    row = a_round(who, [first, short, late], day)
    row.plan = a_plan(Week.of(day))
    row.save()
    timed = Timer(problem_of_the_week(who, day).data).as_asked((who.pk, day))
    assert timed.break_start_s is not None
    begins = on_the_clock(instant(day, timed.break_start_s, ZoneInfo(zone)), zone)
    assert (begins, timed.stops[2].arrive_s) == (
        on_the_clock(instant(day, timed.stops[1].leave_s, ZoneInfo(zone)), zone), timed.break_start_s,
    )  # fmt: skip
    assert time(13) < begins < time(14)


@pytest.mark.parametrize(("zone", "day", "hours"), DAYS)
def test_a_day_read_for_an_urgent_call_has_lunch_by_the_clock(zone: str, day: date, hours: int) -> None:
    assert hours
    who, _visit = a_sunday_worker(zone, day)
    read = next(row.day for row in entries_of(day, day) if row.technician == who)
    assert read is not None
    assert read.lunch is not None
    assert [on_the_clock(at, zone) for at in read.lunch[1:]] == [time(11), time(14)]
