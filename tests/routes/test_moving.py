"""A planner's own changes of a week."""

from datetime import UTC, date, datetime, time
from typing import Any

import pytest
import time_machine

from servicedesk.clients.models import Closure
from servicedesk.people.models import Leave
from servicedesk.routes.models import PlanRun, Round, Stop, WeekPlan
from servicedesk.routes.queries.windows import shut_for
from servicedesk.routes.services.moving import round_lock, stop_lock, visit_move
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.visits.models import Visit
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
TUESDAY = date(2026, 12, 8)
HOUR = 3600


def move(
    cast: Cast, visit: Visit, to: object, day: date = TUESDAY, *, version: int = 1, position: int | None = None
) -> WeekPlan:
    who = getattr(to, "pk", None)
    return visit_move(
        week=WEEK,
        version=version,
        visit=visit,
        technician_id=who,
        day=day if who else None,
        position=position,
        actor=cast.planner,
    )


def test_visit_from_the_tray_gets_a_time_at_once() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier", MURFREESBORO))
    move(cast, visit, cast.rob)
    stop = Stop.objects.get()
    assert (stop.round.technician, stop.round.date, stop.position) == (cast.rob, TUESDAY, 1)
    assert stop.start_s == 8 * HOUR + stop.travel_s
    assert stop.leave_s - stop.start_s == HOUR
    assert stop.round.return_s == stop.leave_s + stop.travel_s


def test_both_rounds_are_timed_anew() -> None:
    cast = the_cast()
    first, second = a_visit(a_site(cast, "First")), a_visit(a_site(cast, "Second", MURFREESBORO))
    row = a_round(cast.rob, [first, second])
    move(cast, first, cast.ana)
    row.refresh_from_db()
    assert [(stop.visit, stop.position) for stop in row.stops.all()] == [(second, 1)]
    assert row.stops.get().start_s == 8 * HOUR + row.stops.get().travel_s
    assert Stop.objects.get(visit=first).round.technician == cast.ana


def test_position_is_kept() -> None:
    cast = the_cast()
    visits = [a_visit(a_site(cast, name)) for name in ("One", "Two", "Three")]
    a_round(cast.rob, visits[:2])
    move(cast, visits[2], cast.rob, MONDAY, position=2)
    order = Stop.objects.order_by("position").values_list("visit__site__name", flat=True)
    assert list(order) == ["One", "Three", "Two"]


def test_back_to_the_tray() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    plan = move(cast, visit, None)
    assert not Stop.objects.exists()
    assert not Round.objects.exists()
    assert [row["visit"] for row in plan.left_out] == [str(visit.pk)]


def test_permission_that_lapsed_the_day_before_refuses_the_move_in_words() -> None:
    cast, badge = the_cast(), a_badge()
    holds(cast.rob.user, badge, date(2026, 1, 1), MONDAY)
    site = a_site(cast, "Pier")
    site.needed_permissions.add(badge)
    visit = a_visit(site)
    with pytest.raises(RuleBrokenError, match="Pier needs Harbour badge, which Rob Reef does not hold on Tue 8 Dec"):
        move(cast, visit, cast.rob)
    assert not Stop.objects.exists()
    move(cast, visit, cast.rob, MONDAY)
    assert Stop.objects.get().round.date == MONDAY


def test_window_too_short_for_the_visit_refuses_the_move() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier", windows=[(1, time(9), time(9, 30))]))
    with pytest.raises(RuleBrokenError, match="no open window holds the 60 min"):
        move(cast, visit, cast.rob)


def test_day_of_leave_refuses_the_move_and_says_why() -> None:
    cast = the_cast()
    Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=TUESDAY, reason="dentist")
    with pytest.raises(RuleBrokenError, match="Rob Reef does not work on Tue 8 Dec: dentist"):
        move(cast, a_visit(a_site(cast, "Pier")), cast.rob)


def test_soft_rule_is_kept_as_a_warning() -> None:
    cast = the_cast()
    visit = a_visit(
        a_site(cast, "Pier"), state="published", technician=cast.rob.user, planned_on=MONDAY, planned_start=time(9),
        promised_start=time(9),
    )  # fmt: skip
    move(cast, visit, cast.ana)
    warning = Round.objects.get().warnings
    assert warning == [{"visit": str(visit.pk), "words": "Pier: another hour was promised."}]


def test_second_planner_is_told_who_changed_the_week_and_nothing_is_lost() -> None:
    cast = the_cast()
    first, second = a_visit(a_site(cast, "First")), a_visit(a_site(cast, "Second"))
    move(cast, first, cast.rob)
    with pytest.raises(StaleWeekError) as stale:
        visit_move(
            week=WEEK, version=1, visit=second, technician_id=cast.ana.pk, day=TUESDAY, position=None, actor=cast.office
        )
    assert stale.value.plan.changed_by == cast.planner
    assert stale.value.plan.change == "First was moved to Rob Reef, Tue 8 Dec."
    assert [stop.visit for stop in Stop.objects.all()] == [first]


def test_published_week_is_a_draft_again_after_a_move() -> None:
    cast = the_cast()
    WeekPlan.objects.filter(pk=a_plan().pk).update(state="published")
    assert move(cast, a_visit(a_site(cast, "Pier")), cast.rob).state == "draft"


def test_locked_visit_is_not_moved_until_it_is_freed() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    stop_lock(week=WEEK, version=1, visit_id=visit.pk, locked=True, actor=cast.planner)
    with pytest.raises(RuleBrokenError, match="locked"):
        move(cast, visit, cast.ana, version=2)
    stop_lock(week=WEEK, version=2, visit_id=visit.pk, locked=False, actor=cast.planner)
    move(cast, visit, cast.ana, version=3)
    assert Stop.objects.get().round.technician == cast.ana


def test_nothing_is_moved_into_a_locked_round() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    round_lock(week=WEEK, version=1, technician_id=cast.rob.pk, day=MONDAY, locked=True, actor=cast.planner)
    with pytest.raises(RuleBrokenError, match="round is locked"):
        move(cast, a_visit(a_site(cast, "Quay")), cast.rob, MONDAY, version=2)


def test_locking_twice_changes_the_version_once_and_leaves_a_published_week_published() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    WeekPlan.objects.update(state="published")
    plan = stop_lock(week=WEEK, version=1, visit_id=visit.pk, locked=True, actor=cast.planner)
    again = stop_lock(week=WEEK, version=2, visit_id=visit.pk, locked=True, actor=cast.planner)
    assert (plan.version, again.version, again.state) == (2, 2, "published")


def test_started_visit_is_not_moved() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"), state="started", technician=cast.rob.user)
    with pytest.raises(RuleBrokenError, match="started or ended"):
        move(cast, visit, cast.ana)


def test_nothing_is_moved_while_the_week_is_being_planned() -> None:
    cast = the_cast()
    PlanRun.objects.create(plan=a_plan(), state="running")
    with pytest.raises(RuleBrokenError, match="being planned"):
        move(cast, a_visit(a_site(cast, "Pier")), cast.rob)


def test_nothing_is_moved_into_the_past() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    with time_machine.travel(datetime(2026, 12, 9, 15, tzinfo=UTC)), pytest.raises(RuleBrokenError, match="is over"):
        move(cast, visit, cast.rob, TUESDAY)


def test_score_line_shows_what_the_move_changed() -> None:
    cast = the_cast()
    plan = move(cast, a_visit(a_site(cast, "Pier")), cast.rob)
    move(cast, a_visit(a_site(cast, "Quay", MURFREESBORO)), cast.rob, version=plan.version)
    plan.refresh_from_db()
    score: dict[str, Any] = plan.score or {}
    assert score["before"]["km"] < score["km"]
    assert (score["before"]["left_out"], score["left_out"]) == (0, 0)


def test_visit_done_already_is_no_reason_against_anothers_move() -> None:
    """Fennimore was done on a day that its agreement does not name: what follows on that round may still be moved."""
    cast = the_cast()
    site = a_site(cast, "Fennimore", MURFREESBORO)
    done = a_visit(site, TUESDAY, agreement=an_agreement(site, allowed_weekdays=[3]))
    Visit.objects.filter(pk=done.pk).update(
        state="signed", technician=cast.rob.user, started_at=datetime(2026, 12, 7, 14, tzinfo=UTC),
        ended_at=datetime(2026, 12, 7, 15, tzinfo=UTC), signed_at=datetime(2026, 12, 7, 15, tzinfo=UTC),
    )  # fmt: skip
    a_round(cast.rob, [done])
    creek = a_visit(a_site(cast, "Sable Creek"))
    with time_machine.travel(datetime(2026, 12, 7, 16, tzinfo=UTC)):
        move(cast, creek, cast.rob, MONDAY, position=2)
    assert [stop.visit for stop in Stop.objects.filter(round__date=MONDAY)] == [done, creek]


def test_visit_not_done_yet_is_a_reason_as_before() -> None:
    cast = the_cast()
    site = a_site(cast, "Fennimore", MURFREESBORO)
    a_round(cast.rob, [a_visit(site, TUESDAY, agreement=an_agreement(site, allowed_weekdays=[3]))])
    with pytest.raises(RuleBrokenError, match="Fennimore may not be done on Mon 7 Dec in the working hours"):
        move(cast, a_visit(a_site(cast, "Sable Creek")), cast.rob, MONDAY)


def test_refusal_because_of_a_closure_names_it() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    Closure.objects.create(site=site, first_day=TUESDAY, last_day=TUESDAY, reason="Winter ball")
    with pytest.raises(RuleBrokenError, match=r"Pier may not be done on Tue 8 Dec \(closed: Winter ball\)\."):
        move(cast, a_visit(site), cast.rob)


def test_reason_why_a_visit_is_kept_off_a_day_is_the_holiday() -> None:
    """Thanksgiving is the fourth Thursday of November: 26 Nov 2026 (5 U.S.C. 6103(a), from memory)."""
    cast, thursday = the_cast(), date(2026, 11, 26)
    site = a_site(cast, "Pier", holiday_region="US-TN")
    visit = a_visit(site, thursday, agreement=an_agreement(site))
    assert shut_for(visit, thursday) == "Thanksgiving Day"
    assert shut_for(visit, date(2026, 11, 25)) == ""
    kept = a_visit(site, thursday, agreement=an_agreement(site, holiday_rule="keep"))
    assert shut_for(kept, thursday) == ""
