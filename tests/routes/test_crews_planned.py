"""Visits for two as the planner plans them, again and after somebody fell ill; checked by the independent checker."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine

from servicedesk.people.models import Technician
from servicedesk.planner.check import check
from servicedesk.planner.plan import Plan
from servicedesk.planner.solve import solve
from servicedesk.routes.models import PlanRun, Stop
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.crews import crews_planned
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.scope import Out, Scope, scope_json
from servicedesk.routes.services.moving import round_lock, stop_lock
from servicedesk.routes.services.proposals import proposal_difference, proposal_take
from servicedesk.routes.services.runs import run_execute, run_request
from servicedesk.routes.services.solving import solved_store
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, MURFREESBORO, WEEK, Cast, a_plan, a_site, a_technician, a_visit, the_cast
from tests.routes.test_crews import both, for_two, helps, move, paired, parts

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)
MONDAY_TEN = datetime(2026, 12, 7, 16, tzinfo=UTC)


def solved(cast: Cast, people: Sequence[Technician], iterations: int = 60) -> tuple[WeekProblem, Plan]:
    """The week as planned, by the planner's own plan beside what is stored."""
    technicians = {row.pk: row for row in people}
    problem = week_problem(WEEK, a_plan(), technicians)
    found = problem.solve(1.0, 1, lambda _share, _words: False, iterations=iterations)
    plan = a_plan()
    run = PlanRun.objects.create(plan=plan, state=PlanRun.State.RUNNING, requested_by=cast.planner)
    solved_store(run=run, week=WEEK, seen_version=plan.version, technicians=technicians, solved=found)
    return problem, solve(problem.problem, iterations=iterations, seed=1)


def crowd(cast: Cast) -> list[Visit]:
    visits = [for_two(cast, "Pier"), for_two(cast, "Quay", at=MURFREESBORO)]
    for number in range(6):
        a_visit(a_site(cast, f"Small {number}", MURFREESBORO if number % 2 else (36.16, -86.78)))
    return visits


def test_plan_passes_the_independent_check_and_is_stored_as_planned() -> None:
    cast = the_cast()
    visits = crowd(cast)
    problem, plan = solved(cast, [cast.rob, cast.ana])
    assert check(problem.problem, plan) == []
    assert plan.unserved == ()
    planned = {(stop.visit, stop.helper): stop.begin.astimezone(UTC) for row in plan.rounds for stop in row.stops}
    for stop in Stop.objects.select_related("round__technician"):
        midnight = datetime(stop.round.date.year, 12, stop.round.date.day, 6, tzinfo=UTC)
        assert midnight + timedelta(seconds=stop.start_s) == planned[str(stop.visit_id), stop.helps]
    assert len(planned) == Stop.objects.count() == 10
    for visit in visits:
        lead, helper = both(visit)
        assert (lead.start_s, lead.round.date) == (helper.start_s, helper.round.date)
        assert lead.round.technician != helper.round.technician


def test_planning_again_with_nothing_changed_proposes_nothing() -> None:
    cast = the_cast()
    crowd(cast)
    solved(cast, [cast.rob, cast.ana], iterations=300)
    before = rounds_kept(a_plan())
    problem = week_problem(WEEK, a_plan(), {row.pk: row for row in (cast.rob, cast.ana)})
    again = problem.solve(1.0, 1, lambda _share, _words: False, iterations=0)
    assert {key: row.stops for key, row in again.rounds.items() if row.stops} == {
        key: row.times.stops for key, row in before.items()
    }


def test_locked_visit_for_two_keeps_its_people_and_hour_while_the_rest_is_planned() -> None:
    cast = the_cast()
    visit = paired(cast)
    stop_lock(week=WEEK, version=a_plan().version, visit_id=visit.pk, locked=True, actor=cast.planner)
    before = {stop.helps: (stop.round.technician, stop.start_s) for stop in both(visit)}
    for name in ("One", "Two", "Three"):
        a_visit(a_site(cast, name))
    problem = week_problem(WEEK, a_plan(), {row.pk: row for row in (cast.rob, cast.ana)})
    plan = solve(problem.problem, iterations=60, seed=1)
    assert check(problem.problem, plan) == []
    found = problem.solve(1.0, 1, lambda _share, _words: False, iterations=60)
    after = {
        stop.helps: (key[0], stop.start_s)
        for key, row in found.rounds.items()
        for stop in row.stops
        if stop.visit_id == str(visit.pk)
    }
    assert after == {part: (who.pk, start) for part, (who, start) in before.items()}
    assert sum(len(row.stops) for row in found.rounds.values()) == 5


def test_round_settled_for_one_of_two_holds_the_other_to_the_hour() -> None:
    cast = the_cast()
    visit = paired(cast)
    round_lock(
        week=WEEK, version=a_plan().version, technician_id=cast.rob.pk, day=MONDAY, locked=True, actor=cast.planner
    )
    for name in ("One", "Two"):
        a_visit(a_site(cast, name), days=(MONDAY, MONDAY))
    problem = week_problem(WEEK, a_plan(), {row.pk: row for row in (cast.rob, cast.ana)})
    plan = solve(problem.problem, iterations=60, seed=1)
    assert check(problem.problem, plan) == []
    found = problem.solve(1.0, 1, lambda _share, _words: False, iterations=60)
    (helper,) = [stop for row in found.rounds.values() for stop in row.stops if stop.helps]
    assert helper.start_s == parts(visit)[0].start_s
    assert found.left_out == []


# --- somebody falls ill


@pytest.fixture
def few_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = WeekProblem.solve

    def few(self: WeekProblem, seconds: float, seed: int, progress: Any) -> object:
        return whole(self, seconds, seed, progress, iterations=30)

    monkeypatch.setattr(WeekProblem, "solve", few)


def falls_ill(cast: Cast, who: Technician) -> list[str]:
    """On Monday at ten somebody is ill for the week; what the new plan changes, in words, once it is taken."""
    with time_machine.travel(MONDAY_TEN, tick=True):
        scope = scope_json(Scope(MONDAY_TEN, (Out(who.pk, date(2026, 12, 11), "ill", MONDAY_TEN),)))
        run = run_request(week=WEEK, version=a_plan().version, seconds=5, actor=cast.planner, scope=scope)
        run_execute(run.pk)
        proposal = a_plan().proposals.get()
        words = [row.words for group in proposal_difference(proposal).groups for row in group.rows]
        proposal_take(week=WEEK, version=a_plan().version, proposal_id=proposal.pk, groups=None, actor=cast.planner)
    return words


@pytest.mark.usefixtures("few_tries")
@pytest.mark.parametrize("ill", ["lead", "helper"])
def test_when_one_of_two_falls_ill_somebody_else_comes(ill: str) -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = for_two(cast)
    move(cast, visit, cast.rob, TUESDAY)
    helps(cast, visit, cast.ana)
    out = cast.rob if ill == "lead" else cast.ana
    words = falls_ill(cast, out)
    lead, helper = both(visit)
    assert {lead.round.technician, helper.round.technician} == {cast.rob, cast.ana, kim} - {out}
    assert (lead.start_s, lead.round.date) == (helper.start_s, helper.round.date)
    if ill == "helper" and lead.round.technician == cast.rob:
        assert "Pier: Kim Kelp helps instead of Ana Algae." in words


@pytest.mark.usefixtures("few_tries")
def test_when_the_helper_of_a_locked_visit_is_ill_another_comes_at_its_hour() -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = for_two(cast)
    move(cast, visit, cast.rob, TUESDAY)
    helps(cast, visit, cast.ana)
    stop_lock(week=WEEK, version=a_plan().version, visit_id=visit.pk, locked=True, actor=cast.planner)
    start_s = both(visit)[0].start_s
    assert falls_ill(cast, cast.ana) == ["Pier: Kim Kelp helps instead of Ana Algae."]
    lead, helper = both(visit)
    assert (lead.round.technician, helper.round.technician) == (cast.rob, kim)
    assert lead.start_s == helper.start_s == start_s


@pytest.mark.usefixtures("few_tries")
def test_where_nobody_else_can_help_a_locked_visit_stays_and_it_is_said() -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob, TUESDAY)
    helps(cast, visit, cast.ana)
    stop_lock(week=WEEK, version=a_plan().version, visit_id=visit.pk, locked=True, actor=cast.planner)
    assert falls_ill(cast, cast.ana) == ["Pier: Ana Algae does not help any more."]
    lead, helper = parts(visit)
    assert (lead.round.technician, helper) == (cast.rob, None)
    assert [row.words for row in crews_planned(a_plan()).lacking] == [
        "Pier: nobody comes as the second person at 08:00, for the first 45 min."
    ]


def test_helper_of_a_visit_left_out_is_not_sent() -> None:
    cast = the_cast()
    visit = paired(cast)
    problem = week_problem(WEEK, a_plan(), {row.pk: row for row in (cast.rob, cast.ana)})
    planned = solve(problem.problem, iterations=5)
    bare = [replace(row, stops=tuple(stop for stop in row.stops if stop.helper)) for row in planned.rounds]
    found = problem._solved(replace(planned, rounds=tuple(bare)))
    assert all(stop.visit_id != str(visit.pk) for row in found.rounds.values() for stop in row.stops)
