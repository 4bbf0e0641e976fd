"""What a search found, as names: which visits in which order on which technician's day. Goes between processes."""

from datetime import date

from servicedesk.planner.search import Search, State

Orders = list[tuple[str, str, list[str]]]  # technician, ISO date, visits in order


def orders_of(search: Search, state: State) -> Orders:
    """The rounds of a state by name."""
    jobs, shifts = search.instance.jobs, search.instance.shifts
    return [
        (shifts[at].who.id, shifts[at].day.date.isoformat(), [jobs[job].visit.id for job in route.order])
        for at, route in enumerate(state.routes)
        if route.order
    ]


def state_of(search: Search, orders: Orders) -> State:
    """The state that has these rounds; a visit that no longer fits its round is left out."""
    state = search.empty()
    instance = search.instance
    for technician, day, visits in orders:
        shift = instance.shift_of.get((technician, date.fromisoformat(day)))
        jobs = [instance.job_of[visit].index for visit in visits if visit in instance.job_of]
        if shift is None:
            continue
        jobs = [job for job in jobs if shift.index in search.allowed[job]]
        if not search.put_round(state, shift.index, tuple(jobs)):
            for job in jobs:
                search.put_if_legal(state, shift.index, job, len(state.routes[shift.index].order))
    return state
