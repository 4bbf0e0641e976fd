"""Runs of the planner."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.utils import timezone

from servicedesk.people.models import Leave
from servicedesk.routes.models import PlanRun, Round, Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.services import runs
from servicedesk.routes.services.proposals import proposal_take
from servicedesk.routes.services.runs import run_execute, run_request, run_stop, runs_sweep
from servicedesk.routes.services.versions import StaleWeekError, plan_changed
from servicedesk.routes.week_models import PlanProposal
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
    holds,
    the_cast,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)


@pytest.fixture(autouse=True)
def few_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fixed number of tries instead of seconds: tests are quick and give the same plan each time."""
    whole = WeekProblem.solve

    def solve(self: WeekProblem, seconds: float, seed: int, progress: Callable[[float, str], bool]) -> object:
        return whole(self, seconds, seed, progress, iterations=8)

    monkeypatch.setattr(WeekProblem, "solve", solve)


def a_run(cast: Cast, **over: object) -> PlanRun:
    return PlanRun.objects.create(plan=a_plan(), requested_by=cast.planner, seconds=5, **over)


def run_and_take(cast: Cast) -> None:
    """Plan a week that has rounds already, and take what is proposed."""
    run_execute(a_run(cast).pk)
    proposal = PlanProposal.objects.get(state="open")
    proposal_take(week=WEEK, version=a_plan().version, proposal_id=proposal.pk, groups=None, actor=cast.planner)


def test_week_is_planned_and_the_run_says_how_it_went() -> None:
    cast = the_cast()
    for number in range(5):
        a_visit(a_site(cast, f"Site {number}", MURFREESBORO))
    run = a_run(cast)
    run_execute(run.pk)
    run.refresh_from_db()
    plan = a_plan()
    assert (run.state, run.percent, Stop.objects.count()) == ("done", 100, 5)
    assert run.message.startswith("5 visits placed")
    assert (plan.version, plan.changed_by, (plan.score or {})["left_out"]) == (2, cast.planner, 0)


def test_second_delivery_of_the_same_job_does_nothing() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier"))
    run = a_run(cast)
    run_execute(run.pk)
    run_execute(run.pk)
    assert (a_plan().version, Stop.objects.count()) == (2, 1)


def test_two_runs_of_one_week_are_refused_by_the_database() -> None:
    cast = the_cast()
    a_run(cast)
    with pytest.raises(IntegrityError), transaction.atomic():
        a_run(cast, state="running")


def test_asking_twice_gives_the_same_run() -> None:
    cast = the_cast()
    first = run_request(week=WEEK, version=1, seconds=5, actor=cast.planner)
    assert run_request(week=WEEK, version=1, seconds=5, actor=cast.planner) == first


def test_job_is_enqueued_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[tuple[object, ...]] = []
    monkeypatch.setattr(runs, "enqueue", lambda *args: sent.append(args))
    run = run_request(week=WEEK, version=1, seconds=5, actor=the_cast().planner)
    assert sent == [("routes.plan_week", str(run.pk))]


def test_old_page_does_not_start_a_run() -> None:
    cast = the_cast()
    plan_changed(a_plan(), actor=cast.office, words="moved")
    with pytest.raises(StaleWeekError):
        run_request(week=WEEK, version=1, seconds=5, actor=cast.planner)


def test_progress_is_stored_with_a_heartbeat() -> None:
    run = a_run(the_cast(), state="running")
    beat = runs._Beat(run.pk)
    assert beat(0.5, "half way") is False
    run.refresh_from_db()
    assert (run.percent, run.message, run.heartbeat_at is not None) == (48, "half way", True)


def test_stop_asked_ends_the_search() -> None:
    cast = the_cast()
    run = a_run(cast, state="running")
    run_stop(run=run, keep=True, actor=cast.planner)
    assert runs._Beat(run.pk)(0.5, "half way") is True


def test_stopped_run_keeps_the_best_plan() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier"))
    run = a_run(cast, stop_asked=True)
    run_execute(run.pk)
    run.refresh_from_db()
    assert (run.state, Stop.objects.count()) == ("stopped", 1)
    assert run.message.startswith("Stopped, the best plan is kept")


def test_cancelled_run_changes_nothing() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier"))
    run = a_run(cast)
    run_stop(run=run, keep=False, actor=cast.planner)
    run_execute(run.pk)
    assert (Stop.objects.count(), a_plan().version) == (0, 1)


def test_week_changed_while_planning_keeps_the_change(monkeypatch: pytest.MonkeyPatch) -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier"))
    run = a_run(cast)
    solve = WeekProblem.solve

    def meanwhile(self: WeekProblem, *args: object) -> object:
        plan_changed(a_plan(), actor=cast.office, words="moved")
        return solve(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(WeekProblem, "solve", meanwhile)
    run_execute(run.pk)
    run.refresh_from_db()
    assert (run.state, Stop.objects.count()) == ("failed", 0)
    assert "changed meanwhile" in run.message


def test_failure_is_told_without_a_stack_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    run = a_run(the_cast())
    monkeypatch.setattr(WeekProblem, "solve", lambda *_args: 1 / 0)
    run_execute(run.pk)
    run.refresh_from_db()
    assert (run.state, run.message) == ("failed", "Planning failed; the plan is as it was. The office has the details.")


def test_lost_run_is_swept_and_the_week_can_be_planned_again() -> None:
    cast = the_cast()
    lost = a_run(cast, state="running", heartbeat_at=timezone.now() - timedelta(minutes=5))
    assert runs_sweep() == 1
    lost.refresh_from_db()
    assert lost.state == "failed"
    assert run_request(week=WEEK, version=1, seconds=5, actor=cast.planner) != lost


def test_job_delivered_again_after_its_worker_died_is_taken_up() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "Pier"))
    run = a_run(cast, state="running", heartbeat_at=timezone.now() - timedelta(seconds=30))
    run_execute(run.pk)
    run.refresh_from_db()
    assert (run.state, Stop.objects.count()) == ("done", 1)


def test_locked_visit_and_locked_round_stay_where_they_are() -> None:
    cast = the_cast()
    pinned, kept = a_visit(a_site(cast, "Pinned")), a_visit(a_site(cast, "Kept"))
    a_round(cast.rob, [pinned], TUESDAY)
    Stop.objects.update(locked=True)
    other = a_round(cast.ana, [kept], TUESDAY, first_s=13 * 3600)
    Round.objects.filter(pk=other.pk).update(locked=True)
    for number in range(4):
        a_visit(a_site(cast, f"Site {number}"))
    run_and_take(cast)
    assert (Stop.objects.get(visit=pinned).round.technician, Stop.objects.get(visit=pinned).round.date) == (
        cast.rob,
        TUESDAY,
    )
    assert Stop.objects.get(visit=pinned).locked
    assert Stop.objects.get(visit=kept).start_s == 13 * 3600


def test_visit_nobody_may_do_is_left_out_with_the_rule_in_words() -> None:
    cast, badge = the_cast(), a_badge()
    holds(cast.rob.user, badge, date(2026, 1, 1), date(2026, 12, 6))
    site = a_site(cast, "Pier")
    site.needed_permissions.add(badge)
    visit = a_visit(site)
    run_execute(a_run(cast).pk)
    (left,) = a_plan().left_out
    assert (left["visit"], left["state"]) == (str(visit.pk), "cannot")
    assert "Pier needs Harbour badge" in left["reason"]


def test_technician_on_leave_gets_no_round() -> None:
    cast = the_cast()
    Leave.objects.create(technician=cast.rob, first_day=MONDAY, last_day=date(2026, 12, 13))
    for number in range(4):
        a_visit(a_site(cast, f"Site {number}"))
    run_execute(a_run(cast).pk)
    assert set(Round.objects.values_list("technician", flat=True)) == {cast.ana.pk}


def test_planning_again_with_nothing_changed_moves_nothing() -> None:
    cast = the_cast()
    for number in range(6):
        a_visit(a_site(cast, f"Site {number}", (36.0 + number / 30, -86.7)))
    run_execute(a_run(cast).pk)
    before = where()
    again = a_run(cast, seed=2)
    run_execute(again.pk)
    again.refresh_from_db()
    assert (where(), again.message) == (before, "No better plan was found: nothing moves.")
    assert not PlanProposal.objects.exists()


def where() -> dict[str, tuple[int, date]]:
    rows = Stop.objects.values_list("visit__site__name", "round__technician", "round__date")
    return {name: (who, day) for name, who, day in rows}


def test_published_rounds_of_days_gone_by_stay() -> None:
    cast = the_cast()
    done = a_visit(a_site(cast, "Done"))
    a_round(cast.rob, [done])
    a_visit(a_site(cast, "Later"))
    with time_machine.travel(datetime(2026, 12, 9, 15, tzinfo=UTC)):
        run_and_take(cast)
    assert Stop.objects.get(visit=done).round.date == MONDAY
    assert Stop.objects.exclude(visit=done).get().round.date >= date(2026, 12, 9)
    assert WeekPlan.objects.count() == 1
