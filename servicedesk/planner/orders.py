"""What a search found, as names: which visits in which order on which technician's day. Goes between processes."""

from datetime import date

from servicedesk.planner.search import Search, State

Placed = tuple[str, int | None, bool]  # visit; for one of two people the moment of beginning, and whether the helper
Orders = list[tuple[str, str, list[Placed]]]  # technician, ISO date, visits in order


def orders_of(search: Search, state: State) -> Orders:
    """The rounds of a state by name."""
    rows, shifts = search.instance.rows, search.instance.shifts
    return [
        (
            shifts[at].who.id,
            shifts[at].day.date.isoformat(),
            [(rows[job].visit.id, rows[job].begins, rows[job].helper) for job in route.order],
        )
        for at, route in enumerate(state.routes)
        if route.order
    ]


def state_of(search: Search, orders: Orders) -> State:
    """The state that has these rounds; a visit that no longer fits its round is left out.

    Days with a due drive come first: until it is known when they begin, the day before seems to have too little rest.
    """
    state = search.empty()
    shifts = [(search.instance.shift_of.get((who, date.fromisoformat(day))), placed) for who, day, placed in orders]
    rounds = [(shift, placed) for shift, placed in shifts if shift is not None]
    for shift, placed in sorted(rounds, key=lambda row: not row[0].day.drive_empty):
        jobs = [
            job for job in (_job(search, *row) for row in placed) if job >= 0 and shift.index in search.allowed[job]
        ]
        if not search.put_round(state, shift.index, tuple(jobs)):
            for job in jobs:
                search.put_if_legal(state, shift.index, job, len(state.routes[shift.index].order))
    search.crews.pair_up(state)
    return state


def _job(search: Search, visit: str, begins: int | None, helper: bool) -> int:
    found = search.instance.job_of.get(visit)
    if found is None:
        return -1
    return found.index if begins is None else search.crews.pair(found.index, begins)[helper]
