"""Bringing rounds into force: what the technicians drive by, and what their visits then say."""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils import timezone

from servicedesk.people.models import User
from servicedesk.routes.crews import visits_published
from servicedesk.routes.models import Round, Stop
from servicedesk.routes.queries.round import ROUND_FIELDS, RoundTimes, StopTimes, times_kept
from servicedesk.routes.services.storing import stops_free
from servicedesk.routes.times import instant
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import visit_assign, visit_unassign

MOVABLE = (Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED)
Becomes = tuple[Round, RoundTimes | None]


def rounds_in_force(becomes: Sequence[Becomes], actor: User | None, *, waiting: Collection[str] = ()) -> None:
    """Make rounds what ``becomes`` says: visits are given to whom they now belong, those left over are freed.

    ``waiting``: visits left over that somebody else is asked to take; the hours told to their clients stand.
    """
    new = {stop.visit_id: (row, stop) for row, times in becomes if times for stop in times.stops if not stop.helps}
    old = {pk: row for row, _times in becomes for pk in visits_published(row)}
    visits = {str(row.pk): row for row in Visit.objects.filter(pk__in={*new, *old}).select_related("site")}
    for pk in sorted(set(old) - set(new)):
        if pk in visits and visits[pk].state in MOVABLE and _is_of(visits[pk], old[pk]):
            visit_unassign(visit=visits[pk], actor=actor, keep_promise=pk in waiting)
    for pk, (row, stop) in new.items():
        if pk in visits:
            _assign(row, stop, visits[pk], actor)
    for row, times in becomes:
        kept: dict[str, Any] | None = times_kept(times) if times else None
        if kept != row.published:
            row.published, row.published_at = kept, timezone.now()
            row.save(update_fields=["published", "published_at"])


def _is_of(visit: Visit, row: Round) -> bool:
    """Whether a visit is still given to the round; not one that another week or a hand gave elsewhere meanwhile."""
    return (
        visit.technician_id == row.technician.user_id
        and visit.planned_on is not None
        and abs(visit.planned_on - row.date) <= timedelta(days=1)
    )


def _assign(row: Round, stop: StopTimes, visit: Visit, actor: User | None) -> None:
    if visit.state not in MOVABLE:
        return
    start = start_at_site(row, stop, visit)
    at = start.time().replace(second=0, microsecond=0)
    user = row.technician.user
    if (visit.state, visit.technician_id, visit.planned_on, visit.planned_start) == (
        Visit.State.PUBLISHED, user.pk, start.date(), at,
    ):  # fmt: skip
        return
    visit_assign(visit=visit, technician=user, planned_on=start.date(), planned_start=at, actor=actor)


def start_at_site(row: Round, stop: StopTimes | Stop, visit: Visit) -> datetime:
    """When a stop begins, on the site's own clock."""
    moment = instant(row.date, stop.start_s, ZoneInfo(row.technician.time_zone))
    return moment.astimezone(ZoneInfo(visit.site.time_zone))


def stops_follow(becomes: Sequence[Becomes]) -> None:
    """Make the plan's stops what has come into force; a visit leaves whatever round it stood on."""
    ids = {UUID(stop.visit_id) for _row, times in becomes if times for stop in times.stops}
    rounds = [row for row, _times in becomes]
    locked = {
        str(pk)
        for pk in Stop.objects.filter(visit__in=ids, locked=True).values_list("visit_id", flat=True)
    }  # fmt: skip
    stops_free(stop for _row, times in becomes if times for stop in times.stops)
    Stop.objects.filter(round__in=rounds).delete()
    for row, times in becomes:
        found = times or RoundTimes(None, None, 0, 0, 0, None, 0, [], is_published=False)
        for name in ROUND_FIELDS:
            setattr(row, name, getattr(found, name))
        row.warnings = []
        row.save()
        Stop.objects.bulk_create(
            Stop(
                round=row, visit_id=stop.visit_id, position=position, travel_s=stop.travel_s,
                distance_m=stop.distance_m, arrive_s=stop.arrive_s, start_s=stop.start_s, leave_s=stop.leave_s,
                locked=stop.visit_id in locked, helps=stop.helps,
            )
            for position, stop in enumerate(found.stops, start=1)
        )  # fmt: skip
