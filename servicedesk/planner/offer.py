"""Who could be there when: a prospective visit put into every round, and what each choice would break.

For an urgent call (days of today and tomorrow) and for a quotation (a whole week, best and next best).
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from servicedesk.planner.desk import Desk, Place
from servicedesk.planner.evaluate import Timed
from servicedesk.planner.instance import Shift, moment
from servicedesk.planner.problem import Visit
from servicedesk.planner.search import State

NOTICED_S = 900  # a visit that begins less than this later or earlier is not counted as shifted


@dataclass(frozen=True, slots=True)
class Moved:
    """A visit that has to make room, and where it goes; None: it goes back to the tray."""

    visit: str
    technician: str | None = None
    date: "date | None" = None


@dataclass(frozen=True, slots=True)
class Offer:
    """One way to take a visit on. Costs, metres and overtime are what is added to the plan."""

    technician: str
    date: date
    arrival: datetime
    begin: datetime
    extra_cost: Decimal
    extra_m: int
    overtime_s: int
    promises_broken: tuple[str, ...]
    retimed: tuple[str, ...]
    moved: tuple[Moved, ...]


def offers(desk: Desk, visit: Visit, *, make_room: bool = True) -> list[Offer]:
    """Every round that can take the visit, the cheapest first.

    ``make_room``: where a round has no room, one of its visits may go elsewhere.
    """
    job = desk.invite(visit).index
    found: list[Offer] = []
    places = {place.shift.index: place for place in desk.places(desk.state, job)}
    for at in desk.search.allowed[job]:
        if at in places:
            found += _offer(desk, desk.state, job, places[at], ())
        elif make_room:
            found += _with_room(desk, job, at)
    return sorted(found, key=lambda row: (row.extra_cost, row.date, row.technician))


def _with_room(desk: Desk, job: int, at: int) -> list[Offer]:
    """The cheapest way to take the visit into a full round by moving one of its visits."""
    best: list[Offer] = []
    rows = desk.search.instance.rows
    for other in desk.state.routes[at].order:
        row = rows[other]
        if other in desk.search.pinned or row.index != row.visit_index or row.visit.fixed is not None:
            continue
        bare = desk.without([other])
        place = next((place for place in desk.places(bare, job) if place.shift.index == at), None)
        taken = desk.with_job(bare, job, place) if place is not None else None
        if place is None or taken is None:
            continue
        moved = Moved(row.visit.id)
        for new in desk.places(taken, other)[:1]:
            if new.rise < desk.search.skip[other] and desk.search.put_if_legal(taken, new.shift.index, other, new.at):
                moved = Moved(row.visit.id, new.shift.who.id, new.shift.day.date)
        found = _offer_of(desk, taken, job, place.shift, (moved,))
        if found is not None and (not best or found.extra_cost < best[0].extra_cost):
            best = [found]
    return best


def _offer(desk: Desk, state: State, job: int, place: Place, moved: tuple[Moved, ...]) -> list[Offer]:
    taken = desk.with_job(state, job, place)
    found = _offer_of(desk, taken, job, place.shift, moved) if taken is not None else None
    return [found] if found is not None else []


def _offer_of(desk: Desk, taken: State, job: int, shift: Shift, moved: tuple[Moved, ...]) -> Offer | None:
    instance, stop = desk.search.instance, desk.stop(taken, shift, job)
    if stop is None:
        return None
    zone = instance.rows[job].zone
    changed = [row for row in instance.shifts if taken.routes[row.index] is not desk.state.routes[row.index]]
    pairs = [(desk.timed(desk.state, row), desk.timed(taken, row)) for row in changed]
    was, now = _begins([old for old, _new in pairs]), _begins([new for _old, new in pairs])
    stay = [other for other in now if other in was and other not in {row.visit for row in moved}]
    return Offer(
        technician=shift.who.id,
        date=shift.day.date,
        arrival=moment(stop.arrive, zone),
        begin=moment(stop.begin, zone),
        extra_cost=Decimal(taken.cost - desk.state.cost) / 1000,
        extra_m=sum(_metres(new) - _metres(old) for old, new in pairs),
        overtime_s=sum(_overtime(new) - _overtime(old) for old, new in pairs),
        promises_broken=tuple(
            v for v in now if _breaks(desk, v, now[v]) and not (v in was and _breaks(desk, v, was[v]))
        ),
        retimed=tuple(other for other in stay if abs(now[other] - was[other]) >= NOTICED_S),
        moved=moved,
    )


def _begins(rows: list[Timed | None]) -> dict[str, int]:
    stops = [stop for row in rows if row is not None for stop in row.stops]
    return {
        stop.node.job.visit.id: stop.begin for stop in stops if stop.node.job is not None and not stop.node.job.helper
    }


def _metres(row: Timed | None) -> int:
    return row.metres if row is not None else 0


def _overtime(row: Timed | None) -> int:
    return row.overtime if row is not None else 0


def _breaks(desk: Desk, visit: str, begin: int) -> bool:
    job = desk.search.instance.job_of.get(visit)
    return job is not None and job.promise is not None and not job.promise[0] <= begin <= job.promise[1]
