"""A small problem for the tests of the planner: one store, people and places along one road."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from servicedesk.planner.evaluate import Evaluator, Timed
from servicedesk.planner.instance import Instance
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import (
    Break,
    Day,
    Depot,
    Place,
    Problem,
    Table,
    Technician,
    Visit,
    Window,
)

MONDAY, TUESDAY = date(2026, 12, 7), date(2026, 12, 8)
MINUTE = 60


def at(clock: str, day: date = MONDAY) -> datetime:
    """A moment on the clock of the places, which is UTC here; "25:30" is half past one of the next date."""
    hour, minute = map(int, clock.split(":"))
    return datetime(day.year, day.month, day.day, tzinfo=UTC) + timedelta(hours=hour, minutes=minute)


def a_day(day: date = MONDAY, opens: str = "08:00", closes: str = "16:00", **over: Any) -> Day:
    return Day(date=day, opens=at(opens, day), closes=at(closes, day), **over)


def a_break(minutes: int = 30, earliest: str = "11:00", latest: str = "13:00", **over: Any) -> Break:
    return Break(minutes * MINUTE, at(earliest), at(latest), **over)


def a_technician(name: str = "t1", **over: Any) -> Technician:
    fields: dict[str, Any] = {
        "id": name,
        "start": "store",
        "end": "store",
        "zone": "UTC",
        "days": (a_day(),),
        "depot": "depot",
        "hourly_cost": Decimal(36),
        "km_cost": Decimal("0.5"),
    }
    return Technician(**(fields | over))


def a_visit(name: str, place: str = "", minutes: int = 60, **over: Any) -> Visit:
    fields: dict[str, Any] = {"skip_cost": Decimal(500), "place": place or name, "duration_s": minutes * MINUTE}
    return Visit(id=name, **(fields | over))


def a_window(opens: str, closes: str, day: date = MONDAY) -> Window:
    return Window(at(opens, day), at(closes, day))


def a_problem(*visits: Visit, people: tuple[Technician, ...] = (), **over: Any) -> Problem:
    """Places a, b, c, d lie 10, 20, 30, 40 min along a road from the store; a minute of drive is a kilometre."""
    order = ("store", "a", "b", "c", "d")
    minutes = [[abs(one - other) * 10 for other in range(5)] for one in range(5)]
    fields: dict[str, Any] = {
        "first_day": MONDAY,
        "last_day": date(2026, 12, 13),
        "currency": "USD",
        "places": tuple(Place(name, 36.0 + number / 100, -86.8, "UTC") for number, name in enumerate(order)),
        "technicians": people or (a_technician(),),
        "visits": visits,
        "depots": (Depot("depot", "store", 15 * MINUTE),),
        "table": Table(
            order,
            tuple(tuple(value * MINUTE for value in row) for row in minutes),
            tuple(tuple(value * 1000 for value in row) for row in minutes),
        ),
    }
    return Problem(**(fields | over))


def timed(problem: Problem, *order: str, who: str = "t1", day: date = MONDAY) -> Timed | None:
    """The visits done in this order on a technician's day."""
    instance = Instance(problem)
    shift = instance.shift_of[who, day]
    jobs = tuple(instance.job_of[visit].index for visit in order)
    if any(instance.forbids(instance.jobs[job], shift) for job in jobs):
        return None
    return Evaluator(instance).timed(shift, jobs)


def placed(plan: Plan) -> dict[str, tuple[str, date]]:
    """Technician and date of each visit on a round."""
    return {
        stop.visit: (row.technician, row.date) for row in plan.rounds for stop in row.stops if stop.visit is not None
    }


def with_visit(problem: Problem, name: str, **over: Any) -> Problem:
    return replace(problem, visits=tuple(replace(row, **over) if row.id == name else row for row in problem.visits))
