"""Somebody who was said to be out is there again, or was never out: the plan found without them is undone."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import Leave, Technician, User
from servicedesk.people.services import leave_add, leave_remove
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries.outs import TAKEN, reason_words, runs_with_outs
from servicedesk.routes.queries.round import today_of
from servicedesk.routes.scope import Out, scope_from, scope_json
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked
from servicedesk.routes.times import Week
from servicedesk.routes.week_models import PlanVersion

ONE_DAY = timedelta(days=1)


@transaction.atomic
def out_end(*, week: Week, version: int, technician: Technician, actor: User) -> None:
    """From now on the technician may be planned again; what was given away stays where it is."""
    plan = plan_locked(week, version)
    now = timezone.now()
    zone = ZoneInfo(technician.time_zone)
    ended = []
    for run in runs_with_outs(week.monday):
        scope = scope_from(run.scope or {})
        rows = [row for row in scope.out if row.technician == technician.pk and row.ends(zone) > now]
        if rows:
            out = tuple(_ended(row, now) if row in rows else row for row in scope.out)
            run.scope = scope_json(replace(scope, out=out))
            run.save(update_fields=["scope"])
            ended += rows
    if not ended:
        raise RuleBrokenError([_("%(name)s is not out.") % {"name": technician}])
    if any(row.reason == "ill" for row in ended):
        _shorten_leave(technician, now.astimezone(zone).date(), actor)
    plan_changed(plan, actor=actor, words=_("%(name)s is back.") % {"name": technician})


def outs_undo(*, plan: WeekPlan, back_to: PlanVersion, actor: User) -> None:
    """Who was said to be out with plans taken after a version that the week goes back to is out no more."""
    after = plan.versions.filter(number__gt=back_to.number).order_by("number").first()
    if after is None:
        return
    taken = plan.proposals.filter(state__in=TAKEN, decided_at__gte=after.at, run__scope__isnull=False)
    for proposal in taken.select_related("run"):
        run = proposal.run
        scope = scope_from(run.scope or {})
        said = [row for row in scope.out if row.back is None]
        out = tuple(replace(row, back=row.since) if row in said else row for row in scope.out)
        run.scope = scope_json(replace(scope, out=out))
        run.save(update_fields=["scope"])
        for technician in Technician.objects.filter(pk__in=[row.technician for row in said if row.reason == "ill"]):
            _shorten_leave(technician, today_of(technician), actor)


def _ended(row: Out, now: datetime) -> Out:
    return replace(row, back=max(now, row.since))


def _shorten_leave(technician: Technician, today: date, actor: User) -> None:
    """The days that were noted ahead when the technician fell ill are worked after all."""
    for leave in technician.leave.filter(reason=reason_words("ill"), part=Leave.Part.DAY, last_day__gte=today):
        first, yesterday = leave.first_day, today - ONE_DAY
        leave_remove(leave=leave, actor=actor)
        if first <= yesterday:
            past = Leave(technician=technician, first_day=first, last_day=yesterday, reason=leave.reason)
            leave_add(leave=past, actor=actor)
