"""The planning problem of a week, read from the database: who may work when, what is to be done where and when."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q
from django.utils import timezone

from servicedesk.clients.models import Agreement, Site
from servicedesk.people.models import Lodging, Permission, PermissionKind, Technician, User
from servicedesk.routes.crews import MINUTE_S, crew_min, helper_of, linked
from servicedesk.routes.gaps import gap_days
from servicedesk.routes.hours import Rules
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.queries.ends import Base, Ends, points_of
from servicedesk.routes.queries.hours import pay_rules, rule_on, rules_of
from servicedesk.routes.queries.load import NO_LOAD, VisitLoad, visit_loads
from servicedesk.routes.queries.round import today_of
from servicedesk.routes.queries.shifts import shifts_between
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.queries.windows import Window, visit_windows
from servicedesk.routes.times import Week, instant
from servicedesk.routes.travel import MatrixProvider, Point
from servicedesk.visits.models import Visit, VisitInstallation
from servicedesk.visits.queries.schedule import OPEN, visits_to_plan

Key = tuple[int, date]
USUAL_IN_A_WEEK = 2
SKIP_COST_EXTRA, SKIP_COST_URGENT, LATE_COST_EXTRA = Decimal(500), Decimal(3000), Decimal(40)


@dataclass(frozen=True, slots=True)
class ShiftInput:
    """A technician's working day; times in seconds from its local midnight.

    ``start_lodging``, ``lodging``: where the nights before and after it are spent; None is at home.
    """

    technician: Technician
    day: date
    open_s: int
    close_s: int
    lunch_min: int
    permissions: frozenset[int]
    goes_early: bool = False
    start_lodging: Lodging | None = None
    lodging: Lodging | None = None

    @property
    def ends(self) -> Ends:
        return Ends(Base(self.technician, self.start_lodging), Base(self.technician, self.lodging))

    @property
    def key(self) -> Key:
        return self.technician.pk, self.day

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.technician.time_zone)

    @property
    def max_overtime_s(self) -> int:
        return 0 if self.goes_early else self.technician.max_overtime_min * 60


@dataclass(frozen=True, slots=True)
class VisitInput:
    """A visit to be placed. ``pinned``: locked to a technician's day. ``before``: where it was in the last plan.

    ``gap_days``: the least days to another visit of the same agreement; 0: none is asked for.
    ``crew_s``: for how long from its beginning it needs a second person; ``helps``: this is that person's part.
    ``begins``: when a visit for two, or one begun or ended, stands to begin.
    """

    visit: Visit
    windows: tuple[Window, ...]
    needs: tuple[PermissionKind, ...]
    preferred: int | None
    only_preferred: bool
    barred: frozenset[int]
    late_cost_per_day: Decimal
    skip_cost: Decimal
    promise: datetime | None
    pinned: Key | None
    before: Key | None
    load: VisitLoad = NO_LOAD
    is_quarantine: bool = False
    gap_days: int = 0
    crew_s: int = 0
    helps: bool = False
    begins: datetime | None = None

    @property
    def id(self) -> str:
        """What it is called among a round's calls."""
        return helper_of(str(self.visit.pk)) if self.helps else str(self.visit.pk)

    @property
    def service_s(self) -> int:
        return self.crew_s if self.helps else self.visit.duration_min * MINUTE_S


@dataclass(frozen=True, slots=True)
class WeekInput:
    """``kept``: rounds that planning leaves exactly as they are (past, locked, or under way).

    ``visits``: by call, the second person's parts of those for two among them; ``orders``: the calls of each round.
    ``locked``: the rounds that a planner has locked. ``everybody``: also the people whose rounds were not read.

    ``held``: permissions by technician. ``travel``: drives among the places. ``pay``: how each person's hours are
    paid, by the rule in force on Monday. ``dates``: by agreement, the visits that want a gap and stand in the week.
    ``published``: rounds that their technicians know of. ``lodgings``: where a night away may be spent.
    """

    week: Week
    technicians: dict[int, Technician]
    everybody: dict[int, Technician]
    shifts: dict[Key, ShiftInput]
    off: dict[Key, str]
    visits: dict[str, VisitInput]
    orders: dict[Key, list[str]]
    kept: frozenset[Key]
    held: dict[int, list[Permission]]
    travel: MatrixProvider
    pay: dict[int, Rules]
    dates: dict[int, dict[str, date]]
    published: frozenset[Key] = frozenset()
    lodgings: tuple[Lodging, ...] = ()
    locked: frozenset[Key] = frozenset()


def week_input(
    week: Week,
    plan: WeekPlan,
    technicians: Mapping[int, Technician],
    *,
    wanted: Visit | None = None,
    today: date | None = None,
    only: Collection[Key] | None = None,
    lodgings: Sequence[Lodging] = (),
) -> WeekInput:
    """Everything the planner must know of a week, in a fixed number of queries.

    ``wanted`` is a visit that a person asks for although the week would not by itself have taken it up.
    ``today``: the day from which work may be planned, by default each technician's own; rounds before it are kept.
    ``only``: read no more than these rounds and those that share a visit with them, for timing them anew.
    ``lodgings``: those asked about then.
    """
    found = plan.rounds.select_related("technician", "start_lodging", "lodging").prefetch_related("stops")
    if only is not None:
        found = found.filter(date__in={key[1] for key in only})
        only = linked(only, _sharing(found))
    rounds = [row for row in found if only is None or _key(row) in only]
    everybody = dict(technicians)
    if only is not None:
        technicians = {pk: who for pk, who in technicians.items() if pk in {key[0] for key in only}}
    days = {pk: today or today_of(who) for pk, who in technicians.items()}
    first_open = max(min(days.values(), default=timezone.localdate()), week.monday)
    held = _held(technicians.values(), week.monday, week.sunday)
    shifts, off = _shifts(week, technicians, held)
    stand = {_key(row) for row in rounds}
    shifts = {key: shift for key, shift in shifts.items() if key in stand or key[1] >= days[key[0]]}
    _stay_away(shifts, rounds)
    if only is None and any(who.may_stay_away for who in technicians.values()):
        lodgings = lodgings_open()
    slept_in = [lodging for row in rounds for lodging in (row.start_lodging, row.lodging) if lodging is not None]
    on_rounds = [stop.visit_id for row in rounds for stop in row.stops.all()]
    also = [*on_rounds, *([wanted.pk] if wanted else [])]
    visits = week_visits(week, also) if only is None else visits_read(also)
    places = {call_of(stop): (row, stop) for row in rounds for stop in row.stops.all()}
    loads = visit_loads([visit for visit in visits if visit.state in OPEN])
    quarantine, dates = _quarantine(visits), _dates(plan, visits)
    gaps = _gaps(week, visits, dates)
    rules = pay_rules(list(technicians.values()))
    return WeekInput(
        week=week,
        technicians=dict(technicians),
        everybody=everybody,
        shifts=shifts,
        off=off,
        visits=_with_helpers(
            [
                replace(
                    _visit_input(visit, week, first_open, places.get(str(visit.pk)), everybody),
                    load=loads.get(visit.pk, NO_LOAD),
                    is_quarantine=visit.pk in quarantine,
                    gap_days=gaps.get(visit.agreement_id, 0) if wanted_gap(visit) else 0,
                )
                for visit in visits
            ],
            places,
        ),
        orders={_key(row): [call_of(stop) for stop in row.stops.all()] for row in rounds},
        kept=frozenset(
            _key(row) for row in rounds if _is_kept(row, days.get(row.technician_id) or today_of(row.technician))
        ),
        held={pk: held.get(who.user_id, []) for pk, who in technicians.items()},
        travel=provider_for(week_points(technicians.values(), visits, [*lodgings, *slept_in])),
        pay={pk: rules_of(who, rule_on(rules.get(pk, []), week.monday)) for pk, who in technicians.items()},
        dates=dates,
        published=frozenset(_key(row) for row in rounds if row.published is not None),
        lodgings=tuple(lodgings),
        locked=frozenset(_key(row) for row in rounds if row.locked),
    )


def _sharing(rounds: Iterable[Round]) -> list[list[Key]]:
    """The rounds of each visit for two at which somebody helps."""
    keys: dict[UUID, list[Key]] = {}
    for row in rounds:
        for stop in row.stops.all():
            keys.setdefault(stop.visit_id, []).append(_key(row))
    return [rows for rows in keys.values() if len(rows) > 1]


def call_of(stop: Stop) -> str:
    """What a stop is called among its round's calls."""
    return helper_of(str(stop.visit_id)) if stop.helps else str(stop.visit_id)


def _with_helpers(rows: Iterable[VisitInput], places: Mapping[str, tuple[Round, Stop]]) -> dict[str, VisitInput]:
    """The visits by call; beside one for two, or with somebody who helps, the second person's part."""
    found = {}
    for row in rows:
        lead, helper = places.get(row.id), places.get(helper_of(row.id))
        seconds = crew_min(row.visit) * MINUTE_S
        if helper is not None:
            seconds = seconds or helper[1].leave_s - helper[1].start_s
        begins = _moment(*lead) if lead is not None else None
        found[row.id] = row if row.visit.state in OPEN else replace(row, begins=begins)
        if not seconds:
            continue
        row = found[row.id] = replace(row, crew_s=seconds, begins=begins)
        part = replace(
            row, helps=True, load=NO_LOAD, preferred=None, only_preferred=False, late_cost_per_day=Decimal(0),
            promise=None, gap_days=0, pinned=None, before=None,
        )  # fmt: skip
        if helper is not None:
            part = replace(part, before=_key(helper[0]), pinned=_pinned(row.visit, helper))
        found[part.id] = part
    return found


def _moment(row: Round, stop: Stop) -> datetime:
    return instant(row.date, stop.start_s, ZoneInfo(row.technician.time_zone))


def lodgings_open() -> list[Lodging]:
    """Where new nights away may be spent."""
    return list(Lodging.objects.filter(archived_at=None))


def _stay_away(shifts: dict[Key, ShiftInput], rounds: Iterable[Round]) -> None:
    """Write the nights that the rounds say into the shifts."""
    for row in rounds:
        shift = shifts.get(_key(row))
        if shift is not None and (row.start_lodging is not None or row.lodging is not None):
            shifts[shift.key] = replace(shift, start_lodging=row.start_lodging, lodging=row.lodging)


def week_points(
    technicians: Iterable[Technician], visits: Iterable[Visit], lodgings: Iterable[Lodging] = ()
) -> list[Point]:
    """Where the week's rounds begin, stop, are loaded again and end."""
    homes: list[Point] = points_of(lodgings)
    for who in technicians:
        homes += [(who.home_latitude, who.home_longitude), (who.depot.latitude, who.depot.longitude)]
    return [*dict.fromkeys(homes), *((visit.site.latitude, visit.site.longitude) for visit in visits)]


def _quarantine(visits: Iterable[Visit]) -> set[UUID]:
    """The visits that go to a quarantine system, among others or alone."""
    covers = VisitInstallation.objects.filter(
        visit__in=[visit.pk for visit in visits], installation__is_quarantine=True
    )
    return set(covers.values_list("visit_id", flat=True))


def wanted_gap(visit: Visit) -> int:
    """The days that the visit's agreement wants to the next; an extra or urgent call may come at any time."""
    if visit.kind != Visit.Kind.ROUTINE or visit.agreement is None:
        return 0
    return max(gap_days(visit.agreement.rule), 1)  # an overdue one and the next fall on different days at least


def _dates(plan: WeekPlan, visits: Iterable[Visit]) -> dict[int, dict[str, date]]:
    """On which days the visits of agreements that want a gap stand, also on rounds that were not read."""
    agreements = {visit.agreement_id for visit in visits if visit.agreement_id and wanted_gap(visit)}
    found: dict[int, dict[str, date]] = {}
    if not agreements:
        return found
    stops = Stop.objects.filter(
        round__plan=plan, helps=False, visit__agreement__in=agreements, visit__kind=Visit.Kind.ROUTINE
    ).exclude(visit__state__in=[Visit.State.NOT_DONE, Visit.State.CANCELLED])
    for agreement, visit, day in stops.values_list("visit__agreement", "visit", "round__date"):
        if agreement is not None:
            found.setdefault(agreement, {})[str(visit)] = day
    return found


def _gaps(week: Week, visits: Iterable[Visit], dates: Mapping[int, Mapping[str, date]]) -> dict[int | None, int]:
    """By agreement, the gap to keep this week; where visits have piled up, only that they fall on different days."""
    wanted = {visit.agreement_id: wanted_gap(visit) for visit in visits if wanted_gap(visit)}
    if not wanted:
        return {}
    stand = {agreement: set(rows) for agreement, rows in dates.items()}
    due = visits_to_plan(week.monday, week.sunday).filter(agreement__in=wanted, kind=Visit.Kind.ROUTINE)
    elsewhere = Stop.objects.exclude(round__plan__iso_year=week.year, round__plan__iso_week=week.number)
    due = due.exclude(pk__in=elsewhere.values("visit")).order_by()
    for agreement, visit in due.values_list("agreement", "pk"):
        if agreement is not None:
            stand.setdefault(agreement, set()).add(str(visit))
    return {
        agreement: gap if len(stand.get(agreement or 0, ())) <= USUAL_IN_A_WEEK else 1
        for agreement, gap in wanted.items()
    }


def _key(row: Round) -> Key:
    return row.technician_id, row.date


def _is_kept(row: Round, today: date) -> bool:
    return row.locked or row.date < today or (row.date == today and row.published is not None)


def _shifts(
    week: Week, technicians: Mapping[int, Technician], held: Mapping[int, Sequence[Permission]]
) -> tuple[dict[Key, ShiftInput], dict[Key, str]]:
    """Days on which each technician works, with what they may do on that very day; and why not on the others."""
    working, off = {}, {}
    for key, shift in shifts_between(list(technicians.values()), week.monday, week.sunday).items():
        if shift.hours is None:
            off[key] = shift.why_off
            continue
        who, day = technicians[key[0]], key[1]
        valid = frozenset(row.kind_id for row in held.get(who.user_id, []) if row.first_day <= day <= row.last_day)
        working[key] = ShiftInput(who, day, *shift.hours, shift.lunch_min, valid, shift.goes_early)
    return working, off


def _held(technicians: Iterable[Technician], first: date, last: date) -> dict[int, list[Permission]]:
    users = [technician.user_id for technician in technicians]
    held: dict[int, list[Permission]] = {}
    for row in Permission.objects.filter(user__in=users, first_day__lte=last, last_day__gte=first).select_related(
        "kind"
    ):
        held.setdefault(row.user_id, []).append(row)
    return held


def week_visits(week: Week, also: Iterable[object]) -> list[Visit]:
    """Visits that may or must fall into the week and are on no round of another week, and those in ``also``."""
    elsewhere = Stop.objects.exclude(round__plan__iso_year=week.year, round__plan__iso_week=week.number)
    open_here = visits_to_plan(week.monday, week.sunday).exclude(pk__in=elsewhere.values("visit")).order_by()
    return _read(Q(pk__in=open_here.values("pk")) | Q(pk__in=list(also)))


def visits_read(ids: Iterable[object]) -> list[Visit]:
    """Visits with all that planning asks of them."""
    return _read(Q(pk__in=list(ids)))


def _read(which: Q) -> list[Visit]:
    sites = Site.objects.prefetch_related("access_windows", "closures", "needed_permissions")
    return list(
        Visit.objects.filter(which)
        .select_related("agreement")
        .prefetch_related(
            Prefetch("site", queryset=sites),
            Prefetch("agreement__barred_technicians", queryset=User.objects.only("pk")),
        )
        .order_by("due_on", "pk")
    )


def _visit_input(
    visit: Visit, week: Week, not_before: date, place: tuple[Round, Stop] | None, technicians: Mapping[int, Technician]
) -> VisitInput:
    by_user = {technician.user_id: pk for pk, technician in technicians.items()}
    agreement = visit.agreement
    preferred = by_user.get(agreement.preferred_technician_id or 0) if agreement else None
    barred = agreement.barred_technicians.all() if agreement else []
    return VisitInput(
        visit=visit,
        windows=tuple(visit_windows(visit, week.monday, week.sunday, not_before)) if visit.state in OPEN else (),
        needs=tuple(visit.site.needed_permissions.all()),
        preferred=preferred,
        only_preferred=bool(agreement and agreement.only_preferred and agreement.preferred_technician_id),
        barred=frozenset(by_user[user.pk] for user in barred if user.pk in by_user),
        late_cost_per_day=agreement.lateness_cost_per_day if agreement else LATE_COST_EXTRA,
        skip_cost=_skip_cost(visit, agreement),
        promise=_promise(visit),
        pinned=_pinned(visit, place),
        before=_key(place[0]) if place else None,
    )


def _pinned(visit: Visit, place: tuple[Round, Stop] | None) -> Key | None:
    return _key(place[0]) if place and (place[1].locked or visit.state not in OPEN) else None


def _skip_cost(visit: Visit, agreement: Agreement | None) -> Decimal:
    if visit.kind == Visit.Kind.URGENT:
        return SKIP_COST_URGENT
    return agreement.skip_cost if agreement else SKIP_COST_EXTRA


def _promise(visit: Visit) -> datetime | None:
    """The moment told to the client, if any."""
    if visit.promised_start is None or visit.planned_on is None:
        return None
    at: time = visit.promised_start
    return datetime.combine(visit.planned_on, at, tzinfo=ZoneInfo(visit.site.time_zone))
