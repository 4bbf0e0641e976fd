"""Rounds under way today, read from what was begun and ended: when the next stop is reached, which runs late."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from math import ceil
from zoneinfo import ZoneInfo

from django.db.models import Prefetch
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.people.models import Lodging, Permission, Technician, User
from servicedesk.routes.crews import calls_published, crew_min, helper_of, visit_of
from servicedesk.routes.models import Round
from servicedesk.routes.queries.crews import rounds_sharing
from servicedesk.routes.queries.ends import Ends, ends_of, lodgings_of
from servicedesk.routes.queries.estimates import StopEstimate
from servicedesk.routes.queries.problem import week_points
from servicedesk.routes.queries.round import RoundTimes, times_published
from servicedesk.routes.queries.shifts import Shift, shifts_between
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.queries.windows import visit_windows
from servicedesk.routes.remedies import Key, Remedy, remedies
from servicedesk.routes.running import Call, Expected, Going, Run, helping, not_there, passed, run
from servicedesk.routes.times import Clock, clock, hours_words, instant, seconds_at
from servicedesk.visits.models import Visit

CLOSED = (Visit.State.SIGNED, Visit.State.NOT_DONE, Visit.State.CANCELLED)
GIVEN = (Visit.State.PUBLISHED, Visit.State.STARTED, Visit.State.SIGNED, Visit.State.NOT_DONE)
FORGOTTEN_AFTER = timedelta(hours=6)
QUARTER = timedelta(minutes=15)
PASSES = 6  # a later beginning of one pair may make another of the same day later


@dataclass(slots=True)
class LiveRound:
    """A technician's day under way."""

    round: Round
    going: Going
    visits: dict[str, Visit]
    now_s: int
    run: Run
    estimates: dict[str, StopEstimate] = field(default_factory=dict)
    lodgings: Mapping[int, Lodging] = field(default_factory=dict)

    @property
    def technician(self) -> Technician:
        return self.round.technician

    @property
    def key(self) -> Key:
        return self.round.technician_id, self.round.date

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.technician.time_zone)

    @property
    def late_min(self) -> int:
        return round(self.run.late_s / 60)

    @property
    def late_words(self) -> str:
        return hours_words(self.run.late_s)

    @property
    def ends(self) -> Ends:
        return ends_of(self.technician, self.going.times, self.lodgings)

    @property
    def home(self) -> Clock:
        return clock(self.round.date, self.run.back_s, self.zone, self.zone)

    @property
    def over_words(self) -> str:
        return hours_words(self.run.over_s)

    @property
    def is_begun(self) -> bool:
        return any(stop.state != "ahead" for stop in self.run.stops)

    @property
    def is_over(self) -> bool:
        return all(stop.state == "done" for stop in self.run.stops)

    @property
    def is_out(self) -> bool:
        """Begun, and not back yet by what is expected."""
        return self.is_begun and (not self.is_over or self.now_s < self.run.back_s)

    @property
    def is_home(self) -> bool:
        return self.is_over and not self.is_out

    @property
    def risks(self) -> list["Risk"]:
        return [self.risk(stop) for stop in self.run.risks]

    def risk(self, stop: Expected) -> "Risk":
        return Risk(self.visits[stop.visit_id], self.estimates[stop.visit_id], self)

    def estimate(self) -> None:
        """Put what is expected on the clocks."""
        self.estimates = {
            stop.visit_id: _estimate(stop, self.visits[stop.visit_id], self.round, self.zone, self.run)
            for stop in self.run.stops
        }

    def wait_for(self, visit: str, at: datetime) -> None:
        """Nobody begins the visit before the other person is there: time the day on with that."""
        moment = seconds_at(at, self.round.date, self.zone)
        calls = self.going.calls | {visit: replace(self.going.calls[visit], together_s=moment)}
        self.going = replace(self.going, calls=calls)
        self.run = run(self.going, self.now_s)
        self.estimate()

    @property
    def stops(self) -> list[tuple[Visit, StopEstimate]]:
        return [(self.visits[stop.visit_id], self.estimates[stop.visit_id]) for stop in self.run.stops]


@dataclass(frozen=True, slots=True)
class Risk:
    """A promise or an open door that will be missed, by how much, and whom to ring."""

    visit: Visit
    estimate: StopEstimate
    live: LiveRound

    @property
    def words(self) -> str:
        words = {"site": self.visit.site.name, "at": self.estimate.start.text, "late": self.estimate.promise_late_words}
        if self.estimate.shut:
            return _("%(site)s is reached about %(at)s: too late for its open hours.") % words
        return _("%(site)s about %(at)s: %(late)s after what was promised.") % words

    @property
    def new_hour(self) -> datetime:
        """The hour to offer the client: the next quarter on the site's clock."""
        at = self.estimate.start.site.replace(second=0, microsecond=0)
        return at + timedelta(minutes=ceil(at.minute / 15) * 15 - at.minute)

    @property
    def may_offer(self) -> bool:
        """An hour of the same date, at a door that is open then."""
        return not self.estimate.shut and self.new_hour.date() == self.visit.planned_on


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy in words, with what stays broken."""

    remedy: Remedy
    visit: Visit
    words: str
    then: list[str]
    to: Technician | None

    @property
    def keeps_all(self) -> bool:
        return self.remedy.broken == 0


def live_rounds(now: datetime | None = None) -> list[LiveRound]:
    """All published rounds that are being driven today, in a fixed number of queries."""
    now = now or timezone.now()
    days = [now.date() + timedelta(days=step) for step in (-1, 0, 1)]
    rows = Round.objects.filter(date__in=days, published__isnull=False).select_related(
        "technician__user", "technician__depot", "plan"
    )
    return _live([row for row in rows if _is_on(row, now)], now)


def live_round(technician: Technician, day: date, now: datetime | None = None) -> LiveRound | None:
    """One round, when it is today's or still being driven."""
    now = now or timezone.now()
    row = (
        Round.objects.filter(technician=technician, date=day, published__isnull=False)
        .select_related("technician__user", "technician__depot", "plan")
        .first()
    )
    return next(iter(_live([row], now)), None) if row is not None and _is_on(row, now) else None


def _is_on(row: Round, now: datetime) -> bool:
    zone = ZoneInfo(row.technician.time_zone)
    if not (row.published or {}).get("stops"):
        return False
    if row.date == now.astimezone(zone).date():
        return True
    leave, back = (row.published or {}).get("leave_s") or 0, (row.published or {}).get("return_s") or 0
    return instant(row.date, leave, zone) <= now <= instant(row.date, max(back, 86_400), zone) + FORGOTTEN_AFTER and (
        back > 86_400
    )


def _live(asked: Sequence[Round], now: datetime) -> list[LiveRound]:
    """The rounds asked for as they go, timed with those that share a visit for two with them."""
    rows = [*asked, *rounds_sharing(asked)]
    found = _timed(rows, now)
    begin_together(found)
    wanted = {row.pk for row in asked}
    return [live for live in found if live.round.pk in wanted]


def begin_together(rounds: Sequence[LiveRound]) -> None:
    """Two people begin at one moment: whoever is there first waits, and both rounds go on from there."""
    for _pass in range(PASSES):
        starts: dict[str, list[tuple[LiveRound, datetime]]] = {}
        for live in rounds:
            for stop in live.run.stops:
                if stop.state == "ahead" and live.going.calls[stop.visit_id].for_two:
                    at = instant(live.round.date, stop.start_s, live.zone)
                    starts.setdefault(stop.visit_id, []).append((live, at))
        later = [
            (live, visit, max(at for _live, at in both))
            for visit, both in starts.items()
            for live, at in both
            if at < max(other for _live, other in both)
        ]
        if not later:
            return
        for live, visit, at in later:
            live.wait_for(visit, at)


def _timed(rows: Sequence[Round], now: datetime) -> list[LiveRound]:
    visits = _visits(rows)
    people = [row.technician for row in rows]
    days = sorted({row.date for row in rows})
    shifts = shifts_between(people, days[0], days[-1]) if rows else {}
    times = {row.pk: kept for row in rows if (kept := times_published(row)) is not None}
    lodgings = lodgings_of(times.values())
    travel = provider_for(week_points(people, visits.values(), lodgings.values()))
    found = []
    for row in rows:
        own = {pk: visit for pk, visit in visits.items() if _belongs(visit, row)}
        zone = ZoneInfo(row.technician.time_zone)
        now_s = seconds_at(now, row.date, zone)
        shift = shifts.get((row.technician_id, row.date))
        ends = ends_of(row.technician, times[row.pk], lodgings)
        going = Going(
            ends.start.point, ends.end.point, times[row.pk], _calls(row, times[row.pk], own, zone, now_s),
            _limit(row.technician, shift), travel,
        )  # fmt: skip
        live = LiveRound(row, going, own, now_s, run(going, now_s), lodgings=lodgings)
        live.estimate()
        if live.run.stops:
            found.append(live)
    return found


def _visits(rows: Sequence[Round]) -> dict[str, Visit]:
    """What is on the rounds, with what was added by hand since."""
    ids = {visit_of(call) for row in rows for call in calls_published(row)}
    users = {row.technician.user_id for row in rows}
    extra = Visit.objects.filter(
        technician__in=users, planned_on__in={row.date for row in rows}, state__in=GIVEN
    ).values_list("pk", flat=True)
    sites = Site.objects.select_related("client").prefetch_related("access_windows", "closures", "needed_permissions")
    query = Visit.objects.filter(pk__in={*ids, *map(str, extra)}).select_related("agreement", "technician")
    barred = Prefetch("agreement__barred_technicians", queryset=User.objects.only("pk"))
    return {str(row.pk): row for row in query.prefetch_related(Prefetch("site", queryset=sites), barred)}


def _belongs(visit: Visit, row: Round) -> bool:
    """Still this technician's: not given to somebody else, taken off or called off since it was published.

    Who helps goes on helping whoever has the visit, while it stays on its day.
    """
    if helper_of(str(visit.pk)) in calls_published(row):
        on_day = visit.planned_on is not None and abs(visit.planned_on - row.date) <= timedelta(days=1)
        return on_day and visit.state != Visit.State.CANCELLED
    if visit.technician_id != row.technician.user_id or visit.state == Visit.State.CANCELLED:
        return False
    return str(visit.pk) in calls_published(row) or visit.planned_on == row.date


def _calls(row: Round, times: RoundTimes, visits: Mapping[str, Visit], zone: ZoneInfo, now_s: int) -> dict[str, Call]:
    planned = {stop.visit_id: stop for stop in times.stops}
    calls = {}
    for pk, visit in visits.items():
        stop = planned.get(pk)
        service = stop.leave_s - stop.start_s if stop else visit.duration_min * 60
        calls[pk] = Call(
            pk,
            (visit.site.latitude, visit.site.longitude),
            service,
            started_s=_seconds(visit.started_at, row.date, zone),
            ended_s=_seconds(visit.ended_at, row.date, zone),
            closed=visit.state in CLOSED,
            spans=tuple(_spans(visit, row.date, zone)),
            promise_s=_promise(visit, row.date, zone),
            planned_s=stop.start_s if stop else None,
            for_two=crew_min(visit) > 0,
        )
        if stop is not None and stop.helps:
            calls[pk] = helping(calls[pk], now_s)
    return passed(not_there(calls))


def _limit(who: Technician, shift: Shift | None) -> int | None:
    return shift.hours[1] + who.max_overtime_min * 60 if shift is not None and shift.hours is not None else None


def _seconds(moment: datetime | None, day: date, zone: ZoneInfo) -> int | None:
    return seconds_at(moment, day, zone) if moment is not None else None


def _spans(visit: Visit, day: date, zone: ZoneInfo) -> list[tuple[int, int]]:
    """Open hours of the site around a date; none at all when the day itself is not one of the visit's."""
    if visit.state in CLOSED or visit.started_at is not None:
        return []
    first, last = day - timedelta(days=1), day + timedelta(days=1)
    rows = visit_windows(visit, first, last, first)
    return [(seconds_at(row.opens, day, zone), seconds_at(row.closes, day, zone)) for row in rows]


def _promise(visit: Visit, day: date, zone: ZoneInfo) -> int | None:
    if visit.promised_start is None or visit.planned_on is None:
        return None
    told = datetime.combine(visit.planned_on, visit.promised_start, tzinfo=ZoneInfo(visit.site.time_zone))
    return seconds_at(told, day, zone)


def _estimate(stop: Expected, visit: Visit, row: Round, zone: ZoneInfo, day: Run) -> StopEstimate:
    site_zone = ZoneInfo(visit.site.time_zone)
    arrive, start, leave = (clock(row.date, at, zone, site_zone) for at in (stop.arrive_s, stop.start_s, stop.leave_s))
    begins_s = day.break_start_s
    breaks_here = stop.state == "ahead" and begins_s is not None and stop.arrive_s <= begins_s < stop.start_s
    return StopEstimate(
        stop.state, start, leave, round(stop.late_s / 60), ceil(stop.promise_late_s / 60), stop.shut,
        arrive, round(day.break_s / 60) if breaks_here else 0,
    )  # fmt: skip


def offers_for(live: LiveRound, everybody: Sequence[LiveRound]) -> list[Offer]:
    """What helps a late round, the best first. A visit for two goes to nobody else and no other day in passing."""
    rounds = {row.key: row for row in everybody} | {live.key: live}
    permissions = _permissions(list(rounds.values()))
    found = remedies(
        live.key,
        {key: row.going for key, row in rounds.items()},
        {key: row.now_s for key, row in rounds.items()},
        lambda pk, key: not live.going.calls[pk].for_two and _may_take(live.visits[pk], rounds[key], permissions),
        lambda pk: not live.going.calls[pk].for_two and _may_wait(live.visits[pk], live.round.date),
    )
    return [_offer(remedy, live, rounds) for remedy in found]


def _permissions(rounds: Sequence[LiveRound]) -> dict[Key, set[int]]:
    users = {row.technician.user_id for row in rounds}
    held = list(Permission.objects.filter(user__in=users, last_day__gte=min(row.round.date for row in rounds)))
    return {
        row.key: {
            have.kind_id
            for have in held
            if have.user_id == row.technician.user_id and have.first_day <= row.round.date <= have.last_day
        }
        for row in rounds
    }


def _may_take(visit: Visit, other: LiveRound, permissions: dict[Key, set[int]]) -> bool:
    """Whether another technician may do a visit at all: permissions on the day, barred people, *only* this person."""
    if visit.state != Visit.State.PUBLISHED or other.is_over:
        return False
    needs = {need.pk for need in visit.site.needed_permissions.all()}
    agreement, user = visit.agreement, other.technician.user_id
    if not needs <= permissions[other.key]:
        return False
    if agreement is None:
        return True
    if agreement.only_preferred and agreement.preferred_technician_id not in {None, user}:
        return False
    return user not in {person.pk for person in agreement.barred_technicians.all()}


def _may_wait(visit: Visit, day: date) -> bool:
    return (
        visit.state == Visit.State.PUBLISHED
        and not crew_min(visit)
        and visit.kind != Visit.Kind.URGENT
        and visit.latest_on > day
    )


def _offer(remedy: Remedy, live: LiveRound, rounds: dict[Key, LiveRound]) -> Offer:
    visit = live.visits[remedy.visit_id]
    other = rounds[remedy.to] if remedy.to else None
    names = {"site": visit.site.name, "name": other.technician if other else live.technician}
    if remedy.kind == "give" and other is not None:
        words = _("Give %(site)s to %(name)s, as stop %(n)d of those ahead.") % (names | {"n": remedy.position + 1})
    elif remedy.kind == "later":
        names["day"] = date_format(visit.latest_on, "D j M")
        words = _("Leave %(site)s for another day: it may wait until %(day)s. Ring the client.") % names
    else:
        order = [stop for stop in remedy.runs[live.key].stops if stop.state == "ahead"]
        after = order[remedy.position - 1] if remedy.position else None
        names["after"] = live.visits[after.visit_id].site.name if after else ""
        words = _("%(site)s after %(after)s.") if after else _("%(site)s first.")
        words = words % names
    return Offer(remedy, visit, words, _then(remedy, live, rounds), other.technician if other else None)


def _then(remedy: Remedy, live: LiveRound, rounds: dict[Key, LiveRound]) -> list[str]:
    """What each round would still break, and when its day would end."""
    sentences = []
    for key, after in remedy.runs.items():
        row = rounds[key]
        zone = row.zone
        names = {
            "name": row.technician,
            "at": clock(key[1], after.back_s, zone, zone).short,
            "where": row.ends.end.where,
        }
        late = [
            (live.visits | row.visits)[stop.visit_id].site.name for stop in after.risks
        ]  # fmt: skip
        if late:
            words = _("%(name)s %(where)s %(at)s; still too late: %(sites)s.") % (names | {"sites": ", ".join(late)})
        elif after.over_s:
            words = _("%(name)s %(where)s %(at)s, %(over)s beyond the overtime allowed.") % (
                names | {"over": hours_words(after.over_s)}
            )
        else:
            words = _("%(name)s %(where)s %(at)s; every promise kept.") % names
        sentences.append(words)
    return sentences
