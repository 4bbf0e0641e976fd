"""A problem made ready for fast evaluation: numbered shifts and visits, whole seconds and millionths of money."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from zoneinfo import ZoneInfo

from servicedesk.planner.problem import Day, Leave, Problem, Technician, Visit
from servicedesk.planner.travel import Travel
from servicedesk.planner.words import Reason

Span = tuple[int, int]
Key = tuple[str, date]
MICRO = Decimal(1_000_000)
DAY_S = 86_400
ONE_DAY = timedelta(days=1)
MOST_PEOPLE = 2  # that a visit may need at once and is planned for


def ts(moment: datetime) -> int:
    return int(moment.timestamp())


def moment(seconds: int, zone: str) -> datetime:
    """The instant on the clock of a zone."""
    return datetime.fromtimestamp(seconds, UTC).astimezone(zone_of(zone))


@lru_cache(maxsize=256)
def zone_of(name: str) -> ZoneInfo:
    return ZoneInfo(name)


@lru_cache(maxsize=20_000)
def midnight(day: date, zone: str) -> int:
    return ts(datetime.combine(day, time(), tzinfo=zone_of(zone)))


def mills(amount: Decimal) -> int:
    """Money as whole thousandths."""
    return int((amount * 1000).quantize(Decimal(1), ROUND_HALF_UP))


def micros(rate: Decimal) -> int:
    return int((rate * MICRO).quantize(Decimal(1), ROUND_HALF_UP))


@dataclass(frozen=True, slots=True)
class Pausing:
    seconds: int
    earliest: int
    latest: int
    paid: bool


@dataclass(frozen=True, slots=True)
class Shift:
    """One technician on one day, cut by leave. ``limit``: back by then at the latest."""

    index: int
    who: Technician
    day: Day
    opens: int
    closes: int
    limit: int
    start: str
    end: str
    breaks: tuple[Pausing, ...]
    hourly: int
    overtime: int
    km: int
    night: int
    fixed: int
    nights: tuple[Span, ...]
    depot: str | None
    reload_s: int

    @property
    def key(self) -> Key:
        return self.who.id, self.day.date

    @property
    def label(self) -> str:
        return self.who.name or self.who.id


@dataclass(frozen=True, slots=True)
class Job:
    """A visit, numbered.

    A visit for two people is planned as two jobs that begin at one moment, ``begins``: the lead's, which is the whole
    visit, and the ``helper``'s, which is its first part. ``visit_index`` is the number of the visit itself.
    """

    index: int
    visit_index: int
    visit: Visit
    place: str
    duration: int
    skip: int
    kg: float
    litres: float
    late: int
    disliked: int
    moved: int
    due_midnight: int | None
    zone: str
    promise: tuple[int, int, int] | None
    helper: bool = False
    begins: int | None = None

    @property
    def label(self) -> str:
        return self.visit.name or self.visit.id

    def days_late(self, begins: int) -> int:
        """Whole days from the due date to the date of beginning, by the clock of the place."""
        if self.due_midnight is None or begins < self.due_midnight or self.visit.due_on is None:
            return 0
        return (moment(begins, self.zone).date() - self.visit.due_on).days


class Instance:
    """The problem's shifts, jobs, drives and, for each pair of job and shift, the spans in which it may begin."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.travel = Travel(problem)
        self.zones = {place.id: place.zone for place in problem.places}
        self.technicians = {row.id: row for row in problem.technicians}
        self.settled = {(row.technician, row.date) for row in problem.kept}
        self.off: dict[Key, Reason] = {}
        self.shifts: list[Shift] = []
        for who in problem.technicians:
            for day in sorted(who.days, key=lambda row: row.date):
                self._add_shift(who, day)
        kept = {visit for row in problem.kept for visit in row.visits}
        self.jobs = [
            self._job(index, row) for index, row in enumerate(row for row in problem.visits if row.id not in kept)
        ]
        self.job_of = {job.visit.id: job for job in self.jobs}
        self.rows = dict(enumerate(self.jobs))  # every job by its number, those for two people too
        self._numbers = len(self.jobs)
        self.shift_of = {shift.key: shift for shift in self.shifts}
        self._open = {job.index: self._open_spans(job.visit) for job in self.jobs}
        self._valid: dict[tuple[str, str, str], list[Span]] = {}
        self._spans: dict[tuple[int, int], tuple[Span, ...]] = {}

    def _add_shift(self, who: Technician, day: Day) -> None:
        key = (who.id, day.date)
        if key in self.settled:
            self.off[key] = Reason("kept", {"name": who.name or who.id, "day": day.date})
            return
        opens, closes = ts(day.opens), ts(day.closes)
        part = _longest(_without((opens, closes + day.max_overtime_s), who.leave))
        if part is None or part[0] >= closes:
            why = next((row.reason for row in who.leave if row.reason), "") or "leave"
            self.off[key] = Reason("off", {"name": who.name or who.id, "day": day.date, "why": why})
            return
        depot = next((row for row in self.problem.depots if row.id == who.depot), None)
        night = who.night
        self.shifts.append(
            Shift(
                index=len(self.shifts),
                who=who,
                day=day,
                opens=part[0],
                closes=min(closes, part[1]),
                limit=part[1],
                start=day.start or who.start,
                end=day.end or who.end,
                breaks=tuple(
                    Pausing(row.seconds, ts(row.earliest), ts(row.latest), row.paid)
                    for row in sorted(day.breaks, key=lambda row: row.latest)
                ),
                hourly=micros(who.hourly_cost),
                overtime=micros(who.hourly_cost * (who.overtime_factor - 1)),
                km=micros(who.km_cost),
                night=micros(night.premium_per_hour) if night else 0,
                fixed=mills(day.fixed_cost),
                nights=tuple((ts(row.opens), ts(row.closes)) for row in night.spans) if night else (),
                depot=depot.place if depot else None,
                reload_s=depot.reload_s if depot else 0,
            )
        )

    def _job(self, index: int, visit: Visit) -> Job:
        zone, promise = self.zones[visit.place], visit.promise
        return Job(
            index=index,
            visit_index=index,
            visit=visit,
            place=visit.place,
            duration=visit.duration_s,
            skip=mills(visit.skip_cost),
            kg=visit.load_kg,
            litres=visit.load_l,
            late=mills(visit.late_cost_per_day),
            disliked=mills(visit.not_preferred_cost),
            moved=mills(visit.before.moved_cost) if visit.before else 0,
            due_midnight=midnight(visit.due_on + ONE_DAY, zone) if visit.due_on else None,
            zone=zone,
            promise=(ts(promise.at) - promise.tolerance_s, ts(promise.at) + promise.tolerance_s, mills(promise.cost))
            if promise
            else None,
        )

    def take_number(self) -> int:
        """A number that no job has."""
        self._numbers += 1
        return self._numbers - 1

    def add(self, visit: Visit) -> Job:
        """A job for a visit that is not of the problem."""
        job = self._job(self.take_number(), visit)
        self._open[job.index] = self._open_spans(visit)
        self.rows[job.index] = job
        return job

    def add_pair(self, job: Job, begins: int | None) -> tuple[Job, Job]:
        """The jobs of the lead and of the helper of a visit for two, both to begin at a moment (or at any)."""
        crew, before = job.visit.crew, job.visit.before
        seconds = crew.seconds if crew is not None else 0
        lead = replace(job, index=self.take_number(), begins=begins)
        helper = replace(
            lead,
            index=self.take_number(),
            helper=True,
            duration=seconds,
            skip=0,
            kg=0.0,
            litres=0.0,
            late=0,
            disliked=0,
            moved=job.moved if before is not None and before.helper is not None else 0,
            promise=None,
        )
        self.rows |= {lead.index: lead, helper.index: helper}
        return lead, helper

    def _open_spans(self, visit: Visit) -> list[Span]:
        """When the place is open for the visit, before anyone's hours."""
        zone, days = self.zones[visit.place], visit.days
        if visit.windows is not None:
            rows = [
                (ts(row.opens), ts(row.closes))
                for row in visit.windows
                if days is None or row.opens.astimezone(zone_of(zone)).date() in days
            ]
        elif days is not None:
            rows = [(midnight(day, zone), midnight(day + ONE_DAY, zone)) for day in days]
        else:
            rows = [
                (midnight(self.problem.first_day - ONE_DAY, zone), midnight(self.problem.last_day + 3 * ONE_DAY, zone))
            ]
        return merged(rows)

    def is_open(self, job: Job, shift: Shift) -> bool:
        """Whether the place is open for the visit at any time of the shift."""
        return bool(cut(self._open[job.visit_index], [(shift.opens, shift.limit)]))

    def spans(self, job: Job, shift: Shift) -> tuple[Span, ...]:
        """First and last moments at which the visit may begin on the shift, window by window."""
        key = (job.index, shift.index)
        found = self._spans.get(key)
        if found is None:
            found = self._spans[key] = self._begin_spans(job, shift)
        return found

    def _begin_spans(self, job: Job, shift: Shift) -> tuple[Span, ...]:
        rows = cut(self._open[job.visit_index], [(shift.opens, shift.limit)])
        for booking in job.visit.bookings:
            rows = cut(rows, [(ts(booking.opens), ts(booking.closes))])
        for kind in job.visit.needs:
            rows = cut(rows, self._held(shift.who, kind, job.zone))
        begins = [(opens, closes - job.duration) for opens, closes in rows if closes - opens >= job.duration]
        fixed = job.visit.fixed
        for at in (job.begins, ts(fixed.begins) if fixed is not None and fixed.begins is not None else None):
            if at is not None:
                begins = [(at, at) for opens, last in begins if opens <= at <= last]
        return tuple(begins)

    def _held(self, who: Technician, kind: str, zone: str) -> list[Span]:
        key = (who.id, kind, zone)
        if key not in self._valid:
            self._valid[key] = merged(
                (midnight(row.first_day, zone), midnight(row.last_day + ONE_DAY, zone))
                for row in who.permissions
                if row.kind == kind
            )
        return self._valid[key]

    def forbids(self, job: Job, shift: Shift) -> Reason | None:
        """The rule that keeps a visit off a shift whatever the order."""
        visit, who = job.visit, shift.who
        names: dict[str, object] = {"visit": job.label, "name": shift.label, "day": shift.day.date}
        if visit.crew is not None and visit.crew.people > MOST_PEOPLE:
            words = {"people": visit.crew.people, "minutes": round(visit.crew.seconds / 60)}
            return Reason("crew", names | words, visit.id)
        hours = [(shift.opens, shift.limit)]
        for kind in visit.needs:
            if not cut(hours, self._held(who, kind, job.zone)):
                return Reason("permission", names | {"need": kind}, visit.id)
        if who.id in visit.barred:
            return Reason("barred", names, visit.id)
        if visit.only and who.id not in visit.only and not job.helper:
            return Reason("only", names, visit.id)
        fixed = visit.fixed
        people = {None, who.id, fixed.technician if fixed and job.helper else None}
        if fixed and (fixed.technician not in people or fixed.date not in {None, shift.day.date}):
            return Reason("fixed", names, visit.id)
        return self._load_forbids(job, shift, names) or self._time_forbids(job, shift, names)

    def _load_forbids(self, job: Job, shift: Shift, names: dict[str, object]) -> Reason | None:
        if not (job.kg or job.litres):
            return None
        van = shift.who.van
        if van is None:
            return Reason("no_van", names, job.visit.id)
        if job.kg + job.litres * van.water_kg_per_l > van.payload_kg or job.litres > van.tank_l:
            return Reason("too_heavy", names | {"kg": f"{job.kg:g}", "litres": f"{job.litres:g}"}, job.visit.id)
        return None

    def _time_forbids(self, job: Job, shift: Shift, names: dict[str, object]) -> Reason | None:
        if self.spans(job, shift):
            return None
        visit = job.visit
        if not self._open[job.visit_index]:
            return Reason("no_window", names, visit.id)
        if visit.fixed and visit.fixed.begins:
            return Reason("fixed_time", names | {"at": visit.fixed.begins.astimezone(zone_of(job.zone))}, visit.id)
        if visit.bookings and cut(self._open[job.visit_index], [(shift.opens, shift.limit)]):
            return Reason("booking", names, visit.id)
        return Reason("closed", names, visit.id)


def merged(rows: Iterable[Span]) -> list[Span]:
    """Spans in order; those that touch or overlap become one."""
    out: list[Span] = []
    for opens, closes in sorted(rows):
        if out and opens <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], closes))
        else:
            out.append((opens, closes))
    return out


def cut(rows: Iterable[Span], others: Iterable[Span]) -> list[Span]:
    """The common part of two lists of spans."""
    second = list(others)
    parts = ((max(a, c), min(b, d)) for a, b in rows for c, d in second)
    return sorted((low, high) for low, high in parts if low < high)


def _without(span: Span, leave: Iterable[Leave]) -> list[Span]:
    rows = [span]
    for absence in leave:
        begins, ends = ts(absence.begins), ts(absence.ends)
        pieces = [piece for low, high in rows for piece in ((low, min(high, begins)), (max(low, ends), high))]
        rows = [(low, high) for low, high in pieces if low < high]
    return rows


def _longest(rows: list[Span]) -> Span | None:
    return max(rows, key=lambda row: (row[1] - row[0], -row[0])) if rows else None
