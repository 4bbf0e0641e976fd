"""Optional nights away: which may pay, and the problem in which one is taken.

Whoever stays away ends one day at the lodging and begins the next there; both days are then driven, and the lodging
is part of what the first one costs.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta

from servicedesk.planner.instance import Instance
from servicedesk.planner.problem import Day, Overnight, Problem, Technician

SAVES_S = 2400  # a visit counts for a night when it is so much nearer to the lodging than to the home
MOST_TRIED = 12


def promising(instance: Instance, allowed: dict[int, list[int]]) -> list[Overnight]:
    """The nights with visits far from home and near the lodging, those with most driving to save first."""
    return [night for saved, night in sorted(_saved(instance, allowed), key=lambda row: -row[0]) if saved][:MOST_TRIED]


def _saved(instance: Instance, allowed: dict[int, list[int]]) -> Iterable[tuple[int, Overnight]]:
    for night in instance.problem.overnights:
        shifts = [
            instance.shift_of.get((night.technician, day)) for day in (night.date, night.date + timedelta(days=1))
        ]
        if None in shifts:
            continue
        own = {shift.index for shift in shifts if shift is not None}
        home = instance.technicians[night.technician].end
        gains = (
            instance.travel.drive(job.place, home)[0] - instance.travel.drive(job.place, night.place)[0]
            for job in instance.jobs
            if not own.isdisjoint(allowed[job.index])
        )
        yield sum(gain for gain in gains if gain >= SAVES_S), night


def with_night(problem: Problem, taken: Iterable[Overnight], night: Overnight) -> list[Overnight] | None:
    """The nights with one more, in place of one elsewhere on that date; None where nobody may be away so often."""
    rest = [other for other in taken if (other.technician, other.date) != (night.technician, night.date)]
    who = next(row for row in problem.technicians if row.id == night.technician)
    own = sum(other.technician == night.technician for other in rest)
    return [*rest, night] if who.max_nights is None or own < who.max_nights else None


def with_nights(problem: Problem, nights: Iterable[Overnight]) -> Problem:
    """The problem with some of its nights taken, which are no longer optional."""
    taken = list(nights)
    people = tuple(
        _person(who, [night for night in taken if night.technician == who.id]) for who in problem.technicians
    )
    keys = {(night.technician, night.date) for night in taken}
    rest = tuple(night for night in problem.overnights if (night.technician, night.date) not in keys)
    return replace(problem, technicians=people, overnights=rest)


def _person(who: Technician, nights: list[Overnight]) -> Technician:
    return replace(who, days=tuple(_day(day, nights) for day in who.days)) if nights else who


def _day(day: Day, nights: list[Overnight]) -> Day:
    for night in nights:
        if day.date == night.date:
            day = replace(day, end=night.place, fixed_cost=day.fixed_cost + night.cost, drive_empty=True)
        if day.date == night.date + timedelta(days=1):
            day = replace(day, start=night.place, drive_empty=True)
    return day
