"""Planning a week in the worker and storing what came out."""

from collections.abc import Callable, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.people.models import Technician
from servicedesk.planner.calls import Call
from servicedesk.routes.models import PlanRun, Stop, WeekPlan
from servicedesk.routes.planning import Solved
from servicedesk.routes.queries.problem import lodgings_open, week_input, week_points, week_visits
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.running import LiveRound, live_rounds
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.replan import OpenWeek, PlannedWeek
from servicedesk.routes.scope import Scope, scope_from
from servicedesk.routes.services.keeping import version_ensure
from servicedesk.routes.services.proposals import proposal_make
from servicedesk.routes.services.storing import rounds_store, site_elsewhere
from servicedesk.routes.services.travel import fill_for_week
from servicedesk.routes.services.versions import plan_changed
from servicedesk.routes.times import Week
from servicedesk.visits.services.lengths import lengths_refresh

Progress = Callable[[float, str], bool]


def week_solve(run: PlanRun, progress: Progress) -> None:
    """Read the week, search, store or propose. Nothing is kept when the run was cancelled or the week changed."""
    plan = run.plan
    week = Week(plan.iso_year, plan.iso_week)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    _learn(week, plan, technicians, progress)
    problem = _problem(run, week, plan, technicians)
    solved = problem.solve(float(run.seconds), run.seed, progress)
    calls = problem.best_calls() if _is_planned(plan) else []
    solved_store(run=run, week=week, seen_version=plan.version, technicians=technicians, solved=solved, calls=calls)


def _problem(run: PlanRun, week: Week, plan: WeekPlan, technicians: dict[int, Technician]) -> PlannedWeek:
    data = week_input(week, plan, technicians)
    if run.scope is None:
        return PlannedWeek(data, rounds_kept(plan))
    scope = scope_from(run.scope)
    return OpenWeek(data, scope, _live(plan, scope), rounds_kept(plan))


def _live(plan: WeekPlan, scope: Scope) -> list[LiveRound]:
    return [row for row in live_rounds(scope.since) if row.round.plan_id == plan.pk]


def _is_planned(plan: WeekPlan) -> bool:
    """Whether there is a plan to compare with: then what is found is proposed, never put in its place unasked."""
    return Stop.objects.filter(round__plan=plan).exists()


def _learn(week: Week, plan: WeekPlan, technicians: dict[int, Technician], progress: Progress) -> None:
    """Before the week is read: lengths from past visits, drives from the road service."""
    on_rounds = Stop.objects.filter(round__plan=plan).values_list("visit_id", flat=True)
    visits = week_visits(week, on_rounds)
    lengths_refresh(visit.pk for visit in visits)

    def tell(done: int, of: int) -> bool:
        return progress(0.0, _("Asking the road service: %(n)d of %(of)d.") % {"n": done + 1, "of": of})

    fill_for_week(plan=plan, points=week_points(technicians.values(), visits, lodgings_open()), tell=tell)


@transaction.atomic
def solved_store(
    *,
    run: PlanRun,
    week: Week,
    seen_version: int,
    technicians: dict[int, Technician],
    solved: Solved,
    calls: Sequence[Call] = (),
) -> None:
    """Make an empty plan what the search found, or propose it for one that has rounds; twice does it once."""
    plan = WeekPlan.objects.select_for_update().get(pk=run.plan_id)
    own = PlanRun.objects.select_for_update().get(pk=run.pk)
    if own.state != PlanRun.State.RUNNING:
        return
    if plan.version != seen_version:
        _end(own, PlanRun.State.FAILED, _("The week was changed meanwhile; the new state was kept. Plan again."))
        return
    site = site_elsewhere(plan, {stop.visit_id for timed in solved.rounds.values() for stop in timed.stops})
    if site is not None:
        words = _("%(site)s was put on a round of another week meanwhile; the plan is as it was. Plan again.")
        _end(own, PlanRun.State.FAILED, words % {"site": site})
        return
    locked = frozenset(
        str(pk) for pk in Stop.objects.filter(round__plan=plan, locked=True).values_list("visit_id", flat=True)
    )
    version_ensure(plan)
    left_out = [
        {"visit": row.visit_id, "state": "cannot" if row.cannot else "waits", "reason": row.reason, "cost": row.cost}
        for row in solved.left_out
    ]
    ended = PlanRun.State.STOPPED if own.stop_asked else PlanRun.State.DONE
    if _is_planned(plan):
        proposal = proposal_make(
            run=own, plan=plan, week=week, technicians=technicians, solved=solved, left_out=left_out, locked=locked,
            calls=calls,
        )  # fmt: skip
        words = _result_words(solved, proposal.score if proposal else {}, stopped=own.stop_asked)
        _end(own, ended, words if proposal else _("No better plan was found: nothing moves."))
        return
    before = plan.score
    rounds_store(plan, technicians, solved.rounds, locked)
    plan.left_out = left_out
    plan.score = with_change(score_of(week, plan), before)
    words = _result_words(solved, plan.score, stopped=own.stop_asked)
    plan_changed(plan, actor=run.requested_by, words=_("The week was planned."))
    _end(own, ended, words)


def _result_words(solved: Solved, score: dict[str, Any], *, stopped: bool) -> str:
    placed = sum(not stop.helps for timed in solved.rounds.values() for stop in timed.stops)
    words = ngettext("%(n)d visit placed", "%(n)d visits placed", placed) % {"n": placed}
    if score.get("left_out"):  # what might come early from next week and does not is not left out
        words += ", " + _("%(n)d left out") % {"n": score["left_out"]}
    words += ", " + _("%(n)d tries.") % {"n": solved.iterations}
    return _("Stopped, the best plan is kept: %(words)s") % {"words": words} if stopped else words


def _end(run: PlanRun, state: str, message: str) -> None:
    run.state, run.message, run.percent, run.ended_at = state, message[:300], 100, timezone.now()
    run.save()
