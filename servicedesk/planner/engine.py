"""One problem, or one part of it, by the engine that suits it."""

from servicedesk.planner.budget import Budget
from servicedesk.planner.search import WARM, Search, State
from servicedesk.planner.tours import has_long_rounds, improved

OWN_SHARE, TOURS_SHARE = 0.15, 0.9  # of the budget: when the second engine begins and ends where tours are long


def search_at_once(search: Search, budget: Budget, seed: int) -> tuple[State, int]:
    """By our own search; where the days turn out to be long tours, by the second engine from there and back."""
    start = search.start()
    if not has_long_rounds(start) or search.crews.visits:
        return search.run(budget, start)
    first = budget.piece(0.0, OWN_SHARE)
    state, made = search.run(first, start)
    middle = budget.piece(OWN_SHARE, TOURS_SHARE, before=made)
    middle.stopped = first.stopped
    if not middle.stopped:
        state, more = improved(search, state, middle, seed)
        made += more
    last = budget.piece(TOURS_SHARE, 1.0, before=made)
    last.stopped = middle.stopped
    state, more = search.run(last, state, heat=WARM)
    budget.stopped = last.stopped
    return state, made + more
