"""Why a visit is on this day with this technician, what the next best would cost, what a client's wish costs."""

from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, Technician
from servicedesk.planner import plan as planned
from servicedesk.planner import problem as planner
from servicedesk.planner import why as asked
from servicedesk.planner.desk import Desk
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.queries.problem import Key, WeekInput, week_input
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.times import Week, instant
from servicedesk.routes.translate import told
from servicedesk.visits.models import Visit

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class WhyTold:
    """The answer in a sentence, and by how much the next best is dearer (or cheaper, when negative)."""

    words: str
    more: Decimal | None = None


@dataclass(frozen=True, slots=True)
class WishTold:
    """What a wish costs a visit and a year; no figures where nobody can meet it this week."""

    each: Decimal | None
    visits: int

    @property
    def year(self) -> Decimal | None:
        return None if self.each is None else self.each * self.visits


class VisitDesk:
    """A week laid open for questions about one visit."""

    def __init__(self, week: Week, plan: WeekPlan, visit: Visit) -> None:
        technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
        self.visit, self.id = visit, str(visit.pk)
        data = week_input(week, plan, technicians, wanted=visit)
        own = data.visits.get(self.id)
        self.key: Key | None = own.before if own is not None else None
        self.is_kept = self.key is not None and self.key in data.kept
        self.technicians = technicians
        self.currency = Firm.objects.values_list("currency", flat=True).first() or ""
        if own is not None:  # asked freely, even where it is locked
            data = replace(data, visits=data.visits | {self.id: replace(own, pinned=None)})
        self.problem = WeekProblem(data).problem
        self.desk = Desk(self.problem, _plan_of(data, technicians))

    @property
    def is_known(self) -> bool:
        return self.id in self.desk.search.instance.job_of

    @property
    def is_placed(self) -> bool:
        if not self.is_known:
            return False
        job = self.desk.job(self.id)
        return self.desk.state.where.get(job.index, -1) >= 0 and job.index not in self.desk.state.pairs

    def why(self) -> WhyTold:
        """Why here; for a visit on no round, what the best place would cost."""
        if self.is_kept or not self.is_known:
            return WhyTold(_("Its round is locked, under way or over, so nothing is weighed any more."))
        if self.is_placed:
            found = asked.why(self.desk, self.id)
            return WhyTold(told(found.reason, self.currency), found.more)
        if self.key is not None:
            return WhyTold(_("It stands against a rule where it is, or needs two people: it was put there by hand."))
        places = self.desk.places(self.desk.state, self.desk.job(self.id).index)
        if not places:
            return WhyTold(_("No round of the week has room for it."))
        best = places[0]
        words = _("The cheapest place now is with %(name)s on %(day)s; it would cost %(cost)s.") % {
            "name": best.shift.label,
            "day": f"{best.shift.day.date:%a} {best.shift.day.date.day} {best.shift.day.date:%b}",
            "cost": f"{self.currency} {round(Decimal(best.rise) / 1000)}".strip(),
        }
        return WhyTold(words, Decimal(best.rise) / 1000)

    def wish(self, *, only: int | None, hours: tuple[time, time] | None) -> WishTold:
        """What it costs that only this person comes, or only in these hours: for a visit and for a year."""
        agreement = self.visit.agreement
        visits = agreement.visits_sold_per_year if agreement is not None else 1
        if not self.is_placed:
            return WishTold(None, visits)
        found = asked.wish(
            self.desk,
            self.id,
            only=(str(only),) if only is not None else None,
            windows=self._windows(*hours) if hours is not None else None,
        )
        return WishTold(found.cost, visits)

    def _windows(self, opens: time, closes: time) -> tuple[planner.Window, ...]:
        """These hours of each day on which the visit may be done, on the site's clock, within its own windows."""
        zone = ZoneInfo(self.visit.site.time_zone)
        own = self.desk.job(self.id).visit.windows
        rows = []
        day = self.problem.first_day
        while day <= self.problem.last_day:
            low = datetime.combine(day, opens, tzinfo=zone)
            high = datetime.combine(day + timedelta(days=closes <= opens), closes, tzinfo=zone)
            rows += [(low, high)] if own is None else [
                (max(low, row.opens), min(high, row.closes)) for row in own
            ]  # fmt: skip
            day += timedelta(days=1)
        return tuple(planner.Window(low, high) for low, high in rows if low < high)


def _plan_of(data: WeekInput, technicians: dict[int, Technician]) -> planned.Plan:
    """The rounds as they stand, as the planner's own plan."""
    rounds = []
    for (who, day), order in data.orders.items():
        if (who, day) in data.kept or who not in technicians or not order:
            continue
        at = instant(day, 0, ZoneInfo(technicians[who].time_zone))
        stops = tuple(planned.Stop(pk, "", 0, 0, at, at, at) for pk in order)
        rounds.append(planned.Round(str(who), day, at, at, stops, (), 0, 0, 0, 0, ZERO))
    return planned.Plan(tuple(rounds), (), planned.Score(ZERO, ZERO, ZERO, 0, 0, 0, 0, 0, 0, 0, 0))
