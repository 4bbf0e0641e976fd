"""Runs of the planner: one at a time per week, in the worker, with progress; safe to deliver twice."""

import logging
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.jobs import enqueue
from servicedesk.people.models import User
from servicedesk.routes.models import PlanRun
from servicedesk.routes.services.solving import week_solve
from servicedesk.routes.services.versions import plan_locked
from servicedesk.routes.times import Week

log = logging.getLogger(__name__)
LOST_AFTER = timedelta(seconds=20)
STUCK_AFTER = timedelta(minutes=2)
NEVER_BEGUN_AFTER = timedelta(minutes=10)
BEAT_EVERY = timedelta(milliseconds=700)


@transaction.atomic
def run_request(*, week: Week, version: int, seconds: int, actor: User, scope: dict[str, Any] | None = None) -> PlanRun:
    """Ask the worker to plan the week; a run that waits or works already is returned as it is.

    ``scope``: plan again only what is open from a moment on (routes/replan.py).
    """
    runs_sweep()
    plan = plan_locked(week, version)
    active = plan.runs.filter(state__in=PlanRun.ACTIVE).first()
    if active is not None:
        return active
    seed = plan.runs.count() + 1
    try:
        with transaction.atomic():
            run = PlanRun.objects.create(
                plan=plan, seconds=seconds, seed=seed, requested_by=actor, message=_("Waiting for the worker."),
                scope=scope,
            )  # fmt: skip
    except IntegrityError:
        return plan.runs.get(state__in=PlanRun.ACTIVE)
    enqueue("routes.plan_week", str(run.pk))
    return run


@transaction.atomic
def run_stop(*, run: PlanRun, keep: bool, actor: User) -> None:
    """Stop early. ``keep``: the best plan found so far is taken; else nothing changes."""
    locked = PlanRun.objects.select_for_update().get(pk=run.pk)
    if locked.state not in PlanRun.ACTIVE:
        return
    if locked.state == PlanRun.State.QUEUED or not keep:
        locked.state, locked.ended_at = PlanRun.State.STOPPED, timezone.now()
        locked.message = _("Cancelled; the plan is as it was.")
    locked.stop_asked = True
    locked.save()


def run_execute(run_id: UUID) -> None:
    """Work a run off. A second delivery of the same job finds it claimed and does nothing."""
    run = _claim(run_id)
    if run is None:
        return
    try:
        week_solve(run, _Beat(run.pk))
    except Exception:
        log.exception("Planning of %s failed", run.plan)
        _end(run.pk, PlanRun.State.FAILED, _("Planning failed; the plan is as it was. The office has the details."))


def _claim(run_id: UUID) -> PlanRun | None:
    now = timezone.now()
    free = Q(state=PlanRun.State.QUEUED) | Q(state=PlanRun.State.RUNNING, heartbeat_at__lt=now - LOST_AFTER)
    claimed = PlanRun.objects.filter(free, pk=run_id).update(
        state=PlanRun.State.RUNNING, heartbeat_at=now, percent=1, message=_("Reading visits and shifts.")
    )
    return PlanRun.objects.select_related("plan", "requested_by").get(pk=run_id) if claimed else None


def _end(run_id: UUID, state: str, message: str) -> None:
    PlanRun.objects.filter(pk=run_id, state__in=PlanRun.ACTIVE).update(
        state=state, message=message[:300], percent=100, ended_at=timezone.now()
    )


class _Beat:
    """Progress of a run: keeps the heartbeat, tells the percentage, learns whether to stop."""

    def __init__(self, run_id: UUID) -> None:
        self.run_id = run_id
        self.last = timezone.now() - BEAT_EVERY
        self.stop = False

    def __call__(self, fraction: float, message: str) -> bool:
        """Note the progress; True asks the solver to end with the best it has."""
        now = timezone.now()
        if now - self.last < BEAT_EVERY:
            return self.stop
        self.last = now
        percent = min(max(round(fraction * 95), 1), 95)
        open_run = PlanRun.objects.filter(pk=self.run_id, state=PlanRun.State.RUNNING)
        alive = open_run.update(percent=percent, message=message[:300], heartbeat_at=now)
        self.stop = not alive or bool(open_run.filter(stop_asked=True).exists())
        return self.stop


def runs_sweep() -> int:
    """End runs whose worker is gone, so that the week can be planned again."""
    now = timezone.now()
    stuck = Q(state=PlanRun.State.RUNNING, heartbeat_at__lt=now - STUCK_AFTER) | Q(
        state=PlanRun.State.QUEUED, requested_at__lt=now - NEVER_BEGUN_AFTER
    )
    return PlanRun.objects.filter(stuck).update(
        state=PlanRun.State.FAILED, ended_at=now, message=_("The worker was lost; the plan is as it was. Plan again.")
    )
