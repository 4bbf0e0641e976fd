"""Working days of several technicians at once: hours in force on the date, less leave and times they are out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.people.models import Leave, Technician, WorkingHours
from servicedesk.routes.queries.outs import outs_between, reason_words
from servicedesk.routes.scope import Out
from servicedesk.routes.times import local_seconds, seconds_at

NOON = time(12)


@dataclass(frozen=True, slots=True)
class Shift:
    """A technician's day; ``hours`` in seconds from local midnight, None when they do not work.

    ``goes_early``: they have to be gone at its end and do no overtime. ``why_off``: why not, or not all of it.
    """

    hours: tuple[int, int] | None
    lunch_min: int = 0
    why_off: str = ""
    goes_early: bool = False


def shifts_between(technicians: Sequence[Technician], first: date, last: date) -> dict[tuple[int, date], Shift]:
    """The shifts of each technician on each day, in three queries."""
    hours: dict[int, list[WorkingHours]] = {}
    for row in WorkingHours.objects.filter(technician__in=technicians).order_by("valid_from"):
        hours.setdefault(row.technician_id, []).append(row)
    leave: dict[int, list[Leave]] = {}
    for absence in Leave.objects.filter(technician__in=technicians, first_day__lte=last, last_day__gte=first):
        leave.setdefault(absence.technician_id, []).append(absence)
    days = [first + timedelta(days=step) for step in range((last - first).days + 1)]
    outs = outs_between(first, last)
    shifts = {
        (who.pk, day): shift_of(who, hours.get(who.pk, []), leave.get(who.pk, []), day)
        for who in technicians
        for day in days
    }
    for who in (row for row in technicians if row.pk in outs):
        for day in days:
            shifts[who.pk, day] = _without(shifts[who.pk, day], outs[who.pk], day, ZoneInfo(who.time_zone))
    return shifts


def _without(shift: Shift, outs: Iterable[Out], day: date, zone: ZoneInfo) -> Shift:
    """A shift less the times at which its technician is out."""
    for out in outs:
        if shift.hours is None:
            return shift
        opens, closes = shift.hours
        goes, comes = (seconds_at(at, day, zone) for at in (out.since, out.ends(zone)))
        if goes >= closes or comes <= opens:
            continue
        if goes > opens:
            words = _("%(why)s from %(at)s") % {
                "why": reason_words(out.reason),
                "at": f"{out.since.astimezone(zone):%H:%M}",
            }
            shift = replace(shift, hours=(opens, goes), goes_early=True, why_off=words)
        elif comes < closes:
            shift = replace(shift, hours=(comes, closes))
        else:
            shift = Shift(None, why_off=reason_words(out.reason))
    return shift


def shift_of(technician: Technician, hours: Iterable[WorkingHours], leave: Iterable[Leave], day: date) -> Shift:
    """One day: the newest hours in force for its weekday, cut or emptied by leave."""
    if day < technician.first_day or (technician.last_day is not None and day > technician.last_day):
        return Shift(None, why_off=_("not employed"))
    rows = [
        row
        for row in hours
        if row.weekday == day.weekday() and row.valid_from <= day and (row.valid_to is None or day <= row.valid_to)
    ]
    if not rows:
        return Shift(None, why_off=_("day off"))
    row = rows[-1]
    starts, ends = row.starts, row.ends
    days_after = 1 if ends <= starts else 0
    for absence in (entry for entry in leave if entry.first_day <= day <= entry.last_day):
        if absence.part == Leave.Part.DAY:
            return Shift(None, why_off=absence.reason or _("on leave"))
        if absence.part == Leave.Part.MORNING:
            starts = max(starts, NOON)
        else:
            ends, days_after = (min(ends, NOON) if not days_after else NOON), 0
    zone = ZoneInfo(technician.time_zone)
    start_s = local_seconds(day, starts, zone)
    end_s = local_seconds(day, ends, zone, days_after=days_after)
    if end_s <= start_s:
        return Shift(None, why_off=_("on leave"))
    whole = (starts, ends) == (row.starts, row.ends)
    return Shift((start_s, end_s), row.lunch_min if whole else 0, goes_early=ends != row.ends)
