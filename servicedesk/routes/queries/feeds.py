"""What a technician's calendar shows: the published stops, in the sites' own zones."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_OID, UUID, uuid5
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import Lodging, Technician
from servicedesk.routes.crews import calls_published, crew_min, crew_words, is_helper, visit_of
from servicedesk.routes.models import CalendarFeed, Round
from servicedesk.routes.queries.ends import ends_of, lodgings_of
from servicedesk.routes.queries.round import StopTimes, times_published
from servicedesk.routes.times import instant
from servicedesk.visits.models import Visit

PAST = timedelta(days=14)
NIGHTS = uuid5(NAMESPACE_OID, "saltround.night-away")
GIVEN = (Visit.State.PUBLISHED, Visit.State.STARTED, Visit.State.SIGNED)


@dataclass(frozen=True, slots=True)
class Appointment:
    """A published stop, as instants on the site's clock."""

    visit: Visit
    day: str
    number: int
    begins: datetime
    ends: datetime
    changed_at: datetime
    helps: Technician | None = None
    helper: Technician | None = None

    @property
    def round_day(self) -> date:
        return date.fromisoformat(self.day)

    @property
    def helper_words(self) -> str:
        """Who comes to help the lead of a visit for two."""
        return str(_("%(name)s comes to help.") % {"name": self.helper}) if self.helper is not None else ""

    @property
    def uid(self) -> str:
        """Of its own for a helper's part: two people may read both calendars in one."""
        return str(self.visit.pk) if self.helps is None else str(uuid5(self.visit.pk, "helper"))

    @property
    def help_words(self) -> str:
        """Whom one helps, for how long, from when; empty for a visit of one's own."""
        if self.helps is None:
            return ""
        minutes = round((self.ends - self.begins).total_seconds() / 60)
        return crew_words(str(self.helps), minutes, f"{self.begins:%H:%M}", helps=True)


@dataclass(frozen=True, slots=True)
class NightAway:
    """A night in a lodging, from coming there to leaving in the morning, on the lodging's clock."""

    id: UUID
    lodging: Lodging
    begins: datetime
    ends: datetime
    changed_at: datetime


def feed_for(token_hash: str) -> CalendarFeed | None:
    return (
        CalendarFeed.objects.filter(
            token_hash=token_hash, revoked_at=None, technician__user__is_active=True
        )
        .select_related("technician__user")
        .first()
    )  # fmt: skip


def feed_of(technician: Technician) -> CalendarFeed | None:
    return CalendarFeed.objects.filter(technician=technician, revoked_at=None).first()


def appointments(technician: Technician) -> list[Appointment]:
    """Stops of the published rounds from two weeks ago on, and visits given by hand, in order of time."""
    since = timezone.localdate() - PAST
    rounds = list(
        Round.objects.filter(technician=technician, date__gte=since, published__isnull=False).select_related("plan")
    )
    stops = [
        (row, number, stop)
        for row in rounds
        for number, stop in enumerate(_stops(row), start=1)
    ]  # fmt: skip
    own = Visit.objects.filter(technician=technician.user, state__in=GIVEN)
    visits = {
        str(row.pk): row
        for row in own.filter(planned_on__gte=since - timedelta(days=1))
        .select_related("site", "agreement")
        .prefetch_related("tasks")
    }
    zone = ZoneInfo(technician.time_zone)
    found = [
        _appointment(row, number, stop, visits[stop.visit_id], zone)
        for row, number, stop in stops
        if stop.visit_id in visits and not stop.helps
    ]
    helpers = _helpers(rounds, [row.visit for row in found])
    found = [replace(row, helper=helpers.get((row.day, str(row.visit.pk)))) for row in found]
    found += _helping([part for part in stops if part[2].helps], zone)
    on_rounds = {stop.visit_id for _row, _number, stop in stops}
    found += [
        made
        for pk, visit in visits.items()
        if pk not in on_rounds and (made := _by_hand(visit, technician)) is not None
    ]
    return sorted(found, key=lambda row: (row.begins, str(row.visit.pk)))


def _helpers(rounds: Sequence[Round], visits: Sequence[Visit]) -> dict[tuple[str, str], Technician]:
    """Who has the second person's part of visits for two, by day and visit, in one query."""
    wanted = {str(visit.pk) for visit in visits if crew_min(visit)}
    if not wanted:
        return {}
    others = Round.objects.filter(
        plan__in={row.plan_id for row in rounds}, date__in={row.date for row in rounds}, published__isnull=False
    )
    return {
        (other.date.isoformat(), visit_of(call)): other.technician
        for other in others.select_related("technician__user")
        for call in calls_published(other)
        if is_helper(call) and visit_of(call) in wanted
    }


def _helping(parts: Sequence[tuple[Round, int, StopTimes]], zone: ZoneInfo) -> list[Appointment]:
    """Parts of other people's visits, while these stay on their day."""
    if not parts:
        return []
    visits = Visit.objects.filter(pk__in=[stop.visit_id for _row, _number, stop in parts], state__in=GIVEN)
    own = {str(row.pk): row for row in visits.select_related("site", "technician__technician__user")}
    found = []
    for row, number, stop in parts:
        visit = own.get(stop.visit_id)
        lead = getattr(visit.technician, "technician", None) if visit is not None else None
        if visit is not None and lead is not None and visit.planned_on == _day_there(row, stop, visit, zone):
            found.append(replace(_appointment(row, number, stop, visit, zone), helps=lead))
    return found


def _day_there(row: Round, stop: StopTimes, visit: Visit, zone: ZoneInfo) -> date:
    return instant(row.date, stop.start_s, zone).astimezone(ZoneInfo(visit.site.time_zone)).date()


def nights_away(technician: Technician) -> list[NightAway]:
    """The nights of the published rounds from two weeks ago on."""
    since = timezone.localdate() - PAST
    rows = Round.objects.filter(technician=technician, date__gte=since, published__isnull=False).select_related("plan")
    rounds = {row.date: (row, times) for row in rows if (times := times_published(row)) is not None}
    lodgings = lodgings_of(times for _row, times in rounds.values())
    found = []
    for day, (row, times) in sorted(rounds.items()):
        end, after = ends_of(technician, times, lodgings).end, rounds.get(day + timedelta(days=1))
        if end.lodging is None or times.return_s is None or after is None or after[1].leave_s is None:
            continue
        zone, there = ZoneInfo(technician.time_zone), ZoneInfo(end.lodging.time_zone)
        begins = instant(day, times.return_s, zone).astimezone(there)
        ends = instant(day + timedelta(days=1), after[1].leave_s, zone).astimezone(there)
        changed = max(one.published_at or one.plan.published_at or one.plan.created_at for one in (row, after[0]))
        found.append(NightAway(uuid5(NIGHTS, f"{row.pk}"), end.lodging, begins, ends, changed))
    return found


def _stops(row: Round) -> list[StopTimes]:
    times = times_published(row)
    return times.stops if times else []


def _appointment(row: Round, number: int, stop: StopTimes, visit: Visit, zone: ZoneInfo) -> Appointment:
    there = ZoneInfo(visit.site.time_zone)
    begins, ends = (instant(row.date, at, zone).astimezone(there) for at in (stop.start_s, stop.leave_s))
    changed = row.published_at or row.plan.published_at or row.plan.created_at
    return Appointment(visit, row.date.isoformat(), number, begins, ends, changed)


def _by_hand(visit: Visit, technician: Technician) -> Appointment | None:
    """A visit given after the round was published: at its planned hour, without a place in the order."""
    if visit.planned_on is None or visit.planned_start is None:
        return None
    zone = ZoneInfo(visit.site.time_zone)
    begins = datetime.combine(visit.planned_on, visit.planned_start, tzinfo=zone)
    ends = (begins.astimezone(UTC) + timedelta(minutes=visit.duration_min)).astimezone(zone)
    return Appointment(visit, visit.planned_on.isoformat(), 0, begins, ends, visit.created_at)
