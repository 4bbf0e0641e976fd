"""When a visit may be done."""

from datetime import UTC, date, datetime, time

import pytest

from servicedesk.clients.models import Closure
from servicedesk.routes.queries.windows import visit_days, visit_windows
from tests.routes.cast import CENTRAL, EASTERN, MONDAY, WEEK, a_site, a_visit, an_agreement, the_cast

pytestmark = pytest.mark.django_db
FRIDAY = date(2026, 12, 11)


def test_window_across_midnight_is_one_window() -> None:
    site = a_site(the_cast(), "Pier", windows=[(0, time(22), time(4))], time_zone=CENTRAL)
    found = visit_windows(a_visit(site), WEEK.monday, WEEK.sunday, MONDAY)
    # Chicago is UTC-6 in December.
    assert [(row.opens, row.closes) for row in found] == [
        (datetime(2026, 12, 8, 4, tzinfo=UTC), datetime(2026, 12, 8, 10, tzinfo=UTC))
    ]


def test_window_is_in_the_zone_of_the_site() -> None:
    site = a_site(the_cast(), "East", windows=[(0, time(9), time(12))], time_zone=EASTERN)
    found = visit_windows(a_visit(site), WEEK.monday, WEEK.sunday, MONDAY)
    assert found[0].opens == datetime(2026, 12, 7, 14, tzinfo=UTC)


def test_window_on_the_day_when_clocks_go_forward_lasts_an_hour_less() -> None:
    sunday = date(2026, 3, 8)
    site = a_site(the_cast(), "Night", windows=[(5, time(22), time(6))])
    visit = a_visit(site, date(2026, 3, 7), days=(date(2026, 3, 7), sunday))
    found = visit_windows(visit, date(2026, 3, 2), sunday, date(2026, 3, 2))
    assert (found[0].closes - found[0].opens).total_seconds() == 7 * 3600


def test_closed_day_is_left_out() -> None:
    site = a_site(the_cast(), "Closed", windows=[(day, time(9), time(12)) for day in range(5)])
    Closure.objects.create(site=site, first_day=MONDAY, last_day=date(2026, 12, 9), reason="ball")
    assert visit_days(a_visit(site), WEEK.monday, WEEK.sunday, MONDAY) == [date(2026, 12, 10), FRIDAY]


def test_weekdays_of_the_agreement_count() -> None:
    site = a_site(the_cast(), "Tuesdays")
    agreement = an_agreement(site, allowed_weekdays=[1])
    assert visit_days(a_visit(site, date(2026, 12, 8), agreement=agreement), WEEK.monday, WEEK.sunday, MONDAY) == [
        date(2026, 12, 8)
    ]


def test_overdue_visit_may_be_done_on_any_open_day_from_now_on() -> None:
    site = a_site(the_cast(), "Late", windows=[(day, time(9), time(12)) for day in range(5)])
    visit = a_visit(site, date(2026, 12, 1), days=(date(2026, 11, 30), date(2026, 12, 2)))
    days = [row.day for row in visit_windows(visit, WEEK.monday, WEEK.sunday, date(2026, 12, 9))]
    assert days == [date(2026, 12, 9), date(2026, 12, 10), FRIDAY]
