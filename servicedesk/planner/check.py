"""The rules once more, in code of its own: what is wrong with a plan of a problem, in sentences.

Shares with the search only the drives between places; everything else is worked out again from the problem's own
datetimes, so that a mistake of the search is not repeated here. All datetimes are taken to UTC first: Python compares
and subtracts two of one zone by their wall clocks, which is wrong across a change of the clock.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from servicedesk.planner.check_sums import Sums, seconds_of
from servicedesk.planner.plan import Plan, Round, Stop
from servicedesk.planner.problem import Day, Problem, Technician, Visit, Window


def check(problem: Problem, plan: Plan) -> list[str]:
    """Every rule that the plan breaks, each in one sentence; an empty list: it keeps them all."""
    return list(_Check(_in_utc(problem), _in_utc(plan)).broken())


class _Check(Sums):
    """The rules, one method each, over the sums."""

    def broken(self) -> Iterator[str]:
        unknown = sorted({stop.place for row in self.plan.rounds for stop in row.stops} - self.zones.keys())
        if unknown:
            yield from (f"{place} is no place of the problem." for place in unknown)
            return
        yield from self._nights()
        yield from self._each_visit_once()
        for row in self.plan.rounds:
            yield from self._round(row)
        yield from self._rests()
        yield from self._gaps()
        yield from self._things()
        yield from self._score()

    def _nights(self) -> Iterator[str]:
        taken = [(night.technician, night.date) for night in self.plan.nights]
        for night in self.plan.nights:
            days = (
                {day.date for day in self.people[night.technician].days} if night.technician in self.people else set()
            )
            if night not in self.offered:
                yield f"{night.technician} on {night.date}: that night away is none of the problem's."
            elif taken.count((night.technician, night.date)) > 1:
                yield f"{night.technician} on {night.date}: that night is spent at two places."
            elif not {night.date, night.date + timedelta(days=1)} <= days:
                yield f"{night.technician} on {night.date}: a night away lies between two working days."

        for who in self.problem.technicians:
            nights = sum(night.technician == who.id for night in self.plan.nights)
            if who.max_nights is not None and nights > who.max_nights:
                yield f"{who.id} is away {nights} nights, {who.max_nights} are allowed."

    def _each_visit_once(self) -> Iterator[str]:
        served: dict[str, int] = defaultdict(int)
        for row in self.plan.rounds:
            for stop in row.stops:
                if stop.visit is not None and not stop.helper:
                    served[stop.visit] += 1
        for left in self.plan.unserved:
            served[left.visit] += 1
        for visit, times in sorted(served.items()):
            if visit not in self.visits:
                yield f"{visit} is no visit of the problem."
            elif visit in self.kept:
                yield f"{visit} is on a settled round and may not be planned again."
            elif times > 1:
                yield f"{visit} is answered {times} times."
        for visit in self.visits:
            if visit not in self.kept and visit not in served:
                yield f"{visit} is neither on a round nor among those left."
        pairs = [(row.technician, row.date) for row in self.plan.rounds]
        for pair in sorted({pair for pair in pairs if pairs.count(pair) > 1}):
            yield f"{pair[0]} has more than one round on {pair[1]}."
        settled = {(row.technician, row.date) for row in self.problem.kept}
        for who in self.problem.technicians:
            for day in who.days:
                if day.drive_empty and (who.id, day.date) not in {*pairs, *settled}:
                    yield f"{who.id} on {day.date}: the drive from start to end is due and is not in the plan."

    def _round(self, row: Round) -> Iterator[str]:
        name = f"{row.technician} on {row.date}"
        who = self.people.get(row.technician)
        day = next((one for one in who.days if one.date == row.date), None) if who else None
        if who is None or day is None:
            yield f"{name}: no working day of the problem."
            return
        if any((one.technician, one.date) == (row.technician, row.date) for one in self.problem.kept):
            yield f"{name}: that round is settled."
        yield from self._times(name, row, who, day)
        yield from self._hours(name, row, who, day)
        yield from self._pauses(name, row, day)
        yield from self._load(name, row, who)
        yield from self._orders(name, row)
        for stop in row.stops:
            visit = self.visits.get(stop.visit or "")
            if visit is not None:
                yield from self._visit(name, visit, stop, who, row.date)
        yield from self._cost(name, row, who, day)

    def _times(self, name: str, row: Round, who: Technician, day: Day) -> Iterator[str]:
        here, at = day.start or who.start, row.leave
        for stop in row.stops:
            seconds, metres = self.travel.drive(here, stop.place)
            if (stop.travel_s, stop.distance_m) != (seconds, metres):
                yield f"{name}: the drive from {here} to {stop.place} is {seconds} s and {metres} m."
            earliest = at + timedelta(seconds=stop.travel_s)
            if stop.arrive < earliest:
                yield f"{name}: {stop.place} cannot be reached by {self._clock(row, stop.arrive)}."
            if stop.begin < stop.arrive:
                yield f"{name}: {_of(stop)} begins before the arrival."
            if stop.leave - stop.begin != timedelta(seconds=self._duration(who, stop)):
                yield f"{name}: {_of(stop)} does not last as long as its work."
            place = self._place_of(who, stop)
            if place != stop.place:
                yield f"{name}: {_of(stop)} is at {place}, not at {stop.place}."
            here, at = stop.place, stop.leave
        seconds, metres = self.travel.drive(here, day.end or who.end)
        if (row.back_travel_s, row.back_distance_m) != (seconds, metres):
            yield f"{name}: the drive back is {seconds} s and {metres} m."
        if row.back < at + timedelta(seconds=seconds):
            yield f"{name}: the way back cannot be made by {self._clock(row, row.back)}."
        yield from self._room_for_pauses(name, row)

    def _clock(self, row: Round, moment: datetime) -> str:
        """The moment on the technician's clock."""
        who = self.people.get(row.technician)
        return f"{moment.astimezone(ZoneInfo(who.zone)) if who else moment:%a %H:%M}"

    def _place_of(self, who: Technician, stop: Stop) -> str:
        if stop.visit is None:
            return next((one.place for one in self.problem.depots if one.id == who.depot), "no store")
        visit = self.visits.get(stop.visit)
        return stop.place if visit is None else visit.place

    def _duration(self, who: Technician, stop: Stop) -> int:
        if stop.visit is None:
            return next((one.reload_s for one in self.problem.depots if one.id == who.depot), 0)
        visit = self.visits.get(stop.visit)
        if visit is None:
            return round((stop.leave - stop.begin).total_seconds())
        return visit.crew.seconds if stop.helper and visit.crew else visit.duration_s

    def _room_for_pauses(self, name: str, row: Round) -> Iterator[str]:
        """Drives, work and pauses fit between leaving and coming back, and no pause lies in the work."""
        for pause in row.pauses:
            end = pause.begin + timedelta(seconds=pause.seconds)
            if pause.begin < row.leave or end > row.back:
                yield f"{name}: the break at {self._clock(row, pause.begin)} lies outside the round."
            for stop in row.stops:
                if pause.begin < stop.leave and end > stop.begin:
                    yield f"{name}: the break at {self._clock(row, pause.begin)} lies in the work at {_of(stop)}."
        at = row.leave
        legs = [(stop.travel_s, stop.begin, stop.leave) for stop in row.stops] + [
            (row.back_travel_s, row.back, row.back)
        ]
        for travel_s, begin, leave in legs:
            rest = sum(pause.seconds for pause in row.pauses if at <= pause.begin < begin)
            if begin - at < timedelta(seconds=travel_s + rest):
                yield f"{name}: drive and break do not fit before {self._clock(row, begin)}."
            at = leave

    def _hours(self, name: str, row: Round, who: Technician, day: Day) -> Iterator[str]:
        if row.leave < day.opens:
            yield f"{name}: leaves before the working day begins."
        length = seconds_of(row.back - row.leave) - self._unpaid(row, day)
        overtime = max(seconds_of(row.back - self._closes(who, day)), 0)
        if day.normal_s is not None:
            overtime = max(overtime, length - day.normal_s)
        if overtime > day.max_overtime_s:
            yield f"{name}: {overtime - day.max_overtime_s} s beyond the overtime allowed."
        if row.overtime_s != overtime:
            yield f"{name}: the overtime is {overtime} s, not {row.overtime_s} s."
        for absence in who.leave:
            if row.leave < absence.ends and row.back > absence.begins:
                yield f"{name}: lies in an absence."

    def _closes(self, who: Technician, day: Day) -> datetime:
        """The end of the regular hours, earlier when the part of the day that is worked ends with an absence.

        Of the parts that absences leave of a day, overtime included, the longest is worked, of equals the first.
        """
        parts = [(day.opens, day.closes + timedelta(seconds=day.max_overtime_s))]
        for absence in who.leave:
            cut = [((opens, min(ends, absence.begins)), (max(opens, absence.ends), ends)) for opens, ends in parts]
            parts = [part for pair in cut for part in pair if part[0] < part[1]]
        worked = max(sorted(parts), key=lambda part: part[1] - part[0], default=(day.opens, day.closes))
        return min(day.closes, worked[1])

    def _pauses(self, name: str, row: Round, day: Day) -> Iterator[str]:
        _taken, missing = self._matched(row, day)
        for rule in missing:
            yield f"{name}: a break of {rule.seconds // 60} min is due by {self._clock(row, rule.latest)}."

    def _load(self, name: str, row: Round, who: Technician) -> Iterator[str]:
        kg = litres = 0.0
        for stop in row.stops:
            if stop.visit is None:
                kg = litres = 0.0
                continue
            visit = self.visits.get(stop.visit)
            if visit is None or stop.helper or not (visit.load_kg or visit.load_l):
                continue
            kg, litres = kg + visit.load_kg, litres + visit.load_l
            if who.van is None:
                yield f"{name}: {visit.id} brings a load and there is no van."
            elif litres > who.van.tank_l:
                yield f"{name}: {litres:g} L on board at {visit.id}, the tank holds {who.van.tank_l:g} L."
            elif kg + litres * who.van.water_kg_per_l > who.van.payload_kg:
                yield f"{name}: the van is too heavy at {visit.id}."

    def _orders(self, name: str, row: Round) -> Iterator[str]:
        groups = [self.visits[stop.visit].group for stop in row.stops if stop.visit in self.visits]
        for rule in self.problem.orders:
            for place, group in enumerate(groups):
                if group == rule.after and rule.before in groups[place + 1 :]:
                    yield f"{name}: a visit of {rule.after} comes before one of {rule.before}."
                    break

    def _visit(self, name: str, visit: Visit, stop: Stop, who: Technician, day: date) -> Iterator[str]:
        zone = self.zones[visit.place]
        begin, leave = stop.begin.astimezone(zone), stop.leave.astimezone(zone)
        if not self._open(visit, begin, leave):
            yield f"{name}: {visit.id} has no open window from {begin:%a %H:%M} to {leave:%H:%M}."
        for kind in visit.needs:
            held = [row for row in who.permissions if row.kind == kind]
            last = (leave - timedelta(seconds=1)).date() if leave > begin else begin.date()
            days = {begin.date() + timedelta(days=n) for n in range((last - begin.date()).days + 1)}
            if not all(any(row.first_day <= one <= row.last_day for row in held) for one in days):
                yield f"{name}: {visit.id} needs {kind}."
        if who.id in visit.barred:
            yield f"{name}: {visit.id} does not want {who.id}."
        if visit.only and who.id not in visit.only and not stop.helper:
            yield f"{name}: {visit.id} wants only {', '.join(visit.only)}."
        fixed = visit.fixed
        if fixed is not None:
            if fixed.technician not in {None, who.id} and not stop.helper:
                yield f"{name}: {visit.id} is fixed to {fixed.technician}."
            if fixed.date not in {None, day}:
                yield f"{name}: {visit.id} is fixed to {fixed.date}."
            if fixed.begins is not None and fixed.begins != begin:
                yield f"{name}: {visit.id} is fixed to begin at {fixed.begins.astimezone(zone):%H:%M}."
        for booking in visit.bookings:
            if begin < booking.opens or leave > booking.closes:
                yield f"{name}: {visit.id} lies outside its booking of {booking.thing}."
        people = visit.crew.people if visit.crew is not None else 1
        there = self._people_at(visit, stop.begin)
        if there != people and (people > 1 or stop.helper or not there):
            yield f"{name}: {visit.id} needs {people} people for its first part, {there} are there."
        if stop.helper and people < 2:
            yield f"{name}: {visit.id} needs no helper."

    def _open(self, visit: Visit, begin: datetime, leave: datetime) -> bool:
        """Whether windows that touch one another hold the whole work, opened on a day that is allowed."""
        if visit.windows is None and visit.days is None:
            return True
        reached = begin
        for window in sorted(self._windows(visit), key=lambda row: row.opens):
            if window.opens <= reached < window.closes:
                reached = window.closes
        return reached >= leave and reached > begin

    def _windows(self, visit: Visit) -> list[Window]:
        zone = self.zones[visit.place]
        if visit.windows is None:
            midnights = [datetime.combine(day, time(), tzinfo=zone) for day in visit.days or ()]
            return [Window(row.astimezone(UTC), (row + timedelta(days=1)).astimezone(UTC)) for row in midnights]
        return [
            window
            for window in visit.windows
            if visit.days is None or window.opens.astimezone(zone).date() in visit.days
        ]

    def _people_at(self, visit: Visit, begin: datetime) -> int:
        """How many people are there at a moment of beginning; none where nobody leads."""
        stops = [(row, stop) for row in self.plan.rounds for stop in row.stops if stop.visit == visit.id]
        together = {row.technician: stop.helper for row, stop in stops if stop.begin == begin}
        return len(together) if not all(together.values()) else 0

    def _rests(self) -> Iterator[str]:
        spans: dict[str, list[tuple[datetime, datetime]]] = defaultdict(list)
        for row in self.plan.rounds:
            spans[row.technician].append((row.leave, row.back))
        for settled in self.problem.kept:
            if settled.visits or settled.leave < settled.back:
                spans[settled.technician].append((settled.leave, settled.back))
        for who, rows in spans.items():
            person = self.people.get(who)
            for (_leave, back), (leave, _back) in zip(sorted(rows), sorted(rows)[1:], strict=False):
                if person is not None and leave - back < timedelta(seconds=person.rest_s):
                    told = leave.astimezone(ZoneInfo(person.zone))
                    yield f"{who}: only {seconds_of(leave - back) / 3600:.1f} h of rest before {told:%a %H:%M}."

    def _begins(self) -> dict[str, date]:
        found: dict[str, date] = {}
        for row in self.problem.kept:
            for number, visit in enumerate(row.visits):
                found[visit] = self._kept_date(row.technician, visit, row.begins[number]) if row.begins else row.date
        for planned in self.plan.rounds:
            for stop in planned.stops:
                if stop.visit in self.visits and not stop.helper:
                    found[stop.visit] = stop.begin.astimezone(self.zones[stop.place]).date()
        return found

    def _kept_date(self, technician: str, visit: str, begins: datetime) -> date:
        known = self.visits.get(visit)
        zone = self.zones[known.place] if known is not None else ZoneInfo(self.people[technician].zone)
        return begins.astimezone(zone).date()

    def _gaps(self) -> Iterator[str]:
        begins = self._begins()
        for gap in self.problem.gaps:
            if gap.first in begins and gap.second in begins:
                days = abs((begins[gap.first] - begins[gap.second]).days)
                if days < gap.min_days:
                    yield f"{gap.first} and {gap.second} are {days} days apart, at least {gap.min_days} are wanted."

    def _things(self) -> Iterator[str]:
        for thing in self.problem.things:
            uses = list(self._uses(thing.id))
            for moment, _leave, place in uses:
                at_once = sum(begin <= moment < leave for begin, leave, _place in uses)
                if at_once > thing.count:
                    told = moment.astimezone(self.zones[place])
                    yield f"{thing.id} is used by {at_once} visits at {told:%a %H:%M}, there are {thing.count}."
                    break

    def _uses(self, thing: str) -> Iterator[tuple[datetime, datetime, str]]:
        """From when to when and where a thing is used, on settled rounds too."""
        for row in self.plan.rounds:
            for stop in row.stops:
                if stop.visit in self.visits and thing in self.visits[stop.visit].things and not stop.helper:
                    yield stop.begin, stop.leave, stop.place
        for settled in self.problem.kept:
            for own, begins in zip(settled.visits, settled.begins, strict=False):
                visit = self.visits.get(own)
                if visit is not None and thing in visit.things:
                    yield begins, begins + timedelta(seconds=visit.duration_s), visit.place


def _in_utc(thing: Any) -> Any:
    """The same problem or plan with every datetime in UTC."""
    if isinstance(thing, datetime):
        return thing.astimezone(UTC)
    if isinstance(thing, tuple):
        return tuple(_in_utc(item) for item in thing)
    if is_dataclass(thing) and not isinstance(thing, type):
        return replace(thing, **{field.name: _in_utc(getattr(thing, field.name)) for field in fields(thing)})
    return thing


def _of(stop: Stop) -> str:
    return stop.visit or f"the reload at {stop.place}"
