"""One problem, or one part of it, by the engine that suits it, with the nights away that pay."""

from dataclasses import replace

from servicedesk.planner.away import Found, nights_tried
from servicedesk.planner.budget import Budget
from servicedesk.planner.nights import promising
from servicedesk.planner.search import WARM, Search, State
from servicedesk.planner.tours import has_long_rounds, improved

HOME_SHARE, NIGHTS_SHARE = 0.6, 0.9  # of the budget: when nights away begin to be tried, and when that ends
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


def search_with_nights(search: Search, budget: Budget, seed: int) -> Found:
    """First with everybody at home each night; then the optional nights are tried, those that promise most first."""
    nights = promising(search.instance, search.allowed)
    if not nights:
        return Found(search, *search_at_once(search, budget, seed))
    first = budget.piece(0.0, HOME_SHARE)
    state, made = search_at_once(search, first, seed)
    second = budget.piece(HOME_SHARE, NIGHTS_SHARE, before=made)
    second.stopped = first.stopped
    found = nights_tried(Found(search, state, made), nights, second, seed)
    last = budget.piece(NIGHTS_SHARE, 1.0, before=found.made)
    last.stopped = second.stopped
    state, more = found.search.run(last, found.state, heat=WARM)
    budget.stopped = last.stopped
    return replace(found, state=state, made=found.made + more)
