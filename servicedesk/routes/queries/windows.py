"""When a visit may be done: its days, the site's access windows in the site's own zone, closures and holidays."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from servicedesk.clients.models import Agreement, Site
from servicedesk.visits.holidays import closure_reason, holiday_name
from servicedesk.visits.models import Visit

ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Window:
    """A span in which work may be done, as instants; ``day`` is the local date on which it opens."""

    day: date
    opens: datetime
    closes: datetime


def visit_windows(visit: Visit, first: date, last: date, not_before: date) -> list[Window]:
    """The windows of a visit that open on the days from ``first`` to ``last``; one across midnight stays one."""
    return merged(
        window
        for day in visit_days(visit, first, last, not_before)
        for window in site_windows(visit.site, day)
    )  # fmt: skip


def visit_days(visit: Visit, first: date, last: date, not_before: date) -> list[date]:
    """The days on which a visit may be done. One that is overdue may be done on any open day from now on."""
    start = max(visit.earliest_on, first, not_before)
    overdue = visit.latest_on < max(first, not_before)
    end = last if overdue else min(visit.latest_on, last)
    days = [start + ONE_DAY * step for step in range((end - start).days + 1)]
    return [day for day in days if is_allowed(visit, day)]


def shut_for(visit: Visit, day: date) -> str:
    """The closure or holiday that keeps a visit off a day, or an empty text."""
    site, agreement, keeps = visit.site, visit.agreement, Agreement.DayRule.KEEP
    closed = closure_reason(site, day)
    if closed and (agreement is None or agreement.closure_rule != keeps):
        return closed
    return "" if agreement is None or agreement.holiday_rule == keeps else holiday_name(site, day)


def is_allowed(visit: Visit, day: date) -> bool:
    """Whether agreement, closures and holidays allow a day; one that was moved onto a day on purpose stays allowed."""
    site, agreement = visit.site, visit.agreement
    if agreement is None:
        return not closure_reason(site, day)
    if agreement.allowed_weekdays and day.weekday() not in agreement.allowed_weekdays and day != visit.due_on:
        return False
    if closure_reason(site, day) and agreement.closure_rule != Agreement.DayRule.KEEP:
        return False
    return not holiday_name(site, day) or agreement.holiday_rule == Agreement.DayRule.KEEP


def site_windows(site: Site, day: date) -> Iterator[Window]:
    """The site's windows that open on a local date; a site without any is open all day."""
    zone = ZoneInfo(site.time_zone)
    rows = list(site.access_windows.all())
    if not rows:
        yield _window(day, time(), day + ONE_DAY, time(), zone)
    for row in rows:
        if row.weekday == day.weekday():
            yield _window(day, row.opens, day + ONE_DAY if row.ends_next_day else day, row.closes, zone)


def _window(day: date, opens: time, last_day: date, closes: time, zone: ZoneInfo) -> Window:
    start = datetime.combine(day, opens, tzinfo=zone).astimezone(UTC)
    return Window(day, start, datetime.combine(last_day, closes, tzinfo=zone).astimezone(UTC))


def merged(windows: Iterator[Window]) -> list[Window]:
    """Windows in order; those that touch or overlap become one."""
    rows: list[Window] = []
    for window in sorted(windows, key=lambda row: row.opens):
        if rows and window.opens <= rows[-1].closes:
            rows[-1] = Window(rows[-1].day, rows[-1].opens, max(rows[-1].closes, window.closes))
        else:
            rows.append(window)
    return rows
