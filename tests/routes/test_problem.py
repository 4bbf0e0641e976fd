"""The planning problem of a week, read from the database."""

from datetime import UTC, date, datetime, time
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from servicedesk.people.models import Leave
from servicedesk.routes.models import Stop
from servicedesk.routes.queries.problem import WeekInput, week_input
from servicedesk.routes.times import Week
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    WEEK,
    Cast,
    a_badge,
    a_plan,
    a_round,
    a_site,
    a_visit,
    an_agreement,
    holds,
    the_cast,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY, FRIDAY = date(2026, 12, 8), date(2026, 12, 11)


def problem(cast: Cast) -> WeekInput:
    technicians = {row.pk: row for row in (cast.rob, cast.ana)}
    return week_input(WEEK, a_plan(), technicians)


def test_permission_counts_from_its_first_day_on_and_until_its_last() -> None:
    cast, badge = the_cast(), a_badge()
    holds(cast.rob.user, badge, TUESDAY, date(2026, 12, 9))
    shifts = problem(cast).shifts
    valid = [day for (who, day), shift in shifts.items() if who == cast.rob.pk and badge.pk in shift.permissions]
    assert valid == [TUESDAY, date(2026, 12, 9)]


def test_day_of_leave_is_no_shift_and_says_why() -> None:
    cast = the_cast()
    Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=TUESDAY, reason="course")
    found = problem(cast)
    assert (cast.rob.pk, TUESDAY) not in found.shifts
    assert found.off[cast.rob.pk, TUESDAY] == "course"


def test_visit_carries_what_its_agreement_says() -> None:
    cast, badge = the_cast(), a_badge()
    site = a_site(cast, "Pier")
    site.needed_permissions.add(badge)
    agreement = an_agreement(
        site,
        preferred_technician=cast.rob.user,
        only_preferred=True,
        lateness_cost_per_day=Decimal(55),
        skip_cost=Decimal(700),
    )
    agreement.barred_technicians.add(cast.ana.user)
    visit = a_visit(site, agreement=agreement)
    row = problem(cast).visits[str(visit.pk)]
    assert (row.preferred, row.only_preferred, row.barred) == (cast.rob.pk, True, frozenset({cast.ana.pk}))
    assert (row.late_cost_per_day, row.skip_cost, row.needs) == (55, 700, (badge,))


def test_window_over_midnight_reaches_the_problem_as_one() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Night", windows=[(1, time(21), time(5))]))
    (window,) = problem(cast).visits[str(visit.pk)].windows
    assert (window.opens, window.closes) == (
        datetime(2026, 12, 9, 3, tzinfo=UTC), datetime(2026, 12, 9, 11, tzinfo=UTC),
    )  # fmt: skip


def test_locked_stop_is_pinned_and_a_locked_round_is_kept() -> None:
    cast = the_cast()
    pinned, kept = a_visit(a_site(cast, "Pinned")), a_visit(a_site(cast, "Kept"))
    a_round(cast.rob, [pinned])
    Stop.objects.update(locked=True)
    other = a_round(cast.ana, [kept])
    other.locked = True
    other.save()
    found = problem(cast)
    assert found.visits[str(pinned.pk)].pinned == (cast.rob.pk, MONDAY)
    assert found.kept == {(cast.ana.pk, MONDAY)}


def test_promise_is_a_moment() -> None:
    cast = the_cast()
    visit = a_visit(
        a_site(cast, "Told"),
        state="published",
        technician=cast.rob.user,
        planned_on=TUESDAY,
        promised_start=time(9, 15),
    )
    promise = problem(cast).visits[str(visit.pk)].promise
    assert promise == datetime(2026, 12, 8, 15, 15, tzinfo=UTC)


def test_visit_on_a_round_of_the_week_before_is_not_planned_twice() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Sunday"), days=(date(2026, 12, 4), FRIDAY))
    row = a_round(cast.rob, [visit], date(2026, 12, 4))
    row.plan = a_plan(Week(2026, 49))
    row.save()
    assert str(visit.pk) not in problem(cast).visits


def test_days_gone_by_are_kept_in_a_week_already_begun() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    later = a_visit(a_site(cast, "Later"))
    with time_machine.travel(datetime(2026, 12, 9, 15, tzinfo=UTC)):
        found = problem(cast)
    assert found.kept == {(cast.rob.pk, MONDAY)}
    assert found.visits[str(later.pk)].windows[0].day == date(2026, 12, 9)


def test_queries_do_not_grow_with_the_visits() -> None:
    cast = the_cast()
    one = a_site(cast, "One")
    a_visit(one, agreement=an_agreement(one))
    few = count_queries(cast)
    for number in range(12):
        site = a_site(cast, f"Site {number}", MURFREESBORO, windows=[(0, time(9), time(17))])
        a_visit(site, agreement=an_agreement(site))
    assert count_queries(cast) == few


def count_queries(cast: Cast) -> int:
    plan = a_plan()
    with CaptureQueriesContext(connection) as made:
        week_input(WEEK, plan, {cast.rob.pk: cast.rob, cast.ana.pk: cast.ana})
    return len(made)
