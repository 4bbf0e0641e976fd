"""A zone as RFC 5545 has it: a VTIMEZONE with each change of the clocks in the years that a calendar speaks of."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)


def vtimezone(key: str, first_year: int, last_year: int) -> Timezone:
    """The component of a zone of the IANA database, right from the first day to the last of the years."""
    zone, component = ZoneInfo(key), Timezone()
    component.add("tzid", key)
    begin = datetime(first_year, 1, 1, tzinfo=UTC) - DAY
    component.add_component(_observance(zone, begin, begin))
    at, end = begin, datetime(last_year + 1, 1, 1, tzinfo=UTC) + DAY
    while at < end:
        if _rule(zone, at) != _rule(zone, at + DAY):
            onset = _onset(zone, at, at + DAY)
            component.add_component(_observance(zone, onset - MINUTE, onset))
        at += DAY
    return component


def _rule(zone: ZoneInfo, at: datetime) -> tuple[timedelta | None, str | None]:
    there = at.astimezone(zone)
    return there.utcoffset(), there.tzname()


def _onset(zone: ZoneInfo, before: datetime, after: datetime) -> datetime:
    """The first whole minute of the new rule."""
    while after - before > MINUTE:
        middle = before + (after - before) // 2 // MINUTE * MINUTE
        if _rule(zone, middle) == _rule(zone, before):
            before = middle
        else:
            after = middle
    return after


def _observance(zone: ZoneInfo, before: datetime, onset: datetime) -> TimezoneDaylight | TimezoneStandard:
    """One rule; its onset is local time by the offset in use before it (section 3.6.5)."""
    old, new = before.astimezone(zone), onset.astimezone(zone)
    part = TimezoneDaylight() if new.dst() else TimezoneStandard()
    offset = old.utcoffset() or timedelta()
    part.add("dtstart", (onset + offset).replace(tzinfo=None))
    part.add("tzoffsetfrom", offset)
    part.add("tzoffsetto", new.utcoffset() or timedelta())
    part.add("tzname", new.tzname() or "")
    return part
