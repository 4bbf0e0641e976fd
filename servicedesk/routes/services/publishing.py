"""Publishing a week: visits are given to technicians, and the hours may be told to the clients."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import User
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.queries.round import times_kept, times_planned
from servicedesk.routes.services.versions import RuleBrokenError, plan_locked
from servicedesk.routes.times import Week, instant
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import visit_assign, visit_unassign

MOVABLE = (Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED)


@transaction.atomic
def week_publish(*, week: Week, version: int, actor: User) -> WeekPlan:
    """Give each visit its technician, date and hour. Publishing twice changes nothing."""
    plan = plan_locked(week, version)
    if plan.state == WeekPlan.State.PUBLISHED:
        return plan
    if plan.runs.filter(state__in=["queued", "running"]).exists():
        raise RuleBrokenError([_("The week is being planned. Stop the planning or wait for it, then publish.")])
    rounds = list(plan.rounds.select_related("technician__user").prefetch_related("stops__visit__site"))
    if not any(row.stops.all() for row in rounds):
        raise RuleBrokenError([_("There is nothing to publish: no visit is on a round.")])
    kept = {stop.visit_id for row in rounds for stop in row.stops.all()}
    _taken_off(plan, week, kept, actor)
    for row in rounds:
        for stop in row.stops.all():
            _assign(row, stop, actor)
        row.published = times_kept(times_planned(row)) if row.stops.all() else None
    Round.objects.bulk_update(rounds, ["published"])
    plan.state, plan.published_at, plan.published_by = WeekPlan.State.PUBLISHED, timezone.now(), actor
    plan.save(update_fields=["state", "published_at", "published_by"])
    return plan


def _assign(row: Round, stop: Stop, actor: User) -> None:
    visit = stop.visit
    if visit.state not in MOVABLE:
        return
    start = start_at_site(row, stop)
    at = start.time().replace(second=0, microsecond=0)
    user = row.technician.user
    if (visit.state, visit.technician_id, visit.planned_on, visit.planned_start) == (
        Visit.State.PUBLISHED, user.pk, start.date(), at,
    ):  # fmt: skip
        return
    visit_assign(visit=visit, technician=user, planned_on=start.date(), planned_start=at, actor=actor)


def start_at_site(row: Round, stop: Stop) -> datetime:
    """When a stop begins, on the site's own clock."""
    moment = instant(row.date, stop.start_s, ZoneInfo(row.technician.time_zone))
    return moment.astimezone(ZoneInfo(stop.visit.site.time_zone))


def _taken_off(plan: WeekPlan, week: Week, kept: Iterable[object], actor: User) -> None:
    """Visits that an earlier publication had put on a round of this week and that are on none now."""
    published = [
        stop["visit_id"] for row in plan.rounds.exclude(published=None) for stop in (row.published or {})["stops"]
    ]
    gone = Visit.objects.filter(pk__in=published, state__in=MOVABLE).exclude(pk__in=list(kept))
    for visit in gone.filter(planned_on__range=(week.monday, week.sunday + timedelta(days=1))):
        visit_unassign(visit=visit, actor=actor)
