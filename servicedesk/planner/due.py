"""Drives that are due without any visit, a committed night away's, and what stands against them."""

from collections.abc import Iterator

from servicedesk.planner.search import Search, State
from servicedesk.planner.words import Reason


def not_driven(search: Search, state: State) -> Iterator[Reason]:
    """Why a due drive is not in the plan, or is in it although it breaks the rest between days."""
    instance = search.instance
    for who in instance.problem.technicians:
        for day in who.days:
            if not day.drive_empty:
                continue
            names = {"name": who.name or who.id, "day": day.date}
            shift = instance.shift_of.get((who.id, day.date))
            if shift is None:
                yield Reason("due_off", names)
                continue
            route = state.routes[shift.index]
            if search.evaluator.timed(shift, route.order) is None:
                yield Reason("due_far", names)
            elif not search.links.rests(state.routes, route):
                yield Reason("due_rest", names)
