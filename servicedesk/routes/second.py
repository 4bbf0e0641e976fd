"""Where the second person's part of a visit goes on a round: reckoned alike for who is offered and who is chosen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from servicedesk.routes.crews import Key, linked, pairs_in
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.refusals import broken_by
from servicedesk.routes.timed import Timed

Orders = Mapping[Key, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Way:
    """The part at one place of a round: the rounds it concerns as they would be driven, and what that breaks."""

    place: int
    timed: Mapping[Key, Timed]
    broken: list[str]

    @property
    def cost(self) -> float:
        return sum(row.cost for row in self.timed.values())


def concerned(orders: Orders, rounds: set[Key]) -> dict[Key, Sequence[str]]:
    """These rounds and all that share a visit with them, which can only be timed with them."""
    return {key: orders.get(key, []) for key in linked(rounds, pairs_in(orders).values())}


def way_at(problem: WeekProblem, bare: Orders, target: Key, call: str, place: int) -> Way:
    """``bare``: the rounds without the part; ``place`` counts from 0."""
    order = [*bare.get(target, [])]
    order.insert(place, call)
    orders = concerned({**bare, target: order}, {target})
    timed = problem.together(orders)
    return Way(place, timed, broken_by(problem, orders, timed, {target}))


def best_way(problem: WeekProblem, bare: Orders, target: Key, call: str) -> Way:
    """The cheapest way that breaks nothing, both beginning together; the first way where each breaks something."""
    ways = [way_at(problem, bare, target, call, place) for place in range(len(bare.get(target, [])) + 1)]
    return min((way for way in ways if not way.broken), key=lambda way: way.cost, default=ways[0])
