"""Somebody who was said to be out is there again."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import Leave, Technician, User
from servicedesk.people.services import leave_add, leave_remove
from servicedesk.routes.queries.outs import reason_words, runs_with_outs
from servicedesk.routes.scope import Out, scope_from, scope_json
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked
from servicedesk.routes.times import Week

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
