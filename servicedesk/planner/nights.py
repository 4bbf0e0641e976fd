"""Optional nights away: which may pay, and the problem in which one is taken.

Whoever stays away ends one day at the lodging and begins the next there; both days are then driven, and the lodging
is part of what the first one costs.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING

from servicedesk.planner.evaluate import INFINITE
from servicedesk.planner.instance import Instance, Job, Shift
from servicedesk.planner.problem import Day, Overnight, Problem, Technician

if TYPE_CHECKING:
    from servicedesk.planner.search import Search, State

SAVES_S = 2400  # a visit counts for a night when it is so much nearer to the lodging than to the home
MOST_TRIED = 12


def promising(instance: Instance, allowed: Mapping[int, list[int]]) -> list[Overnight]:
    """The nights with visits far from home and near the lodging, those with most driving to save first."""
    rows = [
        (sum(gain for gain, _job in gains(instance, allowed, night)), night) for night in instance.problem.overnights
    ]
    return [night for saved, night in sorted(rows, key=lambda row: -row[0]) if saved][:MOST_TRIED]


def gains(instance: Instance, allowed: Mapping[int, list[int]], night: Overnight) -> list[tuple[int, Job]]:
    """The visits that the night's two days may do and that are much nearer to the lodging than to the home.

    Each with the seconds by which it is nearer.
    """
    own = {shift.index for shift in _days(instance, night)}
    if len(own) < 2:
        return []
    home, travel = instance.technicians[night.technician].end, instance.travel
    gains = (
        (travel.drive(job.place, home)[0] - travel.drive(job.place, night.place)[0], job)
        for job in instance.jobs
        if not own.isdisjoint(allowed[job.index])
    )
    return [(gain, job) for gain, job in gains if gain >= SAVES_S]


def _days(instance: Instance, night: Overnight) -> list[Shift]:
    """The working days before and after the night."""
    days = (night.date, night.date + timedelta(days=1))
    return [shift for day in days if (shift := instance.shift_of.get((night.technician, day))) is not None]


def opened(search: "Search", state: "State", night: Overnight) -> "State":
    """The state with the two days beside the night given to what lies near its lodging, the rest put in anew."""
    days = [shift.index for shift in _days(search.instance, night)]
    far = [job for _gain, job in sorted(gains(search.instance, search.allowed, night), key=lambda row: -row[0])]
    loose = [job.index for job in far if job.index not in search.pinned and job.index not in search.crews.visits]
    for at in {*days, *(state.where[job] for job in loose if job in state.where)}:
        gone = state.routes[at].order if at in days else loose
        search.remove(state, at, [job for job in gone if job not in search.pinned])
    search.crews.tidy(state)
    for job in loose:
        rise, place, at = min((*search.best_insert(state, at, job), at) for at in days if at in search.allowed[job])
        if rise < INFINITE:
            search.put_if_legal(state, at, job, place)
    search.put_back(state, search.waiting(state))
    return state


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
