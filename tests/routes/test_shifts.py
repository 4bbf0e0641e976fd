"""Working days of technicians."""

from datetime import date, time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from servicedesk.people.models import Leave, WorkingHours
from servicedesk.routes.queries.shifts import shifts_between
from tests.routes.cast import MONDAY, WEEK, the_cast

pytestmark = pytest.mark.django_db
HOUR = 3600


def test_working_day_has_hours_and_lunch() -> None:
    rob = the_cast().rob
    shift = shifts_between([rob], MONDAY, MONDAY)[rob.pk, MONDAY]
    assert (shift.hours, shift.lunch_min) == ((8 * HOUR, 16 * HOUR + HOUR // 2), 30)


def test_leave_empties_the_day_and_says_why() -> None:
    rob = the_cast().rob
    Leave.objects.create(technician=rob, first_day=MONDAY, last_day=MONDAY, reason="dentist")
    shift = shifts_between([rob], MONDAY, MONDAY)[rob.pk, MONDAY]
    assert (shift.hours, shift.why_off) == (None, "dentist")


@pytest.mark.parametrize(("part", "hours"), [("morning", (12, 16.5)), ("afternoon", (8, 12))])
def test_half_day_of_leave_keeps_the_other_half(part: str, hours: tuple[float, float]) -> None:
    rob = the_cast().rob
    Leave.objects.create(technician=rob, first_day=MONDAY, last_day=MONDAY, part=part)
    shift = shifts_between([rob], MONDAY, MONDAY)[rob.pk, MONDAY]
    assert shift.hours == tuple(round(hour * HOUR) for hour in hours)


def test_night_shift_ends_on_the_next_date() -> None:
    rob = the_cast().rob
    WorkingHours.objects.create(technician=rob, weekday=5, starts=time(20), ends=time(4), valid_from=date(2026, 1, 1))
    saturday = date(2026, 12, 12)
    assert shifts_between([rob], saturday, saturday)[rob.pk, saturday].hours == (20 * HOUR, 28 * HOUR)


def test_newer_hours_replace_older_ones() -> None:
    rob = the_cast().rob
    WorkingHours.objects.create(technician=rob, weekday=0, starts=time(6), ends=time(14), valid_from=date(2026, 12, 1))
    assert shifts_between([rob], MONDAY, MONDAY)[rob.pk, MONDAY].hours == (6 * HOUR, 14 * HOUR)


def test_a_whole_week_of_everybody_takes_three_queries() -> None:
    cast = the_cast()
    with CaptureQueriesContext(
        connection,
    ) as queries:
        shifts_between([cast.rob, cast.ana], WEEK.monday, WEEK.sunday)
    assert len(queries) == 3
