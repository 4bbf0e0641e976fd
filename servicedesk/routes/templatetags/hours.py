"""Seconds as hours on pages."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.routes.hours import Worked

register = template.Library()


@register.filter
def hours(seconds: int) -> str:
    """Hours and minutes: 7:40; nothing is a dash."""
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02}" if minutes else "–"


@register.filter
def clock_of(moment: datetime, zone: ZoneInfo) -> str:
    """The time of day in a zone."""
    return f"{moment.astimezone(zone):%H:%M}"


@register.simple_tag
def next_day(starts: datetime, ends: datetime, zone: ZoneInfo) -> str:
    """Says of an end that it is on a later date than its beginning."""
    return _("(next day)") if ends.astimezone(zone).date() > starts.astimezone(zone).date() else ""


@register.filter
def date_in(moment: datetime, zone: ZoneInfo) -> date:
    """The date in a zone."""
    return moment.astimezone(zone).date()


@register.filter
def month_words(month: str) -> str:
    """The month of "2026-11" in words, kept on one line."""
    return str(date_format(date.fromisoformat(f"{month}-01"), "M\u00a0Y"))


@register.filter
def money(amount: object) -> str:
    """Whole units: a planner's figure, not an invoice's."""
    return f"{round(float(str(amount))):,}"


@register.filter
def kind_s(day: Worked, kind: str) -> int:
    """Seconds of one kind of work in a day."""
    return day.seconds_of(kind)
