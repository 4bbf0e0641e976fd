"""The seam between a week in the database and the planner: times a round, finds a place, plans the week."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import partial

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, Lodging, Technician
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem
from servicedesk.planner.solve import solve
from servicedesk.routes.crews import helper_of, is_helper, pairs_in, visit_of
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.nights import opened, with_nights
from servicedesk.routes.queries.problem import Key, WeekInput, week_input
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import Week
from servicedesk.routes.timing import Timer, best_place
from servicedesk.routes.together import together
from servicedesk.routes.translate import is_settled, lodging_id, told
from servicedesk.visits.models import Visit

__all__ = ["Key", "LeftOut", "Solved", "Timed", "WeekProblem", "week_problem"]

Progress = Callable[[float, str], bool]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A visit on no round: it cannot be placed at all, or it waits because placing it costs more."""

    visit_id: str
    cannot: bool
    reason: str
    cost: float | None


@dataclass(frozen=True, slots=True)
class Solved:
    rounds: dict[Key, Timed]
    left_out: list[LeftOut]
    iterations: int


class WeekProblem:
    """A week ready to be timed and planned."""

    def __init__(self, data: WeekInput) -> None:
        self.asked: Problem | None = None  # as it was put to the planner, with the nights away offered
        self._use(data)

    def _use(self, data: WeekInput) -> None:
        self.data = data
        self._timer = self._timer_of(data)

    def _timer_of(self, data: WeekInput) -> Timer:
        return Timer(data)

    def with_nights(self, nights: Mapping[Key, Lodging | None]) -> "WeekProblem":
        """The same week with some nights spent otherwise."""
        return WeekProblem(with_nights(self.data, nights))

    @property
    def problem(self) -> Problem:
        """The week in the planner's own words."""
        return self._timer.problem

    def timed(self, key: Key, order: Sequence[str]) -> Timed:
        """A round by itself; what two people begin together begins when it stands to begin."""
        return self._timer.timed(key, order, self._timer.stands)

    def together(self, orders: Mapping[Key, Sequence[str]]) -> dict[Key, Timed]:
        """Rounds that may share visits for two, whose people begin at one moment."""
        return together(self._timer, orders)

    def too_near(self, key: Key, visit: str, moved: Mapping[str, date] | None = None) -> list[str]:
        """Which visits of the same agreement the day would be too near to, in words."""
        words = self._timer.too_near(key, visit, moved)
        return [words] if words else []

    def best_place(self, key: Key, order: Sequence[str], call: str) -> int:
        """Where in a round a call costs least; the end when no place keeps the rules."""
        return self.cheapest(key, order, call)[1]

    def cheapest(self, key: Key, order: Sequence[str], call: str) -> tuple[float, int]:
        """What a call adds to the cost of a round at least, and where; a second person comes when the visit begins."""
        begins, own = dict(self._timer.stands), visit_of(call)
        begins.pop(own, None)
        at = self.data.visits[call].begins
        if is_helper(call) and at is not None:
            begins[own] = round(at.timestamp())
        return best_place(self._timer, key, order, call, begins)

    def forbids(self, key: Key, call: str) -> str:
        """The rule that keeps a call off a technician's day whatever the order, in words; empty where there is none."""
        shift, who = self.data.shifts.get(key), self.data.technicians[key[0]]
        if shift is None:
            words = _("%(name)s does not work on %(day)s: %(why)s.")
            return words % {"name": who, "day": date_format(key[1], "D j M"), "why": self.data.off.get(key, "")}
        return self._timer.forbids(self.data.visits[call], shift)

    def solve(self, seconds: float, seed: int, progress: Progress, *, iterations: int | None = None) -> Solved:
        """Plan what may be moved; ``progress`` is told the share done and may ask to stop with the best so far.

        Nights away that nothing holds are dropped or found anew; the week is then that with the nights taken.
        """
        stopped = False
        free = opened(self.data)
        if free is not self.data:
            self._use(free)
        self.asked = self.problem

        def tell(share: float, number: int, best: Decimal) -> None:
            nonlocal stopped
            words = _("Searching: %(n)d tries, best plan costs %(cost)d.") % {"n": number, "cost": best}
            stopped = progress(share, words)

        plan = solve(
            self.problem,
            seconds=None if iterations is not None else seconds,
            iterations=iterations,
            seed=seed,
            progress=tell,
            stop=lambda: stopped,
            explain=partial(told, currency=Firm.objects.values_list("currency", flat=True).first() or ""),
        )
        if plan.nights:
            self._use(with_nights(self.data, self._nights(plan)))
        return self._solved(plan)

    def _nights(self, plan: Plan) -> dict[Key, Lodging]:
        places = {lodging_id(row): row for row in self.data.lodgings}
        return {(int(night.technician), night.date): places[night.place] for night in plan.nights}

    def _solved(self, plan: Plan) -> Solved:
        empty = [key for key, order in self.data.orders.items() if not order]  # driven for a night that is no more
        orders: dict[Key, list[str]] = {key: [] for key in (*self.data.shifts, *empty) if key not in self.data.kept}
        moments: dict[str, int] = {}
        for row in plan.rounds:
            key = int(row.technician), row.date
            for stop in row.stops:
                if stop.visit is not None:
                    call = helper_of(stop.visit) if stop.helper else stop.visit
                    orders[key].append(call)
                    moments[call] = round(stop.begin.timestamp())
        left = [
            LeftOut(row.visit, row.state == "cannot", row.reason, None if row.cost is None else float(row.cost))
            for row in plan.unserved
            if not is_helper(row.visit) and not is_settled(self.data.visits[row.visit])
        ]
        orders, begins = self._paired(orders, moments)
        timed = {key: self._timer.timed(key, order, begins) for key, order in orders.items()}
        return Solved(timed, left, plan.iterations)

    def _paired(
        self, orders: Mapping[Key, list[str]], moments: Mapping[str, int]
    ) -> tuple[dict[Key, list[str]], dict[str, int]]:
        """The planned rounds without helpers whose visit found no place, and when the pairs among all rounds begin."""
        kept = {key: order for key, order in self.data.orders.items() if key in self.data.kept}
        there = {call for order in [*orders.values(), *kept.values()] for call in order}
        alone = {call for call in there if is_helper(call) and visit_of(call) not in there}
        own = {key: [call for call in order if call not in alone] for key, order in orders.items()}
        begins = {
            visit: moments[call]
            for visit in pairs_in({**kept, **own})
            for call in (visit, helper_of(visit))
            if call in moments
        }
        return own, begins


def week_problem(
    week: Week,
    plan: WeekPlan,
    technicians: Mapping[int, Technician],
    *,
    wanted: Visit | None = None,
    today: date | None = None,
    only: Collection[Key] | None = None,
    lodgings: Sequence[Lodging] = (),
) -> WeekProblem:
    return WeekProblem(
        week_input(week, plan, technicians, wanted=wanted, today=today, only=only, lodgings=lodgings)
    )  # fmt: skip
