"""A person's round as they drive it: the stops in order, how to get in, what is due, what to know."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import GateCode, Site, SiteKey
from servicedesk.people.models import Lodging, Permission, PermissionKind, Role, Technician, User, Van
from servicedesk.routes.crews import crew_min, crew_words, helper_of
from servicedesk.routes.models import Round, Stop
from servicedesk.routes.queries.crews import crews_planned, crews_published
from servicedesk.routes.queries.ends import Ends, ends_of, lodgings_of
from servicedesk.routes.queries.estimates import StopEstimate, arrival_words
from servicedesk.routes.queries.load import LoadList
from servicedesk.routes.queries.tour import tour_load
from servicedesk.routes.queries.words import due_words, window_words
from servicedesk.routes.times import Clock, clock, distance_words, hours_words, instant
from servicedesk.visits.models import HandOn, Visit
from servicedesk.visits.queries.schedule import OPEN, sites_with_notes

MAY_SEE_ANY_ROUND = (Role.PLANNER, Role.LEAD_AQUARIST, Role.OWNER)
DONE = (Visit.State.SIGNED, Visit.State.NOT_DONE, Visit.State.CANCELLED)
PROMISE_MIN = 30


@dataclass(frozen=True, slots=True)
class StopTimes:
    """When a stop is reached, begun and left, in seconds of the round's date.

    ``helps``: it is the second person's part of a visit that another round has.
    """

    visit_id: str
    travel_s: int
    distance_m: int
    arrive_s: int
    start_s: int
    leave_s: int
    locked: bool = False
    helps: bool = False

    @property
    def call(self) -> str:
        return helper_of(self.visit_id) if self.helps else self.visit_id

    @property
    def wait_s(self) -> int:
        return self.start_s - self.arrive_s


ROUND_FIELDS = (
    "leave_s", "return_s", "travel_s", "distance_m", "overtime_s", "break_start_s", "break_s", "start_lodging_id",
    "lodging_id",
)  # fmt: skip
AWAY = ("start_lodging_id", "lodging_id")


@dataclass(frozen=True, slots=True)
class RoundTimes:
    """A round's times, either as planned now or as last published.

    ``start_lodging_id``, ``lodging_id``: where the nights before and after it are spent; None is at home.
    """

    leave_s: int | None
    return_s: int | None
    travel_s: int
    distance_m: int
    overtime_s: int
    break_start_s: int | None
    break_s: int
    stops: list[StopTimes]
    is_published: bool
    start_lodging_id: int | None = None
    lodging_id: int | None = None

    @property
    def nights(self) -> tuple[int | None, int | None]:
        """The lodgings of the nights before and after."""
        return self.start_lodging_id, self.lodging_id

    @property
    def is_empty(self) -> bool:
        """Nothing to drive: no stop, and no night away before or after."""
        return not self.stops and self.start_lodging_id is None and self.lodging_id is None

    @property
    def back_travel_s(self) -> int:
        """The drive home: what is left of all travel after the drives to the stops."""
        return max(self.travel_s - sum(stop.travel_s for stop in self.stops), 0)

    @property
    def work_s(self) -> int:
        return sum(stop.leave_s - stop.start_s for stop in self.stops)


@dataclass(frozen=True, slots=True)
class NeedRow:
    """A permission the site asks for, and whether the technician holds it on the day."""

    kind: PermissionKind
    last_day: date | None

    @property
    def held(self) -> bool:
        return self.last_day is not None


@dataclass(frozen=True, slots=True)
class KeyRow:
    key: SiteKey
    mine: bool


@dataclass(slots=True)
class StopView:
    """One stop as the technician, the round sheet and the planner's timeline read it.

    ``mate``: the other person of a visit for two.
    """

    position: int
    visit: Visit
    times: StopTimes | None
    arrive: Clock | None
    start: Clock | None
    leave: Clock | None
    windows: list[str]
    needs: list[NeedRow]
    keys: list[KeyRow]
    codes: list[GateCode]
    notes: list[HandOn]
    added: bool = False
    break_min: int = 0
    estimate: StopEstimate | None = None
    mate: Technician | None = None

    @property
    def site(self) -> Site:
        return self.visit.site

    @property
    def helps(self) -> bool:
        """Only the second person's part: the visit and its form are somebody else's."""
        return self.times is not None and self.times.helps

    @property
    def minutes(self) -> int:
        if self.helps and self.times is not None:
            return round((self.times.leave_s - self.times.start_s) / 60)
        return self.visit.duration_min

    @property
    def crew_words(self) -> str:
        """Whom one helps, or who comes to help; empty where one person is enough."""
        at = self.start.short if self.start is not None else ""
        if self.helps:
            return crew_words(str(self.mate or _("the lead")), self.minutes, at, helps=True)
        minutes = crew_min(self.visit) or self.minutes
        return crew_words(str(self.mate), minutes, helps=False) if self.mate is not None else ""

    @property
    def arrival_words(self) -> str:
        """Arriving, the break where it is taken there, and beginning."""
        if self.arrive is None or self.start is None:
            return ""
        return arrival_words(self.arrive, self.start, self.break_min)

    @property
    def begun_words(self) -> str:
        """For whoever helps: that the other has begun already."""
        if not self.helps or self.visit.state != Visit.State.STARTED or self.is_done:
            return ""
        return _("%(name)s has begun") % {"name": self.mate or _("the lead")}

    @property
    def lacks_helper(self) -> bool:
        return not self.helps and self.mate is None and crew_min(self.visit) > 0 and self.visit.state in OPEN

    @property
    def is_done(self) -> bool:
        """Signed or given up; a helper's part is over when its minutes since the visit was begun are."""
        begun = self.visit.started_at
        if self.helps and begun is not None and begun + timedelta(minutes=self.minutes) <= timezone.now():
            return True
        return self.visit.state in DONE

    @property
    def promise_words(self) -> str:
        """The hour told to the client, with its half hour either side."""
        at = self.visit.promised_start
        if at is None or self.helps:
            return ""
        middle = datetime.combine(date(2000, 1, 2), at)
        half = timedelta(minutes=PROMISE_MIN)
        return f"{middle - half:%H:%M}–{middle + half:%H:%M}"

    @property
    def promise_kept(self) -> bool:
        """Whether the planned start still lies within the hour that was promised."""
        at = self.visit.promised_start
        if at is None or self.start is None or self.helps:
            return True
        promised = self.start.site.replace(hour=at.hour, minute=at.minute, second=0)
        return abs(self.start.site - promised) <= timedelta(minutes=PROMISE_MIN)

    @property
    def why_due(self) -> str:
        return due_words(self.visit)

    @property
    def drive_min(self) -> int:
        return round(self.times.travel_s / 60) if self.times else 0

    @property
    def wait_min(self) -> int:
        """Slack before the visit, without the break when it is taken there."""
        return max(round(self.times.wait_s / 60) - self.break_min, 0) if self.times else 0

    @property
    def distance_words(self) -> str:
        return distance_words(self.times.distance_m) if self.times else ""

    @property
    def geo_uri(self) -> str:
        """RFC 5870, for the device's own navigation."""
        return f"geo:{self.site.latitude:.6f},{self.site.longitude:.6f}"


@dataclass(slots=True)
class RoundView:
    technician: Technician
    day: date
    round: Round | None
    times: RoundTimes | None
    stops: list[StopView]
    van: Van | None
    load: LoadList | None = None
    leave: Clock | None = None
    back: Clock | None = None
    lunch: Clock | None = None
    hidden_draft: bool = False
    warnings: list[dict[str, Any]] = field(default_factory=list)
    lodgings: dict[int, Lodging] = field(default_factory=dict)

    @property
    def ends(self) -> Ends:
        """Where the day begins and ends."""
        return ends_of(self.technician, self.times, self.lodgings)

    @property
    def is_driven(self) -> bool:
        """Whether there is anything to drive: a stop, or the way to or from a night away."""
        return bool(self.stops) or (self.times is not None and not self.times.is_empty)

    @property
    def next_stop(self) -> StopView | None:
        """The stop being done, else the first not done yet. Whoever helps is where her own stops put her."""
        open_stops = [stop for stop in self.stops if not stop.is_done]
        started = [stop for stop in open_stops if stop.visit.state == Visit.State.STARTED and not stop.helps]
        return next(iter(started or open_stops), None)

    @property
    def distance_words(self) -> str:
        return distance_words(self.times.distance_m) if self.times else ""

    @property
    def drive_words(self) -> str:
        return hours_words(self.times.travel_s) if self.times else ""

    @property
    def back_min(self) -> int:
        return round(self.times.back_travel_s / 60) if self.times else 0

    @property
    def done_count(self) -> int:
        return sum(stop.is_done for stop in self.stops)

    @property
    def is_draft(self) -> bool:
        return self.times is not None and not self.times.is_published

    @property
    def changed_since_published(self) -> bool:
        """Whether the planner's draft has moved on from what was published."""
        if self.round is None or self.times is None or not self.times.is_published:
            return False
        if times_planned(self.round).nights != self.times.nights:
            return True
        planned = [stop.call for stop in times_planned(self.round).stops]
        return planned != [stop.call for stop in self.times.stops]


def technicians_on(day: date) -> QuerySet[Technician]:
    return technicians_between(day, day)


def technicians_between(first: date, last: date) -> QuerySet[Technician]:
    """People who drive rounds on any of the days."""
    return (
        Technician.objects.filter(Q(last_day=None) | Q(last_day__gte=first), first_day__lte=last, user__is_active=True)
        .select_related("user", "depot", "van")
        .order_by("depot__city", "user__name")
    )


def may_see_any_round(user: User) -> bool:
    return user.has_role(*MAY_SEE_ANY_ROUND)


def technician_for(user: User, pk: int | None) -> Technician | None:
    """Whose round the person may open: their own, or anyone's for planner, lead aquarist and owner; else 404.

    None: no round of their own, as yet or by their role.
    """
    technicians = Technician.objects.select_related("user", "depot", "van")
    own = technicians.filter(user=user).first()
    if pk is None:
        return own
    if own is not None and own.pk == pk:
        return own
    if not may_see_any_round(user):
        raise Http404
    return get_object_or_404(technicians, pk=pk)


def technician_in_week(pk: int) -> Technician:
    return get_object_or_404(Technician.objects.select_related("user", "depot", "van"), pk=pk)


def today_of(technician: Technician) -> date:
    return timezone.now().astimezone(ZoneInfo(technician.time_zone)).date()


def round_of(technician: Technician, day: date) -> Round | None:
    return (
        Round.objects.filter(technician=technician, date=day)
        .select_related("plan", "van", "technician__user", "technician__depot")
        .prefetch_related("stops")
        .first()
    )


def times_planned(row: Round, stops: Iterable[Stop] | None = None) -> RoundTimes:
    """The round as it stands in the plan."""
    rows = [
        StopTimes(
            str(stop.visit_id),
            stop.travel_s,
            stop.distance_m,
            stop.arrive_s,
            stop.start_s,
            stop.leave_s,
            stop.locked,
            stop.helps,
        )
        for stop in (row.stops.all() if stops is None else stops)
    ]
    return RoundTimes(**{name: getattr(row, name) for name in ROUND_FIELDS}, stops=rows, is_published=False)


def times_published(row: Round) -> RoundTimes | None:
    """The round as it was last published."""
    kept = row.published
    if kept is None:
        return None
    stops = [StopTimes(**stop) for stop in kept["stops"]]
    parts = {key: value for key, value in kept.items() if key != "stops"}
    return RoundTimes(**parts, stops=stops, is_published=True)


def times_kept(times: RoundTimes) -> dict[str, Any]:
    """What ``times_published`` reads back."""
    names = [name for name in ROUND_FIELDS if name not in AWAY or getattr(times, name) is not None]
    return {name: getattr(times, name) for name in names} | {"stops": [_stop_kept(stop) for stop in times.stops]}


def _stop_kept(stop: StopTimes) -> dict[str, Any]:
    names = ("visit_id", "travel_s", "distance_m", "arrive_s", "start_s", "leave_s")
    return {name: getattr(stop, name) for name in names} | ({"helps": True} if stop.helps else {})


def round_view(technician: Technician, day: date, *, draft: bool, with_load: bool = True) -> RoundView:
    """A technician's day. ``draft``: as planned now; else as published, never what is still being planned."""
    row = round_of(technician, day)
    times = None
    if row is not None:
        times = times_planned(row) if draft else times_published(row)
    own_van = getattr(technician, "van", None)
    view = RoundView(technician, day, row, times, [], (row.van if row else None) or own_van)
    view.hidden_draft = row is not None and times is None and not times_planned(row).is_empty
    view.stops = _stop_views(technician, day, times, draft=draft)
    if row is not None:
        _with_mates(view, row, draft=draft)
    if times is not None:
        view.lodgings = lodgings_of([times])
        zone = ZoneInfo(technician.time_zone)
        view.leave = clock(day, times.leave_s, zone, zone) if times.leave_s is not None else None
        view.back = clock(day, times.return_s, zone, zone) if times.return_s is not None else None
        view.lunch = clock(day, times.break_start_s, zone, zone) if times.break_start_s is not None else None
    if with_load:
        times_of = times_planned if draft else times_published
        view.load = tour_load(view, times_of, lambda on, times: _stop_views(technician, on, times, draft=draft))
    return view


def _with_mates(view: RoundView, row: Round, *, draft: bool) -> None:
    """Say who does the visits for two with the technician and, while it is planned, where nobody does."""
    for_two = [str(stop.visit.pk) for stop in view.stops if stop.helps or crew_min(stop.visit)]
    crews = crews_planned(row.plan) if draft else crews_published(row, for_two)
    for stop in view.stops:
        stop.mate = crews.mate(str(stop.visit.pk), helps=stop.helps)
    if draft:
        lacking = crews.lacking_on((row.technician_id, row.date))
        view.warnings = [*row.warnings, *({"visit": str(lack.visit.pk), "words": lack.words} for lack in lacking)]


def _stop_views(technician: Technician, day: date, times: RoundTimes | None, *, draft: bool) -> list[StopView]:
    order = {stop.visit_id: stop for stop in times.stops} if times else {}
    ids = set(order)
    if not draft:
        extra = Visit.objects.filter(technician=technician.user, planned_on=day, state__in=_ON_A_ROUND)
        ids |= {str(pk) for pk in extra.values_list("pk", flat=True)}
    visits = {str(visit.pk): visit for visit in visits_with_sites(ids)}
    sequence = [*order, *sorted(ids - set(order), key=lambda pk: visits[pk].planned_start or _LATE)]
    notes = sites_with_notes({visit.site_id for visit in visits.values()})
    held = permissions_last_days(technician.user, day)
    zone = ZoneInfo(technician.time_zone)
    return [
        _stop_view(position, visits[pk], order.get(pk), day, zone, held, notes, technician, _break_min(times, pk))
        for position, pk in enumerate((pk for pk in sequence if pk in visits), start=1)
    ]


def _break_min(times: RoundTimes | None, pk: str) -> int:
    """Minutes of the break that are taken between arriving at a stop and beginning there."""
    if times is None or times.break_start_s is None:
        return 0
    stop = next((row for row in times.stops if row.visit_id == pk), None)
    inside = stop is not None and stop.arrive_s <= times.break_start_s < stop.start_s
    return round(times.break_s / 60) if inside else 0


_ON_A_ROUND = (Visit.State.PUBLISHED, Visit.State.STARTED, Visit.State.SIGNED, Visit.State.NOT_DONE)
_LATE = datetime.max.time()


def visits_with_sites(ids: Iterable[str]) -> QuerySet[Visit]:
    """Visits with all that a stop shows of them."""
    return (
        Visit.objects.filter(pk__in=list(ids))
        .select_related("site__client", "agreement", "technician")
        .prefetch_related(
            "covers__installation",
            "tasks",
            "site__access_windows",
            "site__closures",
            "site__needed_permissions",
            Prefetch("site__keys", queryset=SiteKey.objects.filter(archived_at=None).select_related("holder")),
            Prefetch("site__gate_codes", queryset=GateCode.objects.filter(archived_at=None).defer("secret")),
        )
    )


def permissions_last_days(user: User, on: date) -> dict[int, date]:
    """Permission kinds a person holds on a day, with the last day of each."""
    rows = Permission.objects.filter(user=user, first_day__lte=on, last_day__gte=on)
    return {row.kind_id: row.last_day for row in rows.order_by("last_day")}


def _stop_view(
    position: int,
    visit: Visit,
    times: StopTimes | None,
    day: date,
    zone: ZoneInfo,
    held: dict[int, date],
    notes: dict[int, list[HandOn]],
    technician: Technician,
    break_min: int,
) -> StopView:
    site = visit.site
    site_zone = ZoneInfo(site.time_zone)
    start_day = instant(day, times.start_s, zone).astimezone(site_zone).date() if times else visit.planned_on or day
    return StopView(
        position=position,
        visit=visit,
        times=times,
        arrive=clock(day, times.arrive_s, zone, site_zone) if times else None,
        start=clock(day, times.start_s, zone, site_zone) if times else None,
        leave=clock(day, times.leave_s, zone, site_zone) if times else None,
        windows=window_words(site, start_day),
        needs=[NeedRow(kind, held.get(kind.pk)) for kind in site.needed_permissions.all()],
        keys=[KeyRow(key, key.holder_id == technician.user_id) for key in site.keys.all()],
        codes=list(site.gate_codes.all()),
        notes=notes.get(site.pk, []),
        added=times is None,
        break_min=break_min,
    )
