"""The board and the publishing of a week whose technician is out while visits still stand on their round."""

from datetime import date, datetime

import pytest
from django.test import Client

from servicedesk.people.models import Leave
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.planning import week_problem
from servicedesk.routes.queries.to_publish import publish_summary
from servicedesk.visits.models import Visit
from tests.routes.cast import WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)
PAGE = f"/week/{WEEK.year}/{WEEK.number}/"


def shown(cast: Cast, page: str = PAGE) -> str:
    client = Client()
    client.force_login(cast.planner, backend="django.contrib.auth.backends.ModelBackend")
    return client.get(page).content.decode()


@pytest.fixture
def cast() -> Cast:
    """Rob is ill on Tuesday, where One and Two still stand on his round; One is being done already."""
    found = the_cast()
    one, two = a_visit(a_site(found, "One")), a_visit(a_site(found, "Two"))
    a_round(found.rob, [one, two], TUESDAY)
    Visit.objects.filter(pk=one.pk).update(state="started", started_at=datetime.fromisoformat("2026-12-07T15:00:00Z"))
    Leave.objects.create(technician=found.rob, first_day=TUESDAY, last_day=TUESDAY, reason="ill")
    return found


def test_the_board_says_on_a_day_with_a_round_that_its_technician_is_out(cast: Cast) -> None:
    assert "out: ill" in shown(cast)


def test_publishing_warns_first_of_visits_on_rounds_of_those_who_are_out(cast: Cast) -> None:
    words = "Rob Reef is out on Tue 8 Dec (ill): 1 visit stands on their round."
    assert publish_summary(WEEK).out == [words]
    page = shown(cast, f"{PAGE}publish/")
    assert page.index(words) < page.index("Publish to the technicians")


def test_nobody_is_warned_of_where_nobody_is_out(cast: Cast) -> None:
    Leave.objects.all().delete()
    assert publish_summary(WEEK).out == []


def test_a_visit_begun_and_one_done_are_marked_on_the_board(cast: Cast) -> None:
    Visit.objects.filter(site__name="Two").update(
        state="signed", signed_at=datetime.fromisoformat("2026-12-07T16:00:00Z")
    )
    page = shown(cast)
    assert "being done" in page
    assert 'aria-hidden="true">●</span> done' in page


def test_a_visit_begun_keeps_no_other_off_its_round(cast: Cast) -> None:
    Leave.objects.all().delete()
    plan: WeekPlan = a_plan()
    key = (cast.rob.pk, TUESDAY)
    other = a_visit(a_site(cast, "Three"))
    problem = week_problem(WEEK, plan, {cast.rob.pk: cast.rob, cast.ana.pk: cast.ana}, wanted=other)
    order = [*problem.data.orders[key], str(other.pk)]
    found = problem.timed(key, order)
    assert found.hard == []
    assert len(found.stops) == len(order)
