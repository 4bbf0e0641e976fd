"""Why a visit is on no round: the rule that forbids it everywhere, or what the best place would cost."""

from decimal import Decimal
from typing import Literal

from servicedesk.planner.evaluate import INFINITE
from servicedesk.planner.instance import Instance, Job, Shift
from servicedesk.planner.search import Search, State
from servicedesk.planner.words import Reason, commonest

Fate = Literal["waits", "cannot"]


def why_left_out(search: Search, state: State, job: Job) -> tuple[Fate, Reason, Decimal | None]:
    """Whether the visit waits or cannot be placed, the reason, and the cost of placing it where it costs least."""
    instance = search.instance
    if not search.allowed[job.index]:
        return "cannot", cannot_reason(instance, job), None
    if job.index in search.crews.visits:
        return _why_not_two(search, state, job)
    offers = {at: search.best_insert(state, at, job.index)[0] for at in search.allowed[job.index]}
    at, rise = min(offers.items(), key=lambda row: (row[1], row[0]))
    if rise < INFINITE:
        shift, cost = instance.shifts[at], Decimal(rise) / 1000
        return (
            "waits",
            _dear(job, shift, cost),
            cost,
        )
    if all(search.evaluator.timed(instance.shifts[at], (job.index,)) is None for at in offers):
        return "cannot", _alone(search, job), None
    fits = any(_fits_without_links(search, state, at, job) for at in offers)
    return "waits", Reason("linked" if fits else "full", _names(job), job.visit.id), None


def _why_not_two(search: Search, state: State, job: Job) -> tuple[Fate, Reason, Decimal | None]:
    found = search.crews.best(state, job.index)
    if found is None:
        alone = search.crews.best(search.empty(), job.index)
        return ("cannot" if alone is None else "waits"), Reason("nobody_with", _names(job), job.visit.id), None
    shift, cost = search.instance.shifts[found.lead_at], Decimal(found.rise) / 1000
    return "waits", _dear(job, shift, cost), cost


def _dear(job: Job, shift: Shift, cost: Decimal) -> Reason:
    words = {"name": shift.label, "day": shift.day.date, "cost": round(cost), "waiting": round(job.visit.skip_cost)}
    return Reason("dear", _names(job) | words)


def cannot_reason(instance: Instance, job: Job) -> Reason:
    """The rule that most shifts of the visit's own days give for refusing it; of equals the first."""
    shifts = [shift for shift in instance.shifts if instance.is_open(job, shift)] or instance.shifts
    reasons = [reason for shift in shifts if (reason := instance.forbids(job, shift)) is not None]
    fixed = job.visit.fixed
    if fixed is not None and fixed.technician is not None and fixed.date is not None:
        off = instance.off.get((fixed.technician, fixed.date))
        if off is not None:
            return off
    own = [reason for reason in reasons if reason.rule != "fixed"]
    return commonest(own or reasons) or Reason("no_shift", _names(job), job.visit.id)


def _alone(search: Search, job: Job) -> Reason:
    """A visit that no allowed shift can do even as its only one: too far for the hours."""
    instance = search.instance
    shift = instance.shifts[search.allowed[job.index][0]]
    return Reason("too_far", _names(job) | {"name": shift.label, "day": shift.day.date}, job.visit.id)


def _fits_without_links(search: Search, state: State, at: int, job: Job) -> bool:
    shift, order = search.instance.shifts[at], state.routes[at].order
    return any(
        search.evaluator.timed(shift, (*order[:place], job.index, *order[place:])) is not None
        for place in range(len(order) + 1)
    )


def _names(job: Job) -> dict[str, object]:
    return {"visit": job.label}
