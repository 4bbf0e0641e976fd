"""Who helps whom: the rounds that share a visit for two, the other person of each, and where nobody comes to help."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.crews import PLANNED_PEOPLE, Key, calls_published, crew_min, is_helper, linked, visit_of
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.times import clock
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN


@dataclass(frozen=True, slots=True)
class Lacking:
    """A visit for which somebody is still missing, with the round that says so; ``words`` are for the planner."""

    visit: Visit
    key: Key
    words: str
    nobody_helps: bool


@dataclass(slots=True)
class Crews:
    """The people of visits for two, by visit and whether they help, and what is lacking."""

    people: dict[tuple[str, bool], Technician] = field(default_factory=dict)
    lacking: list[Lacking] = field(default_factory=list)

    def mate(self, visit: str, *, helps: bool) -> Technician | None:
        """The other person: whoever helps at a visit, or leads where one helps."""
        return self.people.get((visit, not helps))

    def lacking_on(self, key: Key) -> list[Lacking]:
        return [row for row in self.lacking if row.key == key]


def linked_rounds(plan: WeekPlan, keys: Collection[Key]) -> set[Key]:
    """Rounds with those that share a visit for two with them, and so on."""
    groups: dict[UUID, list[Key]] = {}
    for visit, technician, day in _shared(plan).values_list("visit", "round__technician", "round__date"):
        groups.setdefault(visit, []).append((technician, day))
    return linked(keys, groups.values())


def _shared(plan: WeekPlan) -> QuerySet[Stop]:
    helped = Stop.objects.filter(round__plan=plan, helps=True).values("visit")
    return Stop.objects.filter(round__plan=plan, visit__in=helped)


def crews_planned(plan: WeekPlan) -> Crews:
    """The visits for two as they are planned now, in one query."""
    helped = Stop.objects.filter(round__plan=plan, helps=True).values("visit")
    needed = Q(visit__agreement__people_needed__gte=PLANNED_PEOPLE)
    rows = (
        Stop.objects.filter(needed | Q(visit__in=helped), round__plan=plan)
        .select_related("round__technician__user", "visit__site__client", "visit__agreement")
        .order_by("round__date", "start_s")
    )
    found = Crews()
    stops = list(rows)
    for stop in stops:
        found.people[str(stop.visit_id), stop.helps] = stop.round.technician
    found.lacking = [lack for stop in stops if (lack := _lacking(stop, found)) is not None]
    return found


def _lacking(stop: Stop, crews: Crews) -> Lacking | None:
    visit, row = stop.visit, stop.round
    if visit.state not in OPEN:
        return None
    at = clock(row.date, stop.start_s, ZoneInfo(row.technician.time_zone), ZoneInfo(visit.site.time_zone))
    people = visit.agreement.people_needed if visit.agreement is not None else 1
    names = {"site": visit.site.name, "at": at.short, "min": crew_min(visit), "people": people}
    key = row.technician_id, row.date
    mate = crews.mate(str(visit.pk), helps=stop.helps)
    if stop.helps and mate is None:
        return Lacking(visit, key, _("%(site)s: nobody is there to be helped at %(at)s.") % names, nobody_helps=False)
    if stop.helps:
        return None
    if mate is None:
        words = _("%(site)s: nobody comes as the second person at %(at)s, for the first %(min)d min.")
        return Lacking(visit, key, words % names, nobody_helps=True)
    if people > PLANNED_PEOPLE:
        words = _("%(site)s needs %(people)d people: two are planned, arrange the others by hand.")
        return Lacking(visit, key, words % names, nobody_helps=False)
    return None


def crews_published(row: Round, visits: Iterable[str]) -> Crews:
    """Who has the parts of some visits of a round, as last published, in one query."""
    wanted, found = set(visits), Crews()
    if not wanted:
        return found
    rounds = Round.objects.filter(plan=row.plan_id, date=row.date, published__isnull=False)
    for other in rounds.select_related("technician__user"):
        for stop in (other.published or {})["stops"]:
            if stop["visit_id"] in wanted:
                found.people[stop["visit_id"], bool(stop.get("helps"))] = other.technician
    return found


def rounds_sharing(rows: Sequence[Round]) -> list[Round]:
    """Published rounds of the same days that have the other part of one of the visits for two."""
    known = {row.pk for row in rows}
    parts = {call for row in rows for call in calls_published(row)}
    two = Q(state__in=OPEN, agreement__people_needed__gte=PLANNED_PEOPLE)
    helped = {visit_of(call) for call in parts if is_helper(call)}
    for_two = Visit.objects.filter(two, pk__in={visit_of(call) for call in parts}).values_list("pk", flat=True)
    wanted = {*helped, *map(str, for_two)}
    if not wanted:
        return []
    others = Round.objects.filter(plan__in={row.plan_id for row in rows}, date__in={row.date for row in rows})
    others = others.filter(published__isnull=False).exclude(pk__in=known)
    return [
        row
        for row in others.select_related("technician__user", "technician__depot", "plan")
        if wanted & {visit_of(call) for call in calls_published(row)}
    ]
