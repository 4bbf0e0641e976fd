"""What to take out of a plan before it is put back better."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from servicedesk.planner.search import Search, State

FEWEST, MOST = 2, 14  # visits removed at a time
LONGEST_STRING = 4
STRINGS, SHIFTS = 0.6, 0.25  # shares of the ways to remove; the rest is at random


def ruin(search: "Search", state: "State") -> None:
    """Take out strings of stops near one visit, whole rounds, or visits at random."""
    loose = [job for job in state.where if job not in search.pinned and job not in state.pairs]
    if not loose:
        return
    dice = search.random.random()
    if dice < STRINGS:
        gone = _string(search, state, search.random.choice(loose))
    elif dice < STRINGS + SHIFTS:
        used = sorted({state.where[job] for job in loose})
        chosen = set(search.random.sample(used, min(len(used), search.random.randint(1, 2))))
        gone = {job for job in loose if state.where[job] in chosen}
    else:
        gone = set(search.random.sample(loose, min(len(loose), search.random.randint(FEWEST, MOST))))
    for at in sorted({state.where[job] for job in gone}):
        search.remove(state, at, gone)
    if state.pairs:
        search.crews.tidy(state)


def _string(search: "Search", state: "State", centre: int) -> set[int]:
    """Short runs of stops from the rounds near one visit."""
    wanted = search.random.randint(FEWEST, MOST)
    gone: set[int] = set()
    seen: set[int] = set()
    for job in (centre, *search.near(centre)):
        if len(gone) >= wanted:
            break
        job = state.pairs[job][0] if job in state.pairs else job
        at = state.where.get(job)
        if at is None or at in seen:
            continue
        seen.add(at)
        order = state.routes[at].order
        length = min(len(order), search.random.randint(1, LONGEST_STRING), wanted - len(gone))
        place = order.index(job)
        first = search.random.randint(max(0, place - length + 1), min(place, len(order) - length))
        gone.update(other for other in order[first : first + length] if other not in search.pinned)
    return gone
