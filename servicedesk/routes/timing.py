"""Times a technician's day in a given order, whatever rules it breaks, and says which.

The planner's evaluator times every order that keeps the rules; what a person asks for against the rules is timed
here all the same, with each broken rule in words. All times are seconds from the local midnight of the shift's date;
money is in the firm's currency.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.evaluate import Timed as Exact
from servicedesk.planner.instance import Instance, Job, Shift
from servicedesk.planner.problem import Problem, Van
from servicedesk.routes.crews import helper_of, is_helper, pairs_in, visit_of
from servicedesk.routes.hours import Span, night_seconds
from servicedesk.routes.queries.load import volume_words, weight_words
from servicedesk.routes.queries.problem import Key, ShiftInput, VisitInput, WeekInput
from servicedesk.routes.queries.round import StopTimes
from servicedesk.routes.queries.windows import shut_for
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import clock, instant, midnight, seconds_at
from servicedesk.routes.translate import (
    MOVED_COST,
    NOT_PREFERRED_COST,
    OUT_COST,
    PROMISE_COST,
    PROMISE_S,
    RELOAD_S,
    is_settled,
    lunch_hours,
    problem_of,
    van_of,
)

Begins = tuple[tuple[str, int], ...]  # visits for two and the moments at which both people begin


class Timer:
    """Times and prices a technician's day; the same order is worked out once."""

    def __init__(self, data: WeekInput) -> None:
        self.data = data
        self._spans: dict[tuple[str, Key], list[tuple[int, int]]] = {}
        self.stands = {
            visit: round(at.timestamp())
            for visit in pairs_in(data.orders)
            if (at := data.visits[visit].begins) is not None
        }
        self.use(problem_of(data, self.as_asked))

    def zone_of(self, key: Key) -> ZoneInfo:
        return ZoneInfo(self.data.technicians[key[0]].time_zone)

    def use(self, problem: Problem) -> None:
        """Time by this problem of the week."""
        self.problem = problem
        self.instance = Instance(problem)
        self.evaluator = Evaluator(self.instance)
        self._timed: dict[tuple[Key, tuple[str, ...], Begins], Timed] = {}
        self._pairs: dict[tuple[str, int | None], tuple[Job, Job]] = {}

    def spans(self, visit: VisitInput, shift: ShiftInput) -> list[tuple[int, int]]:
        """The visit's windows that the shift can reach, in seconds of the shift."""
        key = (visit.id, shift.key)
        if key not in self._spans:
            last = shift.close_s + shift.max_overtime_s
            rows = [
                (seconds_at(row.opens, shift.day, shift.zone), seconds_at(row.closes, shift.day, shift.zone))
                for row in visit.windows
            ]
            self._spans[key] = [(opens, closes) for opens, closes in rows if opens < last and closes > shift.open_s]
        return self._spans[key]

    def forbids(self, visit: VisitInput, shift: ShiftInput) -> str:
        """The rule that keeps a visit off a shift whatever the order, or an empty text."""
        if is_settled(visit):
            return ""
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
        load, van = visit.load, van_of(shift.technician)
        if not _fits(van, load.kg, load.litres):
            words = _("%(site)s needs %(load)s, more than %(name)s can bring at once: %(room)s.")
            room = load_words(van.payload_kg, van.tank_l)
            return words % (names | {"load": load_words(load.kg, load.litres), "room": room})
        if not self.spans(visit, shift):
            shut = shut_for(visit.visit, shift.day)
            if shut:
                return _("%(site)s may not be done on %(day)s (closed: %(why)s).") % (names | {"why": shut})
            return _("%(site)s may not be done on %(day)s in the working hours of %(name)s.") % names
        return ""

    def out_of_order(self, order: Sequence[str]) -> str:
        """Says when another system comes after a quarantine system on a round, else an empty text."""
        first: VisitInput | None = None
        for visit in (self.data.visits[pk] for pk in order):
            if first is not None and not visit.is_quarantine:
                words = _(
                    "%(site)s comes after %(other)s, which has a quarantine system: those come last on a round, so "
                    "that nothing is carried to other animals."
                )
                return words % {"site": visit.visit.site.name, "other": first.visit.site.name}
            first = first or (visit if visit.is_quarantine else None)
        return ""

    def too_near(self, key: Key, pk: str, moved: Mapping[str, date] | None = None) -> str:
        """Says when another visit of the same agreement stands too few days away, else an empty text.

        ``moved``: the days of other visits that change places at the same time.
        """
        visit = self.data.visits[pk]
        dates = self.data.dates.get(visit.visit.agreement_id or 0, {}) | dict(moved or {})
        mates = {other for other in self.data.dates.get(visit.visit.agreement_id or 0, {}) if other != pk}
        near = sorted(dates[other] for other in mates if abs((dates[other] - key[1]).days) < visit.gap_days)
        if not near:
            return ""
        words = ngettext(
            "%(site)s is visited on %(other)s already: its agreement wants another day.",
            "%(site)s is visited on %(other)s already: its agreement wants %(n)d days between.",
            visit.gap_days,
        )
        other = date_format(near[0], "D j M")
        return words % {"site": visit.visit.site.name, "other": other, "n": visit.gap_days}

    def timed(self, key: Key, order: Sequence[str], begins: Mapping[str, int] | None = None) -> Timed:
        """``begins``: for visits for two, the moment at which both begin; one that is not there begins as it can."""
        moments = begins_of(order, begins or {})
        known = (key, tuple(order), moments)
        found = self._timed.get(known)
        if found is None:
            found = self._exact(key, order, dict(moments)) or self._time(key, order, dict(moments))
            shift = self.data.shifts.get(key)
            if shift is not None:
                found.start_lodging_id = shift.start_lodging.pk if shift.start_lodging is not None else None
                found.lodging_id = shift.lodging.pk if shift.lodging is not None else None
            self._timed[known] = found
        return found

    def as_asked(self, key: Key) -> Timed:
        """A round in the order that stands in the books."""
        return self._time(key, self.data.orders[key], self.stands)

    def _job(self, call: str, begins: Mapping[str, int]) -> Job | None:
        job = self.instance.job_of.get(visit_of(call))
        if job is None or job.visit.crew is None:
            return self.instance.job_of.get(call)
        known = (job.visit.id, begins.get(job.visit.id))
        if known not in self._pairs:
            self._pairs[known] = self.instance.add_pair(job, known[1])
        return self._pairs[known][is_helper(call)]

    def _exact(self, key: Key, order: Sequence[str], begins: Mapping[str, int]) -> Timed | None:
        """The round as the planner times it; None when it breaks a rule or is not the planner's to change."""
        shift = self.instance.shift_of.get((str(key[0]), key[1]))
        jobs = [self._job(call, begins) for call in order]
        if shift is None or not all(jobs):
            return None
        found = self.evaluator.timed(shift, tuple(job.index for job in jobs if job is not None))
        if found is None or any(job is not None and self.instance.forbids(job, shift) for job in jobs):
            return None
        return self._from_exact(key, shift, found)

    def _from_exact(self, key: Key, shift: Shift, exact: Exact) -> Timed:
        if not exact.stops and not shift.day.drive_empty:
            return Timed()
        zero = int(midnight(key[1], self.data.shifts[key].zone).timestamp())
        stops: list[StopTimes] = []
        loaded: list[str] = []
        travel = metres = 0
        for stop in exact.stops:  # the way to the store belongs to the stop after it
            travel, metres = travel + stop.node.travel, metres + stop.node.metres
            if stop.node.job is None:
                loaded.append("")
                continue
            call = helper_of(stop.node.job.visit.id) if stop.node.job.helper else stop.node.job.visit.id
            loaded = [before or call for before in loaded]
            times = (stop.arrive - zero, stop.begin - zero, stop.end - zero)
            stops.append(StopTimes(visit_of(call), travel, metres, *times, helps=is_helper(call)))
            travel = metres = 0
        pause = exact.pauses[0] if exact.pauses else None
        return Timed(
            stops=stops,
            leave_s=exact.leave - zero,
            return_s=exact.back - zero,
            travel_s=exact.back_travel + sum(stop.travel_s for stop in stops),
            distance_m=exact.metres,
            overtime_s=exact.overtime,
            break_start_s=pause[0] - zero if pause else None,
            break_s=pause[1] if pause else 0,
            cost=exact.cost / 1000,
            soft=[*self.loads_again(key, loaded), *self._soft(key, stops)],
        )

    def loads_again(self, key: Key, before: Sequence[str]) -> list[tuple[str | None, str]]:
        """Before which visits the van has to go by the store."""
        words = _("Before %(site)s the van is loaded again at %(depot)s (%(min)d min).")
        depot = self.data.technicians[key[0]].depot
        return [
            (visit_of(call), words % {"site": self._site(call), "depot": depot, "min": RELOAD_S // 60})
            for call in before
        ]

    def _site(self, call: str) -> str:
        return self.data.visits[call].visit.site.name

    def _soft(self, key: Key, stops: Sequence[StopTimes]) -> list[tuple[str | None, str]]:
        """What a round that may be driven does not keep: promises and preferences."""
        found: list[tuple[str | None, str]] = []
        for stop in stops:
            visit = self.data.visits[stop.call]
            names = {"site": visit.visit.site.name}
            if visit.promise is not None:
                promised = seconds_at(visit.promise, key[1], self.data.shifts[key].zone)
                if abs(stop.start_s - promised) > PROMISE_S:
                    found.append((visit.id, _("%(site)s: another hour was promised.") % names))
            if visit.preferred not in {None, key[0]}:
                who = self.data.everybody[visit.preferred or 0]
                found.append((visit.id, _("%(site)s would rather have %(name)s.") % (names | {"name": who})))
        return found

    def _time(self, key: Key, order: Sequence[str], begins: Mapping[str, int]) -> Timed:
        shift = self.data.shifts.get(key)
        if not order and (shift is None or shift.ends.are_home):
            return Timed()
        if shift is None:
            who, why = self.data.technicians[key[0]], self.data.off.get(key, "")
            words = {"name": str(who), "day": date_format(key[1], "D j M"), "why": why}
            return Timed(hard=[_("%(name)s does not work on %(day)s: %(why)s.") % words])
        day = _Day(self, shift, begins)
        found = day.drive([self.data.visits[pk] for pk in order])
        broken = self.out_of_order(order)
        if broken:
            found.hard.insert(0, broken)
        found.soft = [*self.loads_again(key, day.loaded), *self._soft(key, found.stops)]
        return found


class _Day:
    """One pass through a technician's day."""

    def __init__(self, timer: Timer, shift: ShiftInput, begins: Mapping[str, int]) -> None:
        self.timer, self.shift, self.out = timer, shift, Timed()
        zero = int(midnight(shift.day, shift.zone).timestamp())
        self.not_before = {visit: at - zero for visit, at in begins.items()}
        self.at = shift.open_s
        self.lunch_s = shift.lunch_min * 60
        self.lunch_from_s, self.lunch_by_s = lunch_hours(shift.day, shift.zone)
        who = shift.technician
        self.here, self.end = shift.ends.start.point, shift.ends.end
        self.van, self.kg, self.litres = van_of(who), 0.0, 0.0
        self.loaded: list[str] = []

    def drive(self, visits: Sequence[VisitInput]) -> Timed:
        for visit in visits:
            self._stop(visit)
        back_s, back_m = self.timer.data.travel.drive(self.here, self.end.point)
        out, who = self.out, self.shift.technician
        out.return_s = self.at + back_s
        out.travel_s += back_s
        out.distance_m += back_m
        out.leave_s = self.shift.open_s
        if out.stops:
            self._leave_late()
        out.overtime_s = max(out.return_s - self.shift.close_s, 0)
        over = out.overtime_s - self.shift.max_overtime_s
        if over > 0:
            words = {"name": str(who), "at": self._shown(out.return_s), "over": round(over / 60)}
            out.hard.append(_("%(name)s would be back at %(at)s, %(over)d min beyond the overtime allowed.") % words)
        self._price(visits)
        return out

    def _stop(self, visit: VisitInput) -> None:
        out, site = self.out, visit.visit.site
        forbidden = self.timer.forbids(visit, self.shift)
        if forbidden:
            out.hard.append(forbidden)
        travel_s, metres = self._by_the_store(visit)
        leg_s, leg_m = self.timer.data.travel.drive(self.here, (site.latitude, site.longitude))
        arrive, travel_s, metres = self.at + leg_s, travel_s + leg_s, metres + leg_m
        service = visit.service_s
        start = self._start(visit, arrive, service)
        if self._lunch_before(arrive, start, service):
            start = self._start(visit, arrive + self.lunch_s, service)
        begin = max(arrive, self._floor(visit)) if start is None else start
        if start is None and not forbidden:
            words = {"site": site.name, "at": self._shown(begin), "min": round(service / 60)}
            out.hard.append(
                _("%(site)s would be reached at %(at)s: no open window holds the %(min)d min then.") % words
            )
        times = (arrive, begin, begin + service)
        out.stops.append(StopTimes(str(visit.visit.pk), travel_s, metres, *times, helps=visit.helps))
        out.travel_s += travel_s
        out.distance_m += metres
        self.at, self.here = begin + service, (site.latitude, site.longitude)
        self._promise(visit, begin)

    def _by_the_store(self, visit: VisitInput) -> tuple[int, int]:
        """Load again when the van does not hold the next visit's things with the others'; the drive there."""
        load = visit.load
        if _fits(self.van, self.kg + load.kg, self.litres + load.litres) or not (self.kg or self.litres):
            self.kg, self.litres = self.kg + load.kg, self.litres + load.litres
            return 0, 0
        self.kg, self.litres = load.kg, load.litres
        if not _fits(self.van, load.kg, load.litres):
            return 0, 0  # no loading helps, as is said of the visit itself
        depot = self.shift.technician.depot
        store = (depot.latitude, depot.longitude)
        travel_s, metres = self.timer.data.travel.drive(self.here, store)
        self.loaded.append(visit.id)
        self.at, self.here = self.at + travel_s + RELOAD_S, store
        return travel_s, metres

    def _shown(self, seconds: int) -> str:
        """What the technician's clock shows then."""
        return clock(self.shift.day, seconds, self.shift.zone, self.shift.zone).own

    def _floor(self, visit: VisitInput) -> int:
        """The moment agreed between the two people of a visit for two."""
        return self.not_before.get(visit_of(visit.id), 0)

    def _start(self, visit: VisitInput, arrive: int, service: int) -> int | None:
        if is_settled(visit):
            return max(arrive, self._floor(visit))
        for opens, closes in self.timer.spans(visit, self.shift):
            start = max(arrive, opens, self._floor(visit))
            if start + service <= closes:
                return start
        return None

    def _lunch_before(self, arrive: int, start: int | None, service: int) -> bool:
        """Take the break on arrival when the visit would run past the latest time for it, or in a long wait."""
        if not self.lunch_s or self.out.break_start_s is not None:
            return False
        begin = arrive if start is None else start
        enough = begin - arrive >= self.lunch_s and begin >= self.lunch_from_s + self.lunch_s
        gap = enough and arrive <= self.lunch_by_s
        if not (gap or begin + service > self.lunch_by_s):
            return False
        self.out.break_start_s = max(arrive, self.lunch_from_s) if gap else arrive
        self.out.break_s = self.lunch_s
        return True

    def _leave_late(self) -> None:
        """Leave so late that nobody waits at the first stop."""
        out, first = self.out, self.out.stops[0]
        wait = 0 if out.break_start_s is not None and out.break_start_s < first.start_s else first.wait_s
        out.stops[0] = replace(first, arrive_s=first.arrive_s + wait)
        out.leave_s = self.shift.open_s + wait

    def _promise(self, visit: VisitInput, begin: int) -> None:
        if visit.promise is None:
            return
        told = seconds_at(visit.promise, self.shift.day, self.shift.zone)
        if abs(begin - told) > PROMISE_S:
            self.out.cost += float(PROMISE_COST)

    def _price(self, visits: Sequence[VisitInput]) -> None:
        out, who = self.out, self.shift.technician
        hourly, factor = float(who.hourly_cost), float(who.overtime_factor)
        length_h = ((out.return_s or 0) - (out.leave_s or 0)) / 3600
        out.cost += hourly * length_h + hourly * (factor - 1) * out.overtime_s / 3600
        out.cost += self._night_premium()
        out.cost += float(who.km_cost) * out.distance_m / 1000 + float(OUT_COST + self.end.price)
        for visit in visits:
            late = (self.shift.day - visit.visit.due_on).days
            out.cost += max(late, 0) * float(visit.late_cost_per_day)
            out.cost += float(MOVED_COST) if visit.before not in {None, self.shift.key} else 0.0
            if visit.preferred not in {None, who.pk}:
                out.cost += float(NOT_PREFERRED_COST)

    def _night_premium(self) -> float:
        rules = self.timer.data.pay[self.shift.technician.pk]
        if rules.night is None or not rules.night_premium or self.out.leave_s is None or self.out.return_s is None:
            return 0.0
        day, zone = self.shift.day, self.shift.zone
        away = Span("other", instant(day, self.out.leave_s, zone), instant(day, self.out.return_s, zone))
        return float(rules.night_premium * night_seconds(away, rules) / 3600)


def _fits(van: Van, kg: float, litres: float) -> bool:
    return litres <= van.tank_l and kg + litres * van.water_kg_per_l <= van.payload_kg


def load_words(kg: float, litres: float) -> str:
    """Weight, and water where there is some, in the reader's units."""
    goods = weight_words(Decimal(str(kg)))
    if not litres:
        return goods
    return _("%(goods)s and %(water)s of water") % {"goods": goods, "water": volume_words(Decimal(str(litres)))}


def begins_of(order: Sequence[str], begins: Mapping[str, int]) -> Begins:
    """The moments that concern a round."""
    visits = sorted({visit_of(call) for call in order} & begins.keys()) if begins else []
    return tuple((visit, begins[visit]) for visit in visits)


def best_place(
    timer: Timer, key: Key, order: Sequence[str], call: str, begins: Mapping[str, int]
) -> tuple[float, int]:  # fmt: skip
    """The least rise in cost for putting a call into a round, and where; infinite when no place keeps the rules."""
    base = timer.timed(key, order, begins).cost
    best = (float("inf"), len(order))
    for place in range(len(order) + 1):
        timed = timer.timed(key, [*order[:place], call, *order[place:]], begins)
        if not timed.hard and timed.cost - base < best[0]:
            best = (timed.cost - base, place)
    return best
