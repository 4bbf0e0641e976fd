"""Writing timed rounds into the plan."""

from collections.abc import Collection, Iterable, Mapping
from datetime import date
from uuid import UUID

from django.db.models import Q

from servicedesk.clients.models import Site
from servicedesk.people.models import Technician, Van
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.planning import Timed
from servicedesk.routes.queries.round import StopTimes
from servicedesk.visits.models import Visit

Key = tuple[int, date]


def round_store(
    plan: WeekPlan, technician: Technician, day: date, timed: Timed, locked_visits: frozenset[str]
) -> Round:
    """Make the round of a technician's day what ``timed`` says; an emptied one stays only if it was published."""
    row, _made = Round.objects.get_or_create(plan=plan, technician=technician, date=day)
    row.van = _van_of(technician)
    row.leave_s, row.return_s = timed.leave_s, timed.return_s
    row.travel_s, row.distance_m, row.overtime_s = timed.travel_s, timed.distance_m, timed.overtime_s
    row.break_start_s, row.break_s = timed.break_start_s, timed.break_s
    row.start_lodging_id, row.lodging_id = timed.start_lodging_id, timed.lodging_id
    row.warnings = [{"visit": visit, "words": words} for visit, words in timed.soft]
    row.warnings += [{"visit": None, "words": words} for words in timed.hard]
    row.stops.all().delete()
    if timed.is_empty and row.published is None and not row.reveals.exists():
        row.delete()
        return row
    row.locked = row.locked and not timed.is_empty
    row.save()
    Stop.objects.bulk_create(_stops(row, timed, locked_visits))
    return row


def _van_of(technician: Technician) -> Van | None:
    """The van that the technician drives; one that was put away drives no more."""
    van: Van | None = getattr(technician, "van", None)
    return van if van is not None and van.archived_at is None else None


def _stops(row: Round, timed: Timed, locked_visits: frozenset[str]) -> list[Stop]:
    return [
        Stop(
            round=row,
            visit_id=stop.visit_id,
            position=position,
            travel_s=stop.travel_s,
            distance_m=stop.distance_m,
            arrive_s=stop.arrive_s,
            start_s=stop.start_s,
            leave_s=stop.leave_s,
            locked=stop.visit_id in locked_visits,
            helps=stop.helps,
        )
        for position, stop in enumerate(timed.stops, start=1)
    ]


def stops_free(stops: Iterable[StopTimes], *, plan: WeekPlan | None = None) -> None:
    """Take visits, or the second person's parts of some, off whatever rounds they stand on (those of a plan)."""
    found = Stop.objects.filter(same_parts(stops))
    (found if plan is None else found.filter(round__plan=plan)).delete()


def same_parts(stops: Iterable[StopTimes]) -> Q:
    """The stops, wherever they are, that are the same visits or the same parts of visits."""
    rows = list(stops)
    own = Q(helps=False, visit__in=[stop.visit_id for stop in rows if not stop.helps])
    return own | Q(helps=True, visit__in=[stop.visit_id for stop in rows if stop.helps])


def site_elsewhere(plan: WeekPlan, visits: Collection[str]) -> Site | None:
    """The site of one of these visits that stands on a round of another week; None: all may come here.

    They are held until the transaction ends, so that no other week takes one up in between.
    """
    ids = [UUID(visit) for visit in visits]
    list(Visit.objects.filter(pk__in=ids).order_by("pk").select_for_update(no_key=True).values_list("pk", flat=True))
    found = Stop.objects.filter(visit__in=ids).exclude(round__plan=plan).select_related("visit__site").first()
    return found.visit.site if found is not None else None


def rounds_store(
    plan: WeekPlan, technicians: Mapping[int, Technician], rounds: Mapping[Key, Timed], locked_visits: frozenset[str]
) -> None:
    """Replace all rounds that ``rounds`` speaks of. Stops are freed first: a visit is on one round at a time."""
    Stop.objects.filter(round__plan=plan, round__in=_rows(plan, rounds)).delete()
    for (technician, day), timed in rounds.items():
        if not timed.is_empty or plan.rounds.filter(technician=technician, date=day).exists():
            round_store(plan, technicians[technician], day, timed, locked_visits)


def _rows(plan: WeekPlan, rounds: Mapping[Key, Timed]) -> list[Round]:
    return [row for row in plan.rounds.all() if (row.technician_id, row.date) in rounds]
