"""Why a visit is where it is: what the next best technician and day would cost, and what a client's wish costs."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from servicedesk.planner.desk import Desk
from servicedesk.planner.problem import Visit, Window
from servicedesk.planner.search import State
from servicedesk.planner.words import Reason

Date = date


@dataclass(frozen=True, slots=True)
class Why:
    """A placed visit and its next best place; ``more``: what that would cost in addition. None where there is none."""

    visit: str
    technician: str
    date: "date"
    reason: Reason
    next_technician: str | None = None
    next_date: Date | None = None
    more: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """What a wish costs at one visit, which the caller sums over a year; None: this plan has no place for it."""

    visit: str
    without: Decimal | None
    with_wish: Decimal | None

    @property
    def cost(self) -> Decimal | None:
        return None if self.with_wish is None or self.without is None else self.with_wish - self.without


def why_all(desk: Desk) -> list[Why]:
    """The reasons for every placed visit that one person does."""
    return [why(desk, job.visit.id) for job in desk.search.instance.jobs if _is_single(desk, job.index)]


def _is_single(desk: Desk, job: int) -> bool:
    return job in desk.state.where and job not in desk.state.pairs


def why(desk: Desk, visit: str) -> Why:
    """Why this technician and day. The other visits stay as they are, in whatever order is cheapest for this one."""
    job = desk.job(visit)
    here = desk.search.instance.shifts[desk.state.where[job.index]]
    bare = desk.without([job.index])
    paid = desk.state.cost - bare.cost + desk.search.skip[job.index]
    others = [place for place in desk.places(bare, job.index) if place.shift.index != here.index]
    words: dict[str, object] = {"visit": job.label, "name": here.label, "day": here.day.date}
    if not others:
        return Why(visit, here.who.id, here.day.date, Reason("why_only", words, visit))
    best = others[0]
    more = Decimal(best.rise - paid) / 1000
    words |= {"next_name": best.shift.label, "next_day": best.shift.day.date, "cost": round(abs(more))}
    reason = Reason("why_here" if more >= 0 else "why_although", words, visit)
    return Why(visit, here.who.id, here.day.date, reason, best.shift.who.id, best.shift.day.date, more)


def wish(
    desk: Desk, visit: str, *, only: tuple[str, ...] | None = None, windows: tuple[Window, ...] | None = None
) -> Wish:
    """What it costs that only these people come, or only in these hours: put in with the wish and without."""
    job = desk.job(visit)
    bare = desk.without([job.index])
    free = _least(desk, bare.copy(), replace(job.visit, only=(), before=None))
    bound = replace(
        job.visit,
        only=only if only is not None else (),
        windows=windows if windows is not None else job.visit.windows,
        before=None,
    )
    return Wish(visit, free, _least(desk, bare, bound))


def _least(desk: Desk, state: State, visit: Visit) -> Decimal | None:
    places = desk.places(state, desk.invite(visit).index)
    return Decimal(places[0].rise) / 1000 if places else None
