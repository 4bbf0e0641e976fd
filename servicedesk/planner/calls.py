"""Which single telephone call would save most: a client who takes another hour than the one told."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from servicedesk.planner.desk import Desk
from servicedesk.planner.instance import moment
from servicedesk.planner.problem import Visit, Window
from servicedesk.planner.words import Reason

LEEWAY = timedelta(hours=1)  # how much a client may give, before the first and after the last hour of a window


@dataclass(frozen=True, slots=True)
class Call:
    """What it would save if the visit's hour were open, and where it would then be done."""

    visit: str
    saving: Decimal
    technician: str
    date: date
    begin: datetime
    reason: Reason


def best_call(desk: Desk, visits: Collection[str] | None = None) -> Call | None:
    """The call that saves most, None where none saves anything. ``visits``: those still open, else all."""
    return next(iter(calls(desk, visits)), None)


def calls(desk: Desk, visits: Collection[str] | None = None) -> list[Call]:
    """The calls that would save something, the best first.

    The visit alone is put in anew without its promise and its fixed hour and with an hour more on both sides of its
    windows, and then whatever waits is put in where there is room.
    """
    rows = [_call(desk, visit) for visit in desk.problem.visits if _is_open(desk, visit, visits)]
    return sorted((row for row in rows if row is not None), key=lambda row: (-row.saving, row.visit))


def _is_open(desk: Desk, visit: Visit, wanted: Collection[str] | None) -> bool:
    if visit.id not in desk.search.instance.job_of or (wanted is not None and visit.id not in wanted):
        return False
    return visit.crew is None and (visit.promise is not None or visit.windows is not None or _has_hour(visit))


def _has_hour(visit: Visit) -> bool:
    return visit.fixed is not None and visit.fixed.begins is not None


def relaxed(visit: Visit) -> Visit:
    """The visit if its client took another hour."""
    windows = visit.windows and tuple(Window(row.opens - LEEWAY, row.closes + LEEWAY) for row in visit.windows)
    fixed = replace(visit.fixed, begins=None) if visit.fixed is not None else None
    return replace(visit, promise=None, windows=windows, fixed=fixed)


def _call(desk: Desk, visit: Visit) -> Call | None:
    own = desk.job(visit.id)
    bare = desk.without([own.index])
    job = desk.invite(relaxed(visit))
    search, skipped = desk.search, bare.cost - desk.search.skip[own.index]
    place = next(iter(desk.places(bare, job.index)), None)
    trial = bare.copy()
    trial.cost = skipped + search.skip[job.index]
    if place is None or not search.put_if_legal(trial, place.shift.index, job.index, place.at):
        return None
    waiting = [other for other in search.waiting(trial) if other != own.index]
    search.put_back(trial, waiting)
    saving, stop = desk.state.cost - trial.cost, desk.stop(trial, place.shift, job.index)
    if saving <= 0 or stop is None:
        return None
    begin = moment(stop.begin, own.zone)
    words = {"visit": own.label, "name": place.shift.label, "day": place.shift.day.date, "at": begin}
    cost = Decimal(saving) / 1000
    reason = Reason("best_call", words | {"cost": round(cost)}, visit.id)
    return Call(visit.id, cost, place.shift.who.id, place.shift.day.date, begin, reason)
