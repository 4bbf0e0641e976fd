"""Times a technician's day exactly and plans a week by regret insertion and repeated ruin and repair.

All times are seconds from the local midnight of the shift's date; money is in the firm's currency.
"""

import random
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import asin, cos, radians, sin, sqrt

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.routes.queries.problem import Key, ShiftInput, VisitInput, WeekInput
from servicedesk.routes.queries.round import StopTimes
from servicedesk.routes.times import seconds_at

Progress = Callable[[float, str], bool]
Point = tuple[float, float]

# Travel estimate: great circle times a detour factor, faster bands the longer the drive, a fixed part per move.
# The constants are guesses until roads are known (common practice).
EARTH_M, DETOUR = 6_371_000.0, 1.32
BANDS_KM_KMH = ((4.0, 24.0), (14.0, 40.0), (45.0, 68.0), (float("inf"), 92.0))
PER_MOVE_S = 150
BREAK_FROM_S, BREAK_BY_S = 11 * 3600, 14 * 3600
PROMISE_S, PROMISE_COST, MOVED_COST, NOT_PREFERRED_COST, OUT_COST = 1800, 60.0, 8.0, 25.0, 15.0


@lru_cache(maxsize=100_000)
def drive(start: Point, end: Point) -> tuple[int, int]:
    """Seconds and metres of a drive."""
    (lat1, lng1), (lat2, lng2) = start, end
    a = sin(radians(lat2 - lat1) / 2) ** 2
    a += cos(radians(lat1)) * cos(radians(lat2)) * sin(radians(lng2 - lng1) / 2) ** 2
    km = 2 * EARTH_M * asin(sqrt(a)) * DETOUR / 1000
    if km < 0.03:
        return 0, 0
    hours, done = 0.0, 0.0
    for to_km, kmh in BANDS_KM_KMH:
        part = max(min(km, to_km) - done, 0.0)
        hours, done = hours + part / kmh, done + part
    return round(hours * 3600) + PER_MOVE_S, round(km * 1000)


@dataclass(slots=True)
class Timed:
    """A technician's day as timed, what it costs, and the rules it breaks in words."""

    stops: list[StopTimes] = field(default_factory=list)
    leave_s: int | None = None
    return_s: int | None = None
    travel_s: int = 0
    distance_m: int = 0
    overtime_s: int = 0
    break_start_s: int | None = None
    break_s: int = 0
    cost: float = 0.0
    hard: list[str] = field(default_factory=list)
    soft: list[tuple[str | None, str]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A visit on no round: it cannot be placed at all, or it waits because placing it costs more."""

    visit_id: str
    cannot: bool
    reason: str
    cost: float | None


@dataclass(frozen=True, slots=True)
class Solved:
    rounds: dict[Key, Timed]
    left_out: list[LeftOut]
    iterations: int


class Timer:
    """Times and prices a technician's day; the same order is worked out once."""

    def __init__(self, data: WeekInput) -> None:
        self.data = data
        self._timed: dict[tuple[Key, tuple[str, ...]], Timed] = {}
        self._spans: dict[tuple[str, Key], list[tuple[int, int]]] = {}

    def spans(self, visit: VisitInput, shift: ShiftInput) -> list[tuple[int, int]]:
        """The visit's windows that the shift can reach, in seconds of the shift."""
        key = (visit.id, shift.key)
        if key not in self._spans:
            last = shift.close_s + shift.technician.max_overtime_min * 60
            rows = [
                (seconds_at(row.opens, shift.day, shift.zone), seconds_at(row.closes, shift.day, shift.zone))
                for row in visit.windows
            ]
            self._spans[key] = [(opens, closes) for opens, closes in rows if opens < last and closes > shift.open_s]
        return self._spans[key]

    def forbids(self, visit: VisitInput, shift: ShiftInput) -> str:
        """The rule that keeps a visit off a shift whatever the order, or an empty text."""
        names = {"site": visit.visit.site.name, "name": str(shift.technician), "day": date_format(shift.day, "D j M")}
        missing = [need for need in visit.needs if need.pk not in shift.permissions]
        if missing:
            return _("%(site)s needs %(need)s, which %(name)s does not hold on %(day)s.") % (
                names | {"need": missing[0].name}
            )
        if shift.technician.pk in visit.barred:
            return _("%(site)s does not want %(name)s.") % names
        if visit.only_preferred and visit.preferred != shift.technician.pk:
            return _("%(site)s wants only its own technician, not %(name)s.") % names
        if not self.spans(visit, shift):
            return _("%(site)s may not be done on %(day)s in the working hours of %(name)s.") % names
        return ""

    def timed(self, key: Key, order: Sequence[str]) -> Timed:
        found = self._timed.get((key, tuple(order)))
        if found is None:
            found = self._timed[key, tuple(order)] = self._time(key, order)
        return found

    def _time(self, key: Key, order: Sequence[str]) -> Timed:
        if not order:
            return Timed()
        shift = self.data.shifts.get(key)
        if shift is None:
            who, why = self.data.technicians[key[0]], self.data.off.get(key, "")
            words = {"name": str(who), "day": date_format(key[1], "D j M"), "why": why}
            return Timed(hard=[_("%(name)s does not work on %(day)s: %(why)s.") % words])
        return _Day(self, shift).drive([self.data.visits[pk] for pk in order])


class _Day:
    """One pass through a technician's day."""

    def __init__(self, timer: Timer, shift: ShiftInput) -> None:
        self.timer, self.shift, self.out = timer, shift, Timed()
        self.at = shift.open_s
        self.lunch_s = shift.lunch_min * 60
        who = shift.technician
        self.home = self.here = (who.home_latitude, who.home_longitude)

    def drive(self, visits: Sequence[VisitInput]) -> Timed:
        for visit in visits:
            self._stop(visit)
        back_s, back_m = drive(self.here, self.home)
        out, who = self.out, self.shift.technician
        out.return_s = self.at + back_s
        out.travel_s += back_s
        out.distance_m += back_m
        self._leave_late()
        out.overtime_s = max(out.return_s - self.shift.close_s, 0)
        over = out.overtime_s - who.max_overtime_min * 60
        if over > 0:
            words = {"name": str(who), "at": clock_words(out.return_s), "over": round(over / 60)}
            out.hard.append(_("%(name)s would be back at %(at)s, %(over)d min beyond the overtime allowed.") % words)
        self._price(visits)
        return out

    def _stop(self, visit: VisitInput) -> None:
        out, site = self.out, visit.visit.site
        forbidden = self.timer.forbids(visit, self.shift)
        if forbidden:
            out.hard.append(forbidden)
        travel_s, metres = drive(self.here, (site.latitude, site.longitude))
        arrive = self.at + travel_s
        service = visit.visit.duration_min * 60
        start = self._start(visit, arrive, service)
        if self._lunch_before(arrive, start, service):
            start = self._start(visit, arrive + self.lunch_s, service)
        fits = start is not None
        begin = arrive if start is None else start
        if not fits and not forbidden:
            words = {"site": site.name, "at": clock_words(arrive), "min": visit.visit.duration_min}
            out.hard.append(
                _("%(site)s would be reached at %(at)s: no open window holds the %(min)d min then.") % words
            )
        out.stops.append(StopTimes(visit.id, travel_s, metres, arrive, begin, begin + service))
        out.travel_s += travel_s
        out.distance_m += metres
        self.at, self.here = begin + service, (site.latitude, site.longitude)
        self._promise(visit, begin)

    def _start(self, visit: VisitInput, arrive: int, service: int) -> int | None:
        for opens, closes in self.timer.spans(visit, self.shift):
            start = max(arrive, opens)
            if start + service <= closes:
                return start
        return None

    def _lunch_before(self, arrive: int, start: int | None, service: int) -> bool:
        """Take the break on arrival when the visit would run past the latest time for it, or in a long wait."""
        if not self.lunch_s or self.out.break_start_s is not None:
            return False
        begin = arrive if start is None else start
        gap = begin - arrive >= self.lunch_s and arrive <= BREAK_BY_S and begin >= BREAK_FROM_S + self.lunch_s
        if not (gap or begin + service > BREAK_BY_S):
            return False
        self.out.break_start_s = max(arrive, BREAK_FROM_S) if gap else arrive
        self.out.break_s = self.lunch_s
        return True

    def _leave_late(self) -> None:
        """Leave home so late that nobody waits at the first stop."""
        out, first = self.out, self.out.stops[0]
        wait = 0 if out.break_start_s is not None and out.break_start_s < first.start_s else first.wait_s
        out.stops[0] = StopTimes(
            first.visit_id, first.travel_s, first.distance_m, first.arrive_s + wait, first.start_s, first.leave_s
        )
        out.leave_s = self.shift.open_s + wait

    def _promise(self, visit: VisitInput, begin: int) -> None:
        if visit.promise is None:
            return
        told = seconds_at(visit.promise, self.shift.day, self.shift.zone)
        if abs(begin - told) > PROMISE_S:
            self.out.cost += PROMISE_COST
            self.out.soft.append(
                (visit.id, _("%(site)s: another hour was promised.") % {"site": visit.visit.site.name})
            )

    def _price(self, visits: Sequence[VisitInput]) -> None:
        out, who = self.out, self.shift.technician
        hourly, factor = float(who.hourly_cost), float(who.overtime_factor)
        length_h = ((out.return_s or 0) - (out.leave_s or 0)) / 3600
        out.cost += hourly * length_h + hourly * (factor - 1) * out.overtime_s / 3600
        out.cost += float(who.km_cost) * out.distance_m / 1000 + OUT_COST
        for visit in visits:
            late = (self.shift.day - visit.visit.due_on).days
            out.cost += max(late, 0) * float(visit.late_cost_per_day)
            out.cost += MOVED_COST if visit.before not in {None, self.shift.key} else 0.0
            if visit.preferred not in {None, who.pk}:
                out.cost += NOT_PREFERRED_COST
                names = {"site": visit.visit.site.name, "name": self.timer.data.technicians[visit.preferred or 0]}
                out.soft.append((visit.id, _("%(site)s would rather have %(name)s.") % names))


def clock_words(seconds: int) -> str:
    days, rest = divmod(seconds, 86_400)
    return f"{rest // 3600:02}:{rest % 3600 // 60:02}" + (f" +{days}" if days else "")


class Search:
    """Plans what may be moved: insertion by regret, then ruin and repair, keeping the best."""

    def __init__(self, data: WeekInput, seed: int) -> None:
        self.data, self.timer = data, Timer(data)
        self.random = random.Random(seed)
        kept = {pk for key in data.kept for pk in data.orders.get(key, [])}
        self.movable = [pk for pk in data.visits if pk not in kept]
        self.keys = [key for key in data.shifts if key not in data.kept]
        self.allowed = {pk: self._allowed(data.visits[pk]) for pk in self.movable}

    def _allowed(self, visit: VisitInput) -> list[Key]:
        if visit.pinned is not None:
            return [visit.pinned] if visit.pinned in self.keys else []
        return [key for key in self.keys if not self.timer.forbids(visit, self.data.shifts[key])]

    def run(self, seconds: float, progress: Progress, *, iterations: int | None = None) -> Solved:
        began = time.monotonic()
        routes = self._start()
        best, best_cost = _copy(routes), self._cost(routes)
        current, current_cost, number = routes, best_cost, 0
        while iterations is None or number < iterations:
            spent = (time.monotonic() - began) / seconds
            if iterations is None and spent >= 1:
                break
            if progress(
                spent, _("Searching: %(n)d tries, best plan costs %(cost)d.") % {"n": number, "cost": best_cost}
            ):
                break
            trial = _copy(current)
            self._ruin(trial)
            self._repair(trial)
            cost = self._cost(trial)
            if cost < current_cost + 12 * (1 - min(spent, 1)) * self.random.random():
                current, current_cost = trial, cost
            if cost < best_cost - 1e-6:
                best, best_cost = _copy(trial), cost
            number += 1
        return Solved({key: self.timer.timed(key, order) for key, order in best.items()}, self._left_out(best), number)

    def _start(self) -> dict[Key, list[str]]:
        """The plan as it stands, less what breaks a rule by now; the rest is put in."""
        routes: dict[Key, list[str]] = {key: [] for key in self.keys}
        for key in self.keys:
            order = [pk for pk in self.data.orders.get(key, []) if key in self.allowed.get(pk, [])]
            for pk in order:
                if not self.timer.timed(key, [*routes[key], pk]).hard or self.data.visits[pk].pinned == key:
                    routes[key].append(pk)
        self._repair(routes)
        return routes

    def _cost(self, routes: dict[Key, list[str]]) -> float:
        placed = {pk for order in routes.values() for pk in order}
        skipped = sum(float(self.data.visits[pk].skip_cost) for pk in self.movable if pk not in placed)
        return skipped + sum(self.timer.timed(key, order).cost for key, order in routes.items())

    def _ruin(self, routes: dict[Key, list[str]]) -> None:
        placed = [pk for order in routes.values() for pk in order if self.data.visits[pk].pinned is None]
        if not placed:
            return
        count = min(self.random.randint(2, 10), len(placed))
        centre = self.data.visits[self.random.choice(placed)].visit.site
        if self.random.random() < 0.7:
            near = sorted(placed, key=lambda pk: self._metres(centre, pk) * (0.7 + 0.6 * self.random.random()))
            gone = set(near[:count])
        else:
            key = self.random.choice([key for key, order in routes.items() if order])
            gone = {pk for pk in routes[key] if self.data.visits[pk].pinned is None}
        for order in routes.values():
            order[:] = [pk for pk in order if pk not in gone]

    def _metres(self, site: Site, pk: str) -> int:
        other = self.data.visits[pk].visit.site
        return drive((site.latitude, site.longitude), (other.latitude, other.longitude))[1]

    def _repair(self, routes: dict[Key, list[str]]) -> None:
        """Put in, again and again, the visit that would lose most by waiting."""
        placed = {pk for order in routes.values() for pk in order}
        waiting = [pk for pk in self.movable if pk not in placed and self.allowed[pk]]
        offers = {pk: {key: self._best_in(routes, key, pk) for key in self.allowed[pk]} for pk in waiting}
        while waiting:
            ranked = [(self._regret(pk, offers[pk]), pk) for pk in waiting]
            regret, chosen = max(ranked, key=lambda row: (row[0], row[1]))
            if regret == float("-inf"):
                return
            key, (_rise, place) = min(offers[chosen].items(), key=lambda row: row[1][0])
            routes[key].insert(place, chosen)
            waiting.remove(chosen)
            for pk in waiting:
                if key in offers[pk]:
                    offers[pk][key] = self._best_in(routes, key, pk)

    def _regret(self, pk: str, offers: dict[Key, tuple[float, int]]) -> float:
        visit = self.data.visits[pk]
        limit = float("inf") if visit.pinned is not None else float(visit.skip_cost)
        rises = sorted(rise for rise, _place in offers.values())
        if not rises or rises[0] == float("inf") or rises[0] >= limit:
            return float("-inf")
        second = min(rises[1], limit) if len(rises) > 1 else limit
        return min(second, 1e6) - rises[0] + self.random.random() * 2

    def _best_in(self, routes: dict[Key, list[str]], key: Key, pk: str) -> tuple[float, int]:
        return best_place(self.timer, key, routes[key], pk)

    def _left_out(self, routes: dict[Key, list[str]]) -> list[LeftOut]:
        placed = {pk for order in routes.values() for pk in order}
        return [
            self._why(routes, pk)
            for pk in self.movable
            if pk not in placed and self.data.visits[pk].windows is not None
        ]

    def _why(self, routes: dict[Key, list[str]], pk: str) -> LeftOut:
        visit = self.data.visits[pk]
        if not self.allowed[pk]:
            reasons = [self.timer.forbids(visit, self.data.shifts[key]) for key in self.keys]
            return LeftOut(pk, cannot=True, reason=_commonest(reasons) or _("No working day is left."), cost=None)
        offers = {key: self._best_in(routes, key, pk)[0] for key in self.allowed[pk]}
        key, rise = min(offers.items(), key=lambda row: row[1])
        if rise == float("inf"):
            return LeftOut(
                pk,
                cannot=False,
                reason=_("Every round that may take it is full in its hours."),
                cost=float(visit.skip_cost),
            )
        words = {"name": self.data.technicians[key[0]], "day": date_format(key[1], "D j M"), "cost": round(rise)}
        return LeftOut(
            pk,
            cannot=False,
            reason=_("Best with %(name)s, %(day)s, which would cost %(cost)d: more than waiting.") % words,
            cost=rise,
        )


def best_place(timer: Timer, key: Key, order: Sequence[str], pk: str) -> tuple[float, int]:
    """The least rise in cost for putting a visit into a round, and where; infinite when no place keeps the rules."""
    base = timer.timed(key, order).cost
    best = (float("inf"), len(order))
    for place in range(len(order) + 1):
        timed = timer.timed(key, [*order[:place], pk, *order[place:]])
        if not timed.hard and timed.cost - base < best[0]:
            best = (timed.cost - base, place)
    return best


def _copy(routes: dict[Key, list[str]]) -> dict[Key, list[str]]:
    return {key: list(order) for key, order in routes.items()}


def _commonest(reasons: Iterable[str]) -> str:
    rows = [reason for reason in reasons if reason]
    return max(sorted(set(rows)), key=rows.count) if rows else ""
