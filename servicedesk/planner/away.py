"""Trying optional nights away, each in a small problem of the people whom it concerns.

Making a search ready takes long where there are many visits, and a night changes little: whoever stays away, and
those who have the visits near the lodging now. Only at the end is the whole made anew, with all nights that paid.
"""

from collections import Counter
from dataclasses import dataclass, replace

from servicedesk.planner.budget import Budget
from servicedesk.planner.nights import gains, opened, with_night, with_nights
from servicedesk.planner.orders import Orders, orders_of, state_of
from servicedesk.planner.parts import part_of
from servicedesk.planner.problem import Overnight, Problem
from servicedesk.planner.search import WARM, Search, State, new_search

MOST_OTHERS = 4  # people from whom visits near the lodging may be taken


@dataclass(frozen=True, slots=True)
class Found:
    """What was found: a state of a search, the iterations made, and the nights away that its problem has taken."""

    search: Search
    state: State
    made: int
    nights: tuple[Overnight, ...] = ()


@dataclass(slots=True)
class _Plan:
    """The rounds so far by name, and the nights taken."""

    orders: Orders
    nights: list[Overnight]

    def holders(self) -> dict[str, set[str]]:
        """Who has each visit, or a part of it."""
        found: dict[str, set[str]] = {}
        for technician, _day, placed in self.orders:
            for visit, _begins, _helper in placed:
                found.setdefault(visit, set()).add(technician)
        return found

    def of(self, people: set[str]) -> Orders:
        return [row for row in self.orders if row[0] in people]


def nights_tried(found: Found, nights: list[Overnight], budget: Budget, seed: int) -> Found:
    """The plan with each night that makes it cheaper."""
    plan = _Plan(orders_of(found.search, found.state), [])
    made = found.made
    for number, night in enumerate(nights):
        piece = budget.piece(number / len(nights), (number + 1) / len(nights), before=made - found.made)
        if budget.stopped or piece.seconds == 0:
            break
        wanted = with_night(found.search.instance.problem, plan.nights, night)
        if wanted is None:
            continue
        made += _tried(found.search, plan, night, wanted, piece, seed)
        budget.stopped = piece.stopped
    return _whole(replace(found, made=made), plan, seed) if plan.nights else replace(found, made=made)


def _tried(
    whole: Search, plan: _Plan, night: Overnight, wanted: list[Overnight], budget: Budget, seed: int
) -> int:  # fmt: skip
    """Take the night into the plan if it pays, so that its nights are those ``wanted``; the iterations made."""
    people, visits = _concerned(whole, plan, night)
    problem = whole.instance.problem
    home = new_search(part_of(with_nights(problem, plan.nights), people, visits), seed)
    away = new_search(part_of(with_nights(problem, wanted), people, visits), seed)
    own = plan.of(people)
    state, made = away.run(budget, opened(away, state_of(away, own), night), heat=WARM)
    if state.cost < state_of(home, own).cost:
        plan.orders = [row for row in plan.orders if row[0] not in people] + orders_of(away, state)
        plan.nights = wanted
    return made


def _concerned(whole: Search, plan: _Plan, night: Overnight) -> tuple[set[str], set[str]]:
    """The people and visits of the small problem: whole rounds, and no pair of people torn apart."""
    holders = plan.holders()
    near = [job.visit.id for _gain, job in gains(whole.instance, whole.allowed, night)]
    counts = Counter(who for visit in near for who in sorted(holders.get(visit, ())))
    people = {night.technician, *(who for who, _count in counts.most_common(MOST_OTHERS))}
    while more := {who for pair in holders.values() if len(pair) > 1 and pair & people for who in pair} - people:
        people |= more
    visits = {visit for visit, who in holders.items() if who & people}
    return people, visits | {visit for visit in near if visit not in holders}


def _whole(found: Found, plan: _Plan, seed: int) -> Found:
    """All rounds together with the nights taken, unless rules that reach further make that the dearer."""
    problem: Problem = with_nights(found.search.instance.problem, plan.nights)
    search = new_search(problem, seed)
    state = state_of(search, plan.orders)
    search.put_back(state, search.waiting(state))
    return Found(search, state, found.made, tuple(plan.nights)) if state.cost < found.state.cost else found
