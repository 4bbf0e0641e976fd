"""Where one more visit could go: each way of putting it into a day that exists, priced by the planner's evaluator.

The whole interface is ``ways(day, wanted)``: a technician's day as it stands and the visit wanted, and back come the
ways worth choosing from, each with what it moves, breaks and costs. Nothing is read or written here.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import combinations

from servicedesk.planner import problem as planner
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.evaluate import Timed as Exact
from servicedesk.planner.instance import Instance, Shift
from servicedesk.planner.words import Reason
from servicedesk.routes.travel import MatrixProvider, Point

CALL, FETCH = "call", "fetch"
SOONER_S = 30 * 60
PROMISE_S = 30 * 60
MOVED_S = 5 * 60
FETCH_S = 10 * 60
DROP_MOST = 2


@dataclass(frozen=True, slots=True)
class Known:
    """A visit of the day that is still to come. ``windows`` None: at any hour. ``fixed``: stays on this day.

    ``shared``: two people do it together, at its hour; ``helps``: it is the second person's part.
    """

    id: str
    name: str
    at: Point
    zone: str
    duration_s: int
    begins: datetime | None
    windows: tuple[tuple[datetime, datetime], ...] | None = None
    promise: datetime | None = None
    skip_cost: Decimal = Decimal(0)
    fixed: bool = False
    shared: bool = False
    helps: bool = False


@dataclass(frozen=True, slots=True)
class Rates:
    """What the day costs: per hour, overtime factor, per kilometre, per day out, per promise broken."""

    hourly: Decimal
    overtime_factor: Decimal
    per_km: Decimal
    day_out: Decimal = Decimal(0)
    promise: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class Day:
    """What is left of a technician's day: from where and when on, and what it holds in order.

    ``first_free``: so many of ``known`` come first whatever happens, since the technician is on the way to them.
    ``drive_empty``: the drive from start to end is due anyway, since a night away comes before or after the day.
    """

    name: str
    date: date
    zone: str
    opens: datetime
    closes: datetime
    start: Point
    end: Point
    rates: Rates
    known: tuple[Known, ...] = ()
    first_free: int = 0
    max_overtime_s: int = 0
    lunch: tuple[int, datetime, datetime] | None = None
    permissions: tuple[planner.Permission, ...] = ()
    under_way: bool = False
    drive_empty: bool = False
    travel: MatrixProvider = field(default_factory=MatrixProvider)


@dataclass(frozen=True, slots=True)
class Fetch:
    """A machine to be fetched on the way: what and where."""

    name: str
    at: Point


@dataclass(frozen=True, slots=True)
class Wanted:
    """The visit to be placed."""

    name: str
    at: Point
    zone: str
    duration_s: int
    windows: tuple[tuple[datetime, datetime], ...] | None = None
    needs: tuple[str, ...] = ()
    fetch: Fetch | None = None


@dataclass(frozen=True, slots=True)
class Shifted:
    """A visit that keeps its day and changes its hour."""

    known: Known
    begins: datetime
    breaks_promise: bool
    late_anyway: bool = False  # the promise is missed as the day stands, whatever is chosen

    @property
    def minutes(self) -> int:
        return round((self.begins - self.known.begins).total_seconds() / 60) if self.known.begins else 0


@dataclass(frozen=True, slots=True)
class Placed:
    """A stop of the day as it would be; the drive to it holds any fetching on the way."""

    id: str
    travel_s: int
    metres: int
    arrive: datetime
    begins: datetime
    ends: datetime


@dataclass(frozen=True, slots=True)
class Way:
    """One way of doing it. ``cost``, ``metres`` and ``overtime_s`` are what it adds to the day as it stands."""

    order: tuple[str, ...]
    begins: datetime
    cost: Decimal
    metres: int
    drive_s: int
    overtime_s: int
    overtime_all_s: int
    back: datetime
    shifted: tuple[Shifted, ...]
    dropped: tuple[Known, ...]
    stops: tuple[Placed, ...]
    leave: datetime
    travel_s: int
    metres_all: int
    pause: tuple[datetime, int] | None
    loosened: bool = False

    @property
    def promises_broken(self) -> int:
        return sum(row.breaks_promise for row in self.shifted) + sum(row.promise is not None for row in self.dropped)

    @property
    def key(self) -> str:
        return ".".join(self.order)


def ways(day: Day, wanted: Wanted, *, drop_most: int = DROP_MOST) -> tuple[list[Way], Reason | None]:
    """The cheapest way, a sooner one if there is, and the soonest with visits taken off; or why there is none.

    ``drop_most``: so many visits may be taken off the day to make room.
    """
    pricer = _Pricer(day, wanted)
    whole = list(pricer.priced(()))
    found = _best_two(whole)
    soonest = min((way.begins for way in whole), default=None)
    for count in range(1, drop_most + 1):
        off = [way for rows in combinations(pricer.may_go, count) for way in pricer.priced(rows)]
        early = min(off, key=lambda way: (way.begins, way.cost), default=None)
        if early is not None and (soonest is None or (soonest - early.begins).total_seconds() >= SOONER_S):
            found.append(early)
        if found:
            break
    return found, None if found else pricer.reason


def _best_two(rows: Sequence[Way]) -> list[Way]:
    if not rows:
        return []
    cheapest = min(rows, key=lambda way: (way.cost, way.begins))
    soonest = min(rows, key=lambda way: (way.begins, way.cost))
    sooner_s = (cheapest.begins - soonest.begins).total_seconds()
    return [cheapest, soonest] if sooner_s >= SOONER_S else [cheapest]


class _Pricer:
    """One day and one visit in the planner's own terms."""

    def __init__(self, day: Day, wanted: Wanted) -> None:
        self.day, self.wanted = day, wanted
        self.known = {row.id: row for row in day.known}
        self.loosened = False
        self._build()
        self.base = self._timed([row.id for row in day.known])
        if self.base is None:  # the day as it stands keeps not every rule: take its visits as they are
            self.loosened = True
            self._build()
            self.base = self._timed([row.id for row in day.known])

    def _build(self) -> None:
        self.instance = Instance(_problem(self.day, self.wanted, loosened=self.loosened))
        self.evaluator = Evaluator(self.instance)

    @property
    def shift(self) -> Shift | None:
        return self.instance.shift_of.get(("who", self.day.date))

    @property
    def reason(self) -> Reason | None:
        """The rule that keeps the visit off the day whatever the order."""
        if self.shift is None:
            return None
        return self.instance.forbids(self.instance.job_of[CALL], self.shift)

    @property
    def most_overtime_s(self) -> int:
        """The overtime allowed; a day that is past it already may not get longer still."""
        return max(self.day.max_overtime_s, self.base.overtime if self.base is not None else 0)

    @property
    def may_go(self) -> list[Known]:
        return [row for row in self.day.known[self.day.first_free :] if not row.fixed]

    def _timed(self, order: Sequence[str]) -> Exact | None:
        if not order:
            return Exact()
        if self.shift is None:
            return None
        return self.evaluator.timed(self.shift, tuple(self.instance.job_of[pk].index for pk in order))

    def priced(self, dropped: Sequence[Known]) -> Iterator[Way]:
        """The visit at each place of the day's order, without those dropped."""
        if self.base is None or self.shift is None or self.reason is not None:
            return
        gone = {row.id for row in dropped}
        rest = [row.id for row in self.day.known if row.id not in gone]
        for place in range(self.day.first_free, len(rest) + 1):
            for order in self._orders(rest, place):
                timed = self._timed(order)
                if timed is not None and timed.overtime <= self.most_overtime_s:
                    yield self._way(timed, tuple(dropped))

    def _orders(self, rest: list[str], place: int) -> Iterator[list[str]]:
        if self.wanted.fetch is None:
            yield [*rest[:place], CALL, *rest[place:]]
            return
        for earlier in sorted({self.day.first_free, place}):
            yield [*rest[:earlier], FETCH, *rest[earlier:place], CALL, *rest[place:]]

    def _way(self, timed: Exact, dropped: tuple[Known, ...]) -> Way:
        assert self.base is not None  # noqa: S101 - priced() has seen to it
        stops = tuple(_placed(timed))
        begins = {stop.id: stop.begins for stop in stops}
        travel_s = timed.back_travel + sum(stop.node.travel for stop in timed.stops)
        base_travel_s = self.base.back_travel + sum(stop.node.travel for stop in self.base.stops)
        pause = timed.pauses[0] if timed.pauses else None
        return Way(
            order=tuple(stop.id for stop in stops),
            begins=begins[CALL],
            cost=Decimal(timed.cost - self.base.cost) / 1000 + sum((row.skip_cost for row in dropped), Decimal(0)),
            metres=timed.metres - self.base.metres,
            drive_s=travel_s - base_travel_s,
            overtime_s=max(timed.overtime - self.base.overtime, 0),
            overtime_all_s=timed.overtime,
            back=_at(timed.back),
            shifted=tuple(self._shifted(begins)),
            dropped=dropped,
            stops=stops,
            leave=_at(timed.leave),
            travel_s=travel_s,
            metres_all=timed.metres,
            pause=(_at(pause[0]), pause[1]) if pause else None,
            loosened=self.loosened,
        )

    def _shifted(self, begins: dict[str, datetime]) -> Iterator[Shifted]:
        before = {stop.id: stop.begins for stop in _placed(self.base)} if self.base is not None else {}
        for pk, at in begins.items():
            known = self.known.get(pk)
            if known is None or known.begins is None:
                continue
            missed = _misses(known, at)
            anyway = missed and pk in before and _misses(known, before[pk])
            if missed or abs((at - known.begins).total_seconds()) > MOVED_S:
                yield Shifted(known, at, missed and not anyway, anyway)


def _misses(known: Known, at: datetime) -> bool:
    """Whether beginning then breaks the hour that was told."""
    return known.promise is not None and abs((at - known.promise).total_seconds()) > PROMISE_S


def _placed(timed: Exact) -> Iterator[Placed]:
    """The stops without the fetching, whose drive goes into the next stop's."""
    travel = metres = 0
    for stop in timed.stops:
        travel, metres = travel + stop.node.travel, metres + stop.node.metres
        if stop.node.job is None or stop.node.job.visit.id == FETCH:
            continue
        yield Placed(stop.node.job.visit.id, travel, metres, _at(stop.arrive), _at(stop.begin), _at(stop.end))
        travel = metres = 0


def _at(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def _problem(day: Day, wanted: Wanted, *, loosened: bool) -> planner.Problem:
    """A problem of one technician and one day. Loosened: what stands on the day is taken as it stands."""
    known = [
        row if row.shared or not loosened else replace(row, windows=None) for row in day.known
    ]  # fmt: skip
    visits = [_visit(row, day.rates.promise) for row in known]
    places = [planner.Place(row.id, *row.at, row.zone, row.name) for row in known]
    visits.append(
        planner.Visit(
            id=CALL, name=wanted.name, place=CALL, duration_s=wanted.duration_s, skip_cost=Decimal(0),
            windows=_windows(wanted.windows), needs=wanted.needs,
        )
    )  # fmt: skip
    places += [
        planner.Place(CALL, *wanted.at, wanted.zone, wanted.name),
        planner.Place("start", *day.start, day.zone),
        planner.Place("end", *day.end, day.zone),
    ]
    if wanted.fetch is not None:
        name = wanted.fetch.name
        visits.append(planner.Visit(id=FETCH, name=name, place=FETCH, duration_s=FETCH_S, skip_cost=Decimal(0)))
        places.append(planner.Place(FETCH, *wanted.fetch.at, day.zone, name))
    return planner.Problem(
        first_day=day.date,
        last_day=day.date,
        currency="",
        places=tuple(places),
        technicians=(_technician(day, loosened=loosened),),
        visits=tuple(visits),
        estimate=day.travel.estimate,
        table=day.travel.planner_table({place.id: (place.latitude, place.longitude) for place in places}),
    )


def _technician(day: Day, *, loosened: bool) -> planner.Technician:
    breaks: tuple[planner.Break, ...] = ()
    if day.lunch is not None:
        breaks = (planner.Break(*day.lunch),)
    more = timedelta(hours=6) if loosened else timedelta(0)
    hours = planner.Day(
        date=day.date,
        opens=day.opens,
        closes=day.closes,
        max_overtime_s=day.max_overtime_s + round(more.total_seconds()),
        breaks=breaks,
        fixed_cost=day.rates.day_out,
        drive_empty=day.drive_empty,
    )
    return planner.Technician(
        id="who", start="start", end="end", zone=day.zone, days=(hours,), name=day.name,
        hourly_cost=day.rates.hourly, overtime_factor=day.rates.overtime_factor, km_cost=day.rates.per_km,
        permissions=day.permissions,
    )  # fmt: skip


def _visit(row: Known, promise_cost: Decimal) -> planner.Visit:
    promise = planner.Promise(row.promise, PROMISE_S, promise_cost) if row.promise else None
    return planner.Visit(
        id=row.id, name=row.name, place=row.id, duration_s=row.duration_s, skip_cost=row.skip_cost,
        windows=_windows(row.windows), promise=promise,
    )  # fmt: skip


def _windows(rows: Iterable[tuple[datetime, datetime]] | None) -> tuple[planner.Window, ...] | None:
    return None if rows is None else tuple(planner.Window(opens, closes) for opens, closes in rows)
