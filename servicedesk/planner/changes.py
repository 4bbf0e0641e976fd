"""What a new plan changes against an old one, and the old plan as what the new one had better keep."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from servicedesk.planner.plan import Plan, Stop
from servicedesk.planner.problem import Before, Problem, Visit
from servicedesk.planner.words import Reason

Kind = Literal["moved", "swapped", "retimed", "dropped", "placed", "promise_broken"]
NOTICED = timedelta(minutes=15)  # a visit that begins less than this otherwise is not told as changed


@dataclass(frozen=True, slots=True)
class Change:
    """One visit's change; ``other`` is the one it changes places with."""

    visit: str
    kind: Kind
    reason: Reason
    other: str | None = None


Key = tuple[str, date]


@dataclass(frozen=True, slots=True)
class _Where:
    technician: str
    date: "date"
    position: int
    stop: Stop

    @property
    def key(self) -> Key:
        return self.technician, self.date


def as_before(problem: Problem, plan: Plan, moved_cost: Decimal) -> Problem:
    """The problem with the plan as the last one: whatever is moved from its technician or date costs."""
    found, helpers = _places(plan), _places(plan, helper=True)

    def settled(visit: Visit) -> Visit:
        at, helper = found.get(visit.id), helpers.get(visit.id)
        if at is None:
            return replace(visit, before=None)
        before = Before(at.technician, at.date, at.position, moved_cost)
        if helper is not None:
            before = replace(
                before, begins=at.stop.begin, helper=helper.technician, helper_position=helper.position
            )  # fmt: skip
        return replace(visit, before=before)

    return replace(problem, visits=tuple(settled(visit) for visit in problem.visits))


def changes(problem: Problem, old: Plan, new: Plan) -> tuple[Change, ...]:
    """What is otherwise in the new plan, visit by visit in the order of the problem."""
    was, now = _places(old), _places(new)
    names = {who.id: who.name or who.id for who in problem.technicians}
    labels = {visit.id: visit.name or visit.id for visit in problem.visits}
    swaps = _swaps(was, now)
    out: list[Change] = []
    for visit in problem.visits:
        before, after = was.get(visit.id), now.get(visit.id)
        words: dict[str, object] = {"visit": labels[visit.id]}
        if before is not None:
            words |= {"old_name": names[before.technician], "old_day": before.date, "old_at": before.stop.begin}
        if after is not None:
            words |= {"name": names[after.technician], "day": after.date, "at": after.stop.begin}
        kind = _kind(before, after)
        if kind == "moved" and visit.id in swaps:
            other = swaps[visit.id]
            out.append(
                Change(visit.id, "swapped", Reason("swapped", words | {"other": labels[other]}, visit.id), other)
            )
        elif kind is not None:
            out.append(Change(visit.id, kind, Reason(kind, words, visit.id)))
        if after is not None and _breaks(visit, after) and not (before is not None and _breaks(visit, before)):
            promised = visit.promise.at if visit.promise is not None else after.stop.begin
            told = words | {"promised": promised.astimezone(after.stop.begin.tzinfo)}
            out.append(Change(visit.id, "promise_broken", Reason("promise_broken", told, visit.id)))
    return tuple(out)


def _kind(before: _Where | None, after: _Where | None) -> Kind | None:
    if before is None:
        return None if after is None else "placed"
    if after is None:
        return "dropped"
    if before.key != after.key:
        return "moved"
    apart = abs(after.stop.begin.timestamp() - before.stop.begin.timestamp())
    return "retimed" if apart >= NOTICED.total_seconds() else None


def _swaps(was: dict[str, _Where], now: dict[str, _Where]) -> dict[str, str]:
    """Visits that changed places with one another, two by two."""
    moved: dict[tuple[Key, Key], list[str]] = defaultdict(list)
    for visit, before in was.items():
        if visit in now and now[visit].key != before.key:
            moved[before.key, now[visit].key].append(visit)
    return {
        one: other
        for (old, new), visits in moved.items()
        for one, other in zip(visits, moved.get((new, old), ()), strict=False)
    }


def _breaks(visit: Visit, where: _Where) -> bool:
    promise = visit.promise
    return promise is not None and abs(where.stop.begin.timestamp() - promise.at.timestamp()) > promise.tolerance_s


def _places(plan: Plan, *, helper: bool = False) -> dict[str, _Where]:
    """Where each visit is done; with ``helper``, where the second person's part of each for two is."""
    return {
        stop.visit: _Where(row.technician, row.date, number, stop)
        for row in plan.rounds
        for number, stop in enumerate(row.stops)
        if stop.visit is not None and stop.helper is helper
    }
