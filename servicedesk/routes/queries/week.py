"""The week's board: who is where when, what is late, what did not fit."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.display import current_display
from servicedesk.people.models import Firm, Technician
from servicedesk.routes.crews import crew_min, crew_words
from servicedesk.routes.models import PlanRun, Round, Stop, WeekPlan
from servicedesk.routes.queries.crews import Crews, Lacking, crews_planned
from servicedesk.routes.queries.ends import Ends, ends_of
from servicedesk.routes.queries.round import RoundTimes, technicians_between, times_planned
from servicedesk.routes.queries.shifts import Shift, shifts_between
from servicedesk.routes.queries.words import due_words
from servicedesk.routes.ribbons import BOARD_HOUR_PX, driven_span, round_ribbon, span_of
from servicedesk.routes.times import Clock, Week, clock, hours_words
from servicedesk.science import units
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN, visits_to_plan

RESTING_DAY = 5
SHOWN_WARNINGS = 2
PROMISE_S = 1800
NIGHTS = ("nights", "lodging")  # figures told only where somebody stays away


@dataclass(frozen=True, slots=True)
class BoardStop:
    visit: Visit
    position: int
    start: Clock
    leave: Clock
    locked: bool
    warned: bool
    late_days: int
    promise_moved: bool
    helps: bool = False
    crew_words: str = ""

    @property
    def key(self) -> str:
        """One on the page: both parts of a visit for two may stand on it."""
        return f"{self.visit.pk}-help" if self.helps else str(self.visit.pk)

    @property
    def movable(self) -> bool:
        return self.visit.state in OPEN


@dataclass(slots=True)
class Cell:
    """A technician's day on the board."""

    technician: Technician
    day: date
    shift: Shift | None
    round: Round | None = None
    times: RoundTimes | None = None
    stops: list[BoardStop] = field(default_factory=list)
    ribbon: SafeString | None = None
    leave: Clock | None = None
    back: Clock | None = None
    ends: Ends | None = None
    lacking: list[Lacking] = field(default_factory=list)

    @property
    def key(self) -> str:
        return f"{self.technician.pk}-{self.day:%Y-%m-%d}"

    @property
    def locked(self) -> bool:
        return self.round is not None and self.round.locked

    @property
    def warnings(self) -> list[str]:
        own = [row["words"] for row in self.round.warnings] if self.round is not None else []
        return [*(row.words for row in self.lacking), *own]

    @property
    def more_warnings(self) -> int:
        return max(len(self.warnings) - SHOWN_WARNINGS, 0)

    @property
    def overtime_words(self) -> str:
        overtime_s = self.round.overtime_s if self.round is not None else 0
        return _("%(time)s overtime") % {"time": hours_words(overtime_s)}

    @property
    def hours_words(self) -> str:
        """The free working hours, such as 08:00–16:30."""
        if self.shift is None or self.shift.hours is None:
            return ""
        zone = ZoneInfo(self.technician.time_zone)
        start, end = (clock(self.day, at, zone, zone).short for at in self.shift.hours)
        return f"{start}–{end}"

    @property
    def is_off(self) -> bool:
        return self.shift is None or self.shift.hours is None

    @property
    def out_words(self) -> str:
        """Why somebody with a round is not there on the day, or not to its end."""
        return self.shift.why_off if self.shift is not None else ""

    @property
    def stops_out(self) -> list[BoardStop]:
        """What is still to be done on a round whose technician is not there then."""
        if not self.out_words:
            return []
        zone = ZoneInfo(self.technician.time_zone)
        goes = None if self.is_off or self.shift is None or self.shift.hours is None else self.shift.hours[1]
        gone = None if goes is None else clock(self.day, goes, zone, zone)
        return [row for row in self.stops if row.movable and (gone is None or row.leave.site > gone.site)]


@dataclass(frozen=True, slots=True)
class BoardDay:
    day: date
    is_today: bool
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class TrayRow:
    """A visit on no round: why it is due, why it did not fit, what leaving it costs, how late it is by Sunday."""

    visit: Visit
    why_due: str
    why_not: str
    state: str
    cost: float | None
    late_days: int
    promise_moved: bool = False


@dataclass(frozen=True, slots=True)
class ScoreFigure:
    """One figure of the score line, with the change since the plan before."""

    key: str
    label: str
    text: str
    change: str
    better: bool | None


@dataclass(slots=True)
class Board:
    week: Week
    plan: WeekPlan | None
    technicians: list[Technician]
    days: list[BoardDay]
    tray: list[TrayRow]
    score: list[ScoreFigure]
    run: PlanRun | None
    last_run: PlanRun | None
    span: tuple[int, int] = (0, 0)
    holds_stops: bool = False
    crews: Crews = field(default_factory=Crews)

    @property
    def version(self) -> int:
        return self.plan.version if self.plan else 1

    @property
    def is_published(self) -> bool:
        return self.plan is not None and self.plan.state == WeekPlan.State.PUBLISHED

    @property
    def has_stops(self) -> bool:
        return self.holds_stops or any(cell.stops for row in self.days for cell in row.cells)

    @property
    def told_run(self) -> PlanRun | None:
        """The last search, as long as nothing has changed since: then its words no longer speak of what is shown."""
        run, changed = self.last_run, self.plan.changed_at if self.plan else None
        if run is None or (run.ended_at is not None and changed is not None and changed > run.ended_at):
            return None
        return run

    @property
    def is_over(self) -> bool:
        return self.week.sunday < timezone.localdate()

    @property
    def no_helpers(self) -> list[Lacking]:
        """Visits on rounds whose second person is still to be found."""
        return [row for row in self.crews.lacking if row.nobody_helps]


def plan_of(week: Week) -> WeekPlan | None:
    return (
        WeekPlan.objects.filter(iso_year=week.year, iso_week=week.number)
        .select_related("changed_by", "published_by")
        .first()
    )


def rounds_of(plan: WeekPlan, **only: Any) -> list[Round]:
    stops = Stop.objects.select_related("visit__site__client", "visit__agreement")
    return list(
        plan.rounds.filter(**only)
        .select_related("technician__user", "van", "start_lodging", "lodging")
        .prefetch_related(Prefetch("stops", queryset=stops))
    )


def board(week: Week) -> Board:
    """The whole board in a fixed number of queries."""
    plan = plan_of(week)
    technicians = list(technicians_between(week.monday, week.sunday))
    shifts = shifts_between(technicians, week.monday, week.sunday)
    rounds = {(row.technician_id, row.date): row for row in rounds_of(plan)} if plan else {}
    crews = crews_planned(plan) if plan else Crews()
    cells, span = _cells(week, technicians, shifts, rounds, crews)
    tray = tray_rows(week, plan)
    runs = list(plan.runs.select_related("requested_by")[:1]) if plan else []
    active = runs[0] if runs and runs[0].state in PlanRun.ACTIVE else None
    figures = score_figures(plan, len(tray))
    return Board(
        week, plan, technicians, _days(week, cells), tray, figures, active, runs[0] if runs else None, span, crews=crews
    )


def _cells(
    week: Week,
    technicians: list[Technician],
    shifts: dict[tuple[int, date], Shift],
    rounds: dict[tuple[int, date], Round],
    crews: Crews,
) -> tuple[list[Cell], tuple[int, int]]:
    cells = []
    for technician in technicians:
        for day in week.days:
            row = rounds.get((technician.pk, day))
            cell = Cell(technician, day, shifts.get((technician.pk, day)), row)
            cell.times = _times(row)
            cells.append(cell)
    span = span_of(span for cell in cells for span in (_hours(cell), _driven(cell)) if span is not None)
    for cell in cells:
        _fill(cell, span, crews)
    return cells, span


def _times(row: Round | None) -> RoundTimes | None:
    """The times of a round on which there is anything to drive."""
    times = times_planned(row) if row is not None else None
    return None if times is None or times.is_empty else times


@dataclass(frozen=True, slots=True)
class BoardPart:
    """The cells that a change touched, and the span on which all are drawn."""

    cells: list[Cell]
    span: tuple[int, int]
    crews: Crews


def board_part(week: Week, plan: WeekPlan, keys: Collection[tuple[int, date]]) -> BoardPart:
    """Some cells of the board, drawn as on the whole of it."""
    technicians = list(technicians_between(week.monday, week.sunday))
    shifts = shifts_between(technicians, week.monday, week.sunday)
    something = Q(stops__isnull=False) | Q(start_lodging__isnull=False) | Q(lodging__isnull=False)
    driven = plan.rounds.filter(something, leave_s__isnull=False, return_s__isnull=False)
    rounds_s = driven.values_list("leave_s", "return_s", "start_lodging", "lodging").distinct()
    spans = [driven_span(leave or 0, back or 0, *nights) for leave, back, *nights in rounds_s]
    span = span_of([*spans, *(row.hours for row in shifts.values() if row.hours is not None)])
    rows = rounds_of(plan, technician__in={key[0] for key in keys}, date__in={key[1] for key in keys})
    rounds = {(row.technician_id, row.date): row for row in rows}
    crews = crews_planned(plan)
    cells = []
    for technician in technicians:
        for day in week.days:
            if (technician.pk, day) in keys:
                row = rounds.get((technician.pk, day))
                cell = Cell(technician, day, shifts.get((technician.pk, day)), row, _times(row))
                _fill(cell, span, crews)
                cells.append(cell)
    return BoardPart(cells, span, crews)


def _hours(cell: Cell) -> tuple[int, int] | None:
    return cell.shift.hours if cell.shift else None


def _driven(cell: Cell) -> tuple[int, int] | None:
    if cell.times is None or cell.times.leave_s is None or cell.times.return_s is None:
        return None
    return driven_span(cell.times.leave_s, cell.times.return_s, *cell.times.nights)


def _fill(cell: Cell, span: tuple[int, int], crews: Crews) -> None:
    """The stops in words and the drawing of a cell."""
    row, times = cell.round, cell.times
    if row is None or times is None:
        return
    zone = ZoneInfo(cell.technician.time_zone)
    cell.lacking = crews.lacking_on((row.technician_id, row.date))
    warned = frozenset(str(entry["visit"]) for entry in row.warnings if entry.get("visit"))
    warned |= {str(lack.visit.pk) for lack in cell.lacking}
    sites: dict[str, Site] = {}
    for stop in row.stops.all():
        visit = stop.visit
        sites[str(visit.pk)] = visit.site
        site_zone = ZoneInfo(visit.site.time_zone)
        start = clock(cell.day, stop.start_s, zone, site_zone)
        leave, mate = clock(cell.day, stop.leave_s, zone, site_zone), crews.mate(str(visit.pk), helps=stop.helps)
        minutes = round((stop.leave_s - stop.start_s) / 60) if stop.helps else crew_min(visit)
        late_days = 0 if stop.helps else max((cell.day - visit.due_on).days, 0)
        cell.stops.append(
            BoardStop(
                visit, stop.position, start, leave, stop.locked, str(visit.pk) in warned, late_days,
                not stop.helps and promise_moved(visit, start), stop.helps,
                crew_words(str(mate), minutes, helps=stop.helps) if mate is not None else "",
            )
        )  # fmt: skip
    cell.leave = clock(cell.day, times.leave_s, zone, zone) if times.leave_s is not None else None
    cell.back = clock(cell.day, times.return_s, zone, zone) if times.return_s is not None else None
    known = {lodging.pk: lodging for lodging in (row.start_lodging, row.lodging) if lodging is not None}
    cell.ends = ends_of(cell.technician, times, known)
    cell.ribbon = round_ribbon(
        str(cell.technician),
        cell.day,
        zone,
        times,
        sites,
        span,
        _hours(cell),
        warned,
        hour_px=BOARD_HOUR_PX,
        ends=cell.ends,
    )


def promise_moved(visit: Visit, start: Clock) -> bool:
    """Whether an hour already told to the client is broken by the plan."""
    return is_promise_moved(visit.planned_on, visit.promised_start, start)


def is_promise_moved(planned_on: date | None, promised_start: time | None, start: Clock) -> bool:
    if promised_start is None or planned_on is None:
        return False
    promised = datetime.combine(planned_on, promised_start, tzinfo=start.site.tzinfo)
    return abs(start.site.timestamp() - promised.timestamp()) > PROMISE_S


def _days(week: Week, cells: list[Cell]) -> list[BoardDay]:
    """Working days, and days of rest only when somebody works on them."""
    today = timezone.localdate()
    rows = []
    for day in week.days:
        own = [cell for cell in cells if cell.day == day]
        if day.weekday() < RESTING_DAY or any(not cell.is_off or cell.stops for cell in own):
            rows.append(BoardDay(day, day == today, own))
    return rows


def tray_rows(week: Week, plan: WeekPlan | None) -> list[TrayRow]:
    """Visits of the week on no round, those that cannot be placed first, then the costliest to leave.

    One that is due only next week and might come early is next week's to worry about.
    """
    known = {str(row["visit"]): row for row in (plan.left_out if plan else [])}
    visits = tray_visits(week).prefetch_related("covers__installation")
    rows = [_tray_row(visit, known.get(str(visit.pk)), week) for visit in visits]
    return sorted(rows, key=lambda row: (row.state != "cannot", -row.late_days, -(row.cost or 0), row.visit.due_on))


def tray_visits(week: Week) -> QuerySet[Visit]:
    """Visits of the week that are on no round of any week."""
    visits = visits_to_plan(week.monday, week.sunday).filter(due_on__lte=week.sunday)
    return visits.exclude(Exists(Stop.objects.filter(visit=OuterRef("pk"), helps=False)))


def _tray_row(visit: Visit, left: dict[str, Any] | None, week: Week) -> TrayRow:
    today = timezone.localdate()
    overdue = max((min(max(today, week.monday), week.sunday) - visit.due_on).days, 0)
    return TrayRow(
        visit=visit,
        why_due=due_words(visit, overdue),
        why_not=left["reason"] if left else _("Not planned yet."),
        state=left["state"] if left else "new",
        cost=left.get("cost") if left else None,
        late_days=max((week.sunday - visit.due_on).days, 0),
        promise_moved=visit.promised_start is not None and visit.planned_on is not None,
    )


def score_figures(plan: WeekPlan | None, left_out: int) -> list[ScoreFigure]:
    """Kilometres, hours, overtime, lateness, left out and moved promises, with the change since the last plan.

    ``left_out`` is counted now: a visit may have come up since the plan was made.
    """
    if plan is None or not plan.score:
        return []
    score = plan.score | {"left_out": left_out}
    before = score.get("before") or {}
    rows = [_figure(key, label, score.get(key), before.get(key), form) for key, label, form in figures()]
    return [row for row in rows if row.key not in NIGHTS or score.get(row.key) or before.get(row.key)]


def figures() -> list[tuple[str, str, str]]:
    return [
        ("left_out", _("left out"), "count"),
        ("late_days", _("days late"), "count"),
        ("promises_moved", _("promises moved"), "count"),
        ("overtime_h", _("overtime"), "hours"),
        ("hours", _("on the road and on site"), "hours"),
        ("km", _("driven"), "km"),
        ("nights", _("nights away"), "count"),
        ("lodging", _("for lodging"), "money"),
    ]


def _figure(key: str, label: str, now: float | None, before: float | None, form: str) -> ScoreFigure:
    value = now or 0
    change = None if before is None else value - before
    words = "" if change is None else change_words(change, form)
    differs = change is not None and is_shown(change, form)
    return ScoreFigure(key, label, figure_text(value, form), words, (change or 0) < 0 if differs else None)


def figure_text(value: float, form: str) -> str:
    if form == "km":
        return units.show("length", value, current_display().unit_for("length"))
    if form == "money":
        return f"{value:,.2f} {currency()}"
    if form == "hours":
        return _("%(n)s h") % {"n": f"{value:,.1f}"}
    return f"{value:,.0f}"


def currency() -> str:
    return Firm.objects.values_list("currency", flat=True).first() or ""


def change_words(change: float, form: str) -> str:
    if not is_shown(change, form):
        return _("no change")
    sign = "+" if change > 0 else "−"
    return f"{sign}{abs(_in_units(change, form)):,.{_digits(form)}f}"


def is_shown(change: float, form: str) -> bool:
    """Whether a change is large enough to be seen in the digits shown."""
    return round(abs(_in_units(change, form)), _digits(form)) > 0


def _in_units(change: float, form: str) -> float:
    return units.from_canonical("length", change, current_display().unit_for("length")) if form == "km" else change


def _digits(form: str) -> int:
    return 1 if form == "hours" else 0


def stop_of(visit: Visit, week: Week) -> Stop | None:
    return parts_of(visit, week)[0]


def parts_of(visit: Visit, week: Week) -> tuple[Stop | None, Stop | None]:
    """Where a visit and the second person's part of it stand in the week's plan."""
    plan = {"round__plan__iso_year": week.year, "round__plan__iso_week": week.number}
    rows = Stop.objects.filter(visit=visit, **plan).select_related("round__technician__user", "round__plan")
    found = {row.helps: row for row in rows}
    return found.get(False), found.get(True)


def move_initial(stop: Stop | None, plan: WeekPlan | None) -> dict[str, Any]:
    """What the move form shows at first: where the visit is now."""
    values: dict[str, Any] = {"version": plan.version if plan else 1}
    if stop is not None:
        row = stop.round
        values |= {"technician": row.technician_id, "day": row.date.isoformat(), "position": stop.position}
    return values
