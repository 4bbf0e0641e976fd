"""Who could come as the second person of a visit: when, and what it would cost; the best first."""

from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.crews import Key, helper_of
from servicedesk.routes.models import Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.times import Clock, Week, clock
from servicedesk.visits.models import Visit

NOWHERE = float("inf")


@dataclass(frozen=True, slots=True)
class HelperChoice:
    """One who could help: ``cost`` is what it adds to both rounds; or why they cannot."""

    technician: Technician
    helps_now: bool
    cost: float | None = None
    begins: Clock | None = None
    later_min: int = 0
    why_not: str = ""


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
        self.bare = {
            key: [call for call in order if call != self.call] for key, order in problem.data.orders.items()
        }  # fmt: skip

    @property
    def day(self) -> date:
        return self.lead[1]

    def choice(self, pk: int) -> HelperChoice:
        key, who = (pk, self.day), self.problem.data.technicians[pk]
        now = self.call in self.problem.data.orders.get(key, ())
        if key in self.problem.data.locked and not now:
            return HelperChoice(who, now, why_not=_("the round is locked"))
        forbidden = self.problem.forbids(key, self.call)
        if forbidden:
            return HelperChoice(who, now, why_not=forbidden)
        order = self.bare.get(key, [])
        rise, _place = self.problem.cheapest(key, order, self.call)
        if rise < NOWHERE:
            return self._told(who, self.start_s, rise, now=now)
        return self._later(key, order, who, now=now)

    def _later(self, key: Key, order: list[str], who: Technician, *, now: bool) -> HelperChoice:
        """Not at the hour at which the visit stands: as soon after it as both rounds allow."""
        pair = {self.lead: self.bare[self.lead], key: order}
        base = sum(row.cost for row in self.problem.together(pair).values())
        best: tuple[float, int] | None = None
        why_not = ""
        for place in range(len(order) + 1):
            timed = self.problem.together(pair | {key: [*order[:place], self.call, *order[place:]]})
            hard = [words for row in timed.values() for words in row.hard]
            why_not = why_not or next(iter(hard), "")
            start = next((stop.start_s for stop in timed[self.lead].stops if stop.visit_id == str(self.visit.pk)), None)
            rise = sum(row.cost for row in timed.values()) - base
            if not hard and start is not None and (best is None or rise < best[0]):
                best = rise, start
        if best is None:
            return HelperChoice(who, now, why_not=why_not or _("the round has no room for it"))
        return self._told(who, best[1], best[0], now=now)

    def _told(self, who: Technician, start_s: int, cost: float, *, now: bool) -> HelperChoice:
        zone = ZoneInfo(self.problem.data.technicians[self.lead[0]].time_zone)
        at = clock(self.day, start_s, zone, ZoneInfo(self.visit.site.time_zone))
        return HelperChoice(who, now, cost, at, round((start_s - self.start_s) / 60))
