"""When a visit begins: not in the future, and on another day than planned only after being asked."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.visits.models import Visit

ARRIVAL = "arrive.at"
AHEAD = timedelta(minutes=10)  # what a wall clock and a tablet may differ by
NIGHT_ENDS_H, EVENING_H = 6, 18


def arrival_error(typed: str, entered_at: datetime, zone: ZoneInfo) -> str:
    """What is wrong with an arrival that lies in the future; after midnight the evening before may be meant."""
    try:
        at = datetime.strptime(typed.strip(), "%H:%M").time()  # noqa: DTZ007 - a clock time, joined with the day below
    except ValueError:
        return ""
    now = entered_at.astimezone(zone)
    is_evening_before = now.hour < NIGHT_ENDS_H and at.hour >= EVENING_H
    if is_evening_before or datetime.combine(now.date(), at, tzinfo=zone) <= now + AHEAD:
        return ""
    return _("%(at)s has not come yet: it was %(now)s when this was entered.") % {"at": typed, "now": f"{now:%H:%M}"}


def day_question(visit: Visit, at: datetime) -> str:
    """What to ask before a visit that is not begun yet is begun on another day than it is planned for."""
    if visit.started_at is not None or visit.planned_on is None:
        return ""
    today = at.astimezone(ZoneInfo(visit.site.time_zone)).date()
    return other_day_words(visit) if today != visit.planned_on else ""


def other_day_words(visit: Visit) -> str:
    return _("This visit is planned for %(day)s, not for today. Begin it today all the same?") % {
        "day": date_format(visit.planned_on or visit.due_on)
    }
