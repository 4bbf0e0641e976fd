"""Changes of published rounds: which rounds hang together, what changes in words, which questions are open."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.crews import visit_of
from servicedesk.routes.models import Round, RoundChange, WeekPlan
from servicedesk.routes.queries.ends import lodgings_of
from servicedesk.routes.queries.round import RoundTimes, StopTimes, times_planned, times_published, today_of
from servicedesk.routes.times import clock
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

QUIET_S = 5 * 60
Nights = tuple[int | None, int | None]
OPEN_CHANGE = Q(state=RoundChange.State.ASKED) | Q(state=RoundChange.State.ACCEPTED, in_force_at=None)
TOLD = Q(state=RoundChange.State.ACCEPTED, in_force_at__isnull=False, answered_by=None)


@dataclass(frozen=True, slots=True)
class Part:
    """A round as it is in force and as it is to become.

    ``settled``: visits begun or ended, of which nothing is asked.
    """

    round: Round
    old: RoundTimes | None
    new: RoundTimes | None
    settled: frozenset[str] = frozenset()

    @property
    def before(self) -> list[str]:
        """The calls of the round as it is in force."""
        return [stop.call for stop in self.old.stops] if self.old else []

    @property
    def after(self) -> list[str]:
        """The calls of the round as it is to become."""
        return [stop.call for stop in self.new.stops] if self.new else []

    @property
    def nights(self) -> tuple[Nights, Nights]:
        """The lodgings of the nights before and after the round, as they are and as they are to become."""
        return self.old.nights if self.old else (None, None), self.new.nights if self.new else (None, None)


def part_of(row: Round) -> Part:
    """What publishing would make of a round; an emptied one has nothing to come."""
    planned = times_planned(row)
    settled = frozenset(str(stop.visit_id) for stop in row.stops.all() if stop.visit.state not in OPEN)
    return Part(row, times_published(row), None if planned.is_empty else planned, settled)


def linked(parts: Sequence[Part]) -> list[list[Part]]:
    """Rounds that give visits to each other, or share one for two or a night away: all of them change or none."""
    owner: dict[str, Part] = {}
    group = {part.round.pk: [part] for part in parts}
    for part in parts:
        for call in [*part.before, *part.after]:
            _join(group, part, owner.setdefault(visit_of(call), part))
    by_day = {(part.round.technician_id, part.round.date): part for part in parts}
    for (who, day), part in by_day.items():
        after = by_day.get((who, day + timedelta(days=1)))
        if after is not None and (part.nights[0][1], part.nights[1][1]) != (None, None):
            _join(group, part, after)
    return list({id(rows): rows for rows in group.values()}.values())


def _join(group: dict[int, list[Part]], part: Part, other: Part) -> None:
    one, two = group[part.round.pk], group[other.round.pk]
    if one is not two:
        one.extend(two)
        group.update({member.round.pk: one for member in two})


def is_asked(part: Part, today: date) -> bool:
    """Whether the technician has the round in hand and must be asked: not about days gone, nor a few minutes."""
    if part.old is None or part.round.date < today:
        return False
    return (
        _open(part, part.before) != _open(part, part.after)
        or part.nights[0] != part.nights[1]
        or any(
            abs(old.start_s - new.start_s) > QUIET_S for old, new in _pairs(part) if old is not None and new is not None
        )
    )


def _open(part: Part, calls: Iterable[str]) -> list[str]:
    return [call for call in calls if visit_of(call) not in part.settled]


def needs_asking(parts: Iterable[Part]) -> bool:
    return any(is_asked(part, today_of(part.round.technician)) for part in parts)


def _pairs(part: Part) -> list[tuple[StopTimes | None, StopTimes | None]]:
    old = {stop.call: stop for stop in part.old.stops} if part.old else {}
    new = {stop.call: stop for stop in part.new.stops} if part.new else {}
    return [(old.get(call), new.get(call)) for call in _open(part, dict.fromkeys([*new, *old]))]


def words_of(part: Part, group: Sequence[Part], visits: Mapping[str, Visit]) -> list[str]:
    """What a change means for the technician, a sentence for each stop that comes, goes or moves."""
    others = [other for other in group if other.round.pk != part.round.pk]
    came = {call: other for other in others for call in other.before}
    goes = {call: other for other in others for call in other.after}
    sentences = [_stop_words(part, old, new, visits, came, goes) for old, new in _pairs(part)]
    kept = [call for call in _open(part, part.before) if call in part.after]
    if kept != [call for call in _open(part, part.after) if call in part.before]:
        names = [visits[visit_of(call)].site.name for call in part.after if visit_of(call) in visits]
        sentences.append(_("New order: %(names)s.") % {"names": ", ".join(names)})
    sentences += _night_words(part)
    if part.new is None:
        sentences.append(_("No stop is left on this day."))
    elif part.old is not None:
        sentences += _day_words(part, part.old, part.new)
    return [sentence for sentence in sentences if sentence]


def _day_words(part: Part, old: RoundTimes, new: RoundTimes) -> list[str]:
    """The hours of the day itself where they move: leaving, the break, coming home."""
    home = _("Home about %(new)s instead of %(old)s.")
    if part.nights[1][1] is not None:
        home = _("At the lodging about %(new)s; the day ended at %(old)s before.")
    moved = (
        (_("Leave about %(new)s instead of %(old)s."), old.leave_s, new.leave_s),
        (_("Break about %(new)s instead of %(old)s."), old.break_start_s, new.break_start_s),
        (home, old.return_s, new.return_s),
    )
    zone = ZoneInfo(part.round.technician.time_zone)
    sentences = []
    for words, before_s, after_s in moved:
        if before_s is not None and after_s is not None and abs(before_s - after_s) > QUIET_S:
            before, after = (clock(part.round.date, at, zone, zone).short for at in (before_s, after_s))
            sentences.append(words % {"new": after, "old": before})
    if old.break_start_s is None and new.break_start_s is not None:
        at = clock(part.round.date, new.break_start_s, zone, zone).short
        sentences.append(_("Break about %(new)s.") % {"new": at})
    return sentences


def _night_words(part: Part) -> list[str]:
    """Where the day begins and ends, where that changes."""
    (old_start, old_end), (start, end) = part.nights
    lodgings = lodgings_of([part.old, part.new]) if part.nights[0] != part.nights[1] else {}
    sentences = []
    if start != old_start:
        base = lodgings[start].name if start is not None else _("home")
        sentences.append(_("The day begins at %(place)s.") % {"place": base})
    if end != old_end and end is not None:
        words = _("You stay the night at %(lodging)s, %(address)s.")
        sentences.append(words % {"lodging": lodgings[end].name, "address": lodgings[end].address})
    elif end != old_end and old_end is not None:
        sentences.append(_("You drive home and do not stay at %(lodging)s.") % {"lodging": lodgings[old_end].name})
    return sentences


def _stop_words(
    part: Part,
    old: StopTimes | None,
    new: StopTimes | None,
    visits: Mapping[str, Visit],
    came: Mapping[str, Part],
    goes: Mapping[str, Part],
) -> str:
    stop = new or old
    visit = visits.get(stop.visit_id) if stop else None
    if stop is None or visit is None:
        return ""
    site = _("%(site)s, to help,") % {"site": visit.site.name} if stop.helps else visit.site.name
    words = {"site": site, "at": _at(part, stop, visit)}
    if old is None:
        if stop.call in came:
            return _("%(site)s comes to you from %(name)s: %(at)s.") % (words | {"name": _whose(came[stop.call], part)})
        return _("%(site)s is new: %(at)s.") % words
    if new is None:
        if stop.call in goes:
            return _("%(site)s goes to %(name)s.") % (words | {"name": _whose(goes[stop.call], part)})
        return _("%(site)s is taken off this day.") % words
    if abs(old.start_s - new.start_s) <= QUIET_S:
        return ""
    return _("%(site)s moves from %(old)s to %(at)s.") % (words | {"old": _at(part, old, visit)})


def _whose(other: Part, part: Part) -> str:
    """Another technician, or another day of one's own, or both."""
    names = [] if other.round.technician_id == part.round.technician_id else [str(other.round.technician)]
    if other.round.date != part.round.date:
        names.append(str(date_format(other.round.date, "D j M")))
    return ", ".join(names)


def _at(part: Part, stop: StopTimes, visit: Visit) -> str:
    zone = ZoneInfo(part.round.technician.time_zone)
    return clock(part.round.date, stop.start_s, zone, ZoneInfo(visit.site.time_zone)).text


def visits_of(parts: Iterable[Part]) -> dict[str, Visit]:
    ids = {visit_of(call) for part in parts for call in [*part.before, *part.after]}
    return {str(row.pk): row for row in Visit.objects.filter(pk__in=ids).select_related("site")}


def changes_asked(technician: Technician, day: date) -> list[RoundChange]:
    """What a technician is asked of a day, what they answered while others are asked, and what they are only told."""
    rows = RoundChange.objects.filter(OPEN_CHANGE | TOLD & ~Q(words=[]), round__technician=technician, round__date=day)
    return list(rows.select_related("asked_by", "answered_by", "round__technician__user"))


def days_asked(technician: Technician) -> list[date]:
    """Days from today on with a question still to be answered."""
    rows = RoundChange.objects.filter(
        state=RoundChange.State.ASKED, round__technician=technician, round__date__gte=today_of(technician)
    )
    return list(rows.order_by("round__date").values_list("round__date", flat=True))


def waits_for(changes: Iterable[RoundChange]) -> dict[UUID, list[str]]:
    """Who still has to answer, by the questions that stand or fall together."""
    found: dict[UUID, list[str]] = {}
    open_rows = RoundChange.objects.filter(
        state=RoundChange.State.ASKED, together__in={change.together for change in changes}
    )
    for row in open_rows.select_related("round__technician__user"):
        found.setdefault(row.together, []).append(str(row.round.technician))
    return found


def together_with(change: RoundChange) -> QuerySet[RoundChange]:
    return RoundChange.objects.filter(together=change.together).select_related("round__technician__user", "round__plan")


@dataclass(frozen=True, slots=True)
class Question:
    """A question as the planner reads it: open, accepted while others are asked, or refused and not settled yet."""

    change: RoundChange
    plan: WeekPlan
    waits_for: list[str]

    @property
    def is_refused(self) -> bool:
        return self.change.state == RoundChange.State.REFUSED


def questions() -> list[Question]:
    """Open questions of today and later, and refusals that the plan still differs by."""
    since = timezone.localdate() - timedelta(days=1)
    rows = list(
        RoundChange.objects.filter(round__date__gte=since)
        .exclude(state=RoundChange.State.WITHDRAWN)
        .filter(OPEN_CHANGE | Q(state=RoundChange.State.REFUSED))
        .exclude(state=RoundChange.State.ACCEPTED, answered_by=None)
        .select_related("round__technician__user", "round__plan", "asked_by", "answered_by")
        .prefetch_related("round__stops__visit", "round__changes")
        .order_by("round__date", "round__technician__user__name", "-asked_at")
    )
    asked: dict[object, list[str]] = {}
    for row in rows:
        if row.state == RoundChange.State.ASKED:
            asked.setdefault(row.together, []).append(str(row.round.technician))
    return [
        Question(row, row.round.plan, asked.get(row.together, []))
        for row in rows
        if row.state != RoundChange.State.REFUSED or _is_unsettled(row)
    ]


def _is_unsettled(change: RoundChange) -> bool:
    """A refusal counts until the round is asked anew, not withdrawn again, or stands as published again."""
    asked = [row for row in change.round.changes.all() if row.state != RoundChange.State.WITHDRAWN]
    if max(asked, key=lambda row: row.asked_at).pk != change.pk:
        return False
    if change.running:
        return change.round.date >= today_of(change.round.technician)
    part = part_of(change.round)
    return part.before != part.after or is_asked(part, change.round.date)
