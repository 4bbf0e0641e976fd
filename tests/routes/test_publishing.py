"""Publishing a week."""

from datetime import date, time

import pytest

from servicedesk.routes.models import PlanRun, Round, RoundChange, WeekPlan
from servicedesk.routes.queries.round import round_view, times_published
from servicedesk.routes.services.changes import change_answer
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError, plan_changed
from servicedesk.visits.models import Visit
from tests.routes.cast import EASTERN, MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
NOON = 12 * 3600


def publish(cast: Cast, version: int = 1) -> WeekPlan:
    return week_publish(week=WEEK, version=version, actor=cast.planner)


def test_visit_gets_its_technician_date_hour_and_promise() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    publish(cast)
    visit.refresh_from_db()
    assert (visit.state, visit.technician, visit.planned_on) == ("published", cast.rob.user, MONDAY)
    assert (visit.planned_start, visit.promised_start) == (time(9), time(9))


def test_hour_is_on_the_clock_of_the_site() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "East", time_zone=EASTERN))
    a_round(cast.rob, [visit])
    publish(cast)
    visit.refresh_from_db()
    assert visit.planned_start == time(10)


def test_publishing_twice_changes_nothing() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    first = publish(cast)
    second = publish(cast)
    visit.refresh_from_db()
    assert (first.published_at, first.version) == (second.published_at, second.version)
    assert Visit.objects.filter(state="published").count() == 1


def test_publishing_an_old_page_is_refused_and_names_who_changed_it() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    plan_changed(a_plan(), actor=cast.office, words="Pier moved")
    with pytest.raises(StaleWeekError) as stale:
        publish(cast, version=1)
    assert stale.value.plan.changed_by == cast.office
    assert not Visit.objects.filter(state="published").exists()


def test_visit_taken_off_after_publishing_goes_back_to_the_tray_once_its_technician_accepts(
    before_the_week: None,
) -> None:
    cast = the_cast()
    kept, gone = a_visit(a_site(cast, "Kept")), a_visit(a_site(cast, "Gone"))
    row = a_round(cast.rob, [kept, gone])
    publish(cast)
    row.stops.filter(visit=gone).delete()
    plan = a_plan()
    plan_changed(plan, actor=cast.planner, words="Gone taken off")
    publish(cast, version=plan.version)
    gone.refresh_from_db()
    assert gone.technician == cast.rob.user
    change = RoundChange.objects.get()
    change_answer(change_id=change.pk, accept=True, reason="", actor=cast.rob.user)
    gone.refresh_from_db()
    assert (gone.state, gone.technician, gone.planned_on, gone.promised_start) == ("due", None, None, None)


def test_started_visit_is_left_alone() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"), state="started", technician=cast.ana.user, planned_on=MONDAY)
    a_round(cast.rob, [visit, a_visit(a_site(cast, "Quay"))])
    publish(cast)
    visit.refresh_from_db()
    assert (visit.state, visit.technician) == ("started", cast.ana.user)


def test_promise_stays_while_the_new_hour_is_within_half_an_hour() -> None:
    cast = the_cast()
    told = a_visit(
        a_site(cast, "Told"), state="published", technician=cast.rob.user, planned_on=MONDAY, planned_start=time(8, 40),
        promised_start=time(8, 45),
    )  # fmt: skip
    a_round(cast.rob, [told])
    publish(cast)
    told.refresh_from_db()
    assert (told.planned_start, told.promised_start) == (time(9), time(8, 45))


def test_technician_goes_on_seeing_the_published_round_while_it_is_planned_anew() -> None:
    cast = the_cast()
    first, second = a_visit(a_site(cast, "First")), a_visit(a_site(cast, "Second"))
    row = a_round(cast.rob, [first, second])
    publish(cast)
    row.stops.filter(visit=first).update(position=2, start_s=NOON, arrive_s=NOON, leave_s=NOON + 60)
    row.stops.filter(visit=second).update(position=1)
    view = round_view(cast.rob, MONDAY, draft=False)
    assert [stop.visit for stop in view.stops] == [first, second]
    assert view.changed_since_published


def test_nothing_to_publish_is_said_in_words() -> None:
    with pytest.raises(RuleBrokenError, match="no visit is on a round"):
        publish(the_cast())


def test_publishing_waits_for_a_run() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    PlanRun.objects.create(plan=a_plan(), state="running")
    with pytest.raises(RuleBrokenError, match="being planned"):
        publish(cast)


def test_draft_is_hidden_from_the_technician() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    view = round_view(cast.rob, MONDAY, draft=False)
    assert (view.stops, view.hidden_draft) == ([], True)
    assert times_published(Round.objects.get()) is None


def test_visit_given_by_hand_is_added_at_the_end() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    publish(cast)
    urgent = a_visit(
        a_site(cast, "Urgent"), kind="urgent", state="published", technician=cast.rob.user, planned_on=date(2026, 12, 7)
    )
    stops = round_view(cast.rob, MONDAY, draft=False).stops
    assert (stops[-1].visit, stops[-1].added) == (urgent, True)
