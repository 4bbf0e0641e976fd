"""Who could come as the second person of a visit: when, and what it would cost; the best first."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.people.models import Technician
from servicedesk.routes.crews import Key, helper_of
from servicedesk.routes.models import Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.second import best_way, concerned
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import Clock, Week, clock
from servicedesk.visits.models import Visit


@dataclass(frozen=True, slots=True)
class HelperChoice:
    """One who could help: ``cost`` is what it adds to all rounds it moves, told in ``moves``; or why they cannot."""

    technician: Technician
    helps_now: bool
    cost: float | None = None
    begins: Clock | None = None
    later_min: int = 0
    why_not: str = ""
    moves: list[str] = field(default_factory=list)


def helper_choices(week: Week, plan: WeekPlan, visit: Visit, lead: Stop) -> list[HelperChoice]:
    """Everybody but the one who leads; those who can come first, the cheapest of them first."""
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    day, leader = lead.round.date, lead.round.technician_id
    problem = week_problem(week, plan, technicians, only={(pk, day) for pk in technicians})
    call = helper_of(str(visit.pk))
    if call not in problem.data.visits:
        return []
    asked = _Asked(problem, visit, (leader, day), lead.start_s)
    found = [asked.choice(pk) for pk in technicians if pk != leader]
    return sorted(found, key=lambda row: (row.cost is None, row.cost or 0.0, str(row.technician)))


class _Asked:
    """A visit that wants a second person, asked of one technician after another."""

    def __init__(self, problem: WeekProblem, visit: Visit, lead: Key, start_s: int) -> None:
        self.problem, self.visit, self.lead, self.start_s = problem, visit, lead, start_s
        self.call = helper_of(str(visit.pk))
        self.stands = problem.data.orders
        self.bare = {key: [call for call in order if call != self.call] for key, order in self.stands.items()}

    def choice(self, pk: int) -> HelperChoice:
        """As it would be if this one were chosen."""
        key, who = (pk, self.lead[1]), self.problem.data.technicians[pk]
        if self.call in self.stands.get(key, ()):
            timed = self.problem.together(concerned(self.stands, {key}))
            return self._told(who, timed, now=True)
        if key in self.problem.data.locked:
            return HelperChoice(who, helps_now=False, why_not=_("the round is locked"))
        forbidden = self.problem.forbids(key, self.call)
        if forbidden:
            return HelperChoice(who, helps_now=False, why_not=forbidden)
        way = best_way(self.problem, self.bare, key, self.call)
        if way.broken:
            return HelperChoice(who, helps_now=False, why_not=way.broken[0])
        return self._told(who, way.timed, now=False)

    def _told(self, who: Technician, timed: Mapping[Key, Timed], *, now: bool) -> HelperChoice:
        own = str(self.visit.pk)
        start_s = next(stop.start_s for stop in timed[self.lead].stops if stop.call == own)
        before = self.problem.together(concerned(self.bare, set(timed)))
        cost = sum(row.cost for row in timed.values()) - sum(before[key].cost for key in timed)
        zone = ZoneInfo(self.problem.data.technicians[self.lead[0]].time_zone)
        at = clock(self.lead[1], start_s, zone, ZoneInfo(self.visit.site.time_zone))
        later_min = round((start_s - self.start_s) / 60)
        return HelperChoice(who, now, cost, at, later_min, moves=[] if now else self._moves(timed))

    def _moves(self, timed: Mapping[Key, Timed]) -> list[str]:
        """Which other visits begin later than they stand to, and whose overtime changes."""
        sentences = []
        for key, row in timed.items():
            old = self.problem.timed(key, self.stands.get(key, []))
            was = {stop.call: stop.start_s for stop in old.stops}
            own = {self.call, str(self.visit.pk)}
            later = [stop.start_s - was[stop.call] for stop in row.stops if stop.call in was and stop.call not in own]
            later = [seconds for seconds in later if seconds > 0]
            names = {"name": self.problem.data.technicians[key[0]]}
            if later:
                words = ngettext(
                    "%(name)s: one other visit begins %(min)d min later",
                    "%(name)s: %(n)d other visits begin up to %(min)d min later",
                    len(later),
                )
                sentences.append(words % (names | {"n": len(later), "min": round(max(later) / 60)}))
            spans = round(old.overtime_s / 60), round(row.overtime_s / 60)
            if spans[0] != spans[1]:
                words = _("overtime of %(name)s %(was)d → %(now)d min")
                sentences.append(words % (names | {"was": spans[0], "now": spans[1]}))
        return sentences
