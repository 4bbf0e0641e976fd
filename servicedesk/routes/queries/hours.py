"""A person's hours of a month: whole weeks are read, so that a week's overtime is right at the month's edges."""

import calendar
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, PayRule, Technician
from servicedesk.routes.hours import HOUR_S, Rules, Total, Worked, day_worked, total, with_overtime
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.actual import ActualDay, actual_days


@dataclass(frozen=True, slots=True)
class Month:
    year: int
    number: int

    @classmethod
    def of(cls, day: date) -> "Month":
        return cls(day.year, day.month)

    @classmethod
    def typed(cls, text: str, today: date) -> "Month | None":
        """The month of "2026-11"; today's when nothing is typed, None when it is no month."""
        if not text:
            return cls.of(today)
        try:
            day = date.fromisoformat(f"{text}-01")
        except ValueError:
            return None
        return cls.of(day) if 2000 <= day.year <= 2100 else None

    @property
    def first(self) -> date:
        return date(self.year, self.number, 1)

    @property
    def last(self) -> date:
        return date(self.year, self.number, calendar.monthrange(self.year, self.number)[1])

    @property
    def before(self) -> "Month":
        return Month.of(self.first - timedelta(days=1))

    @property
    def after(self) -> "Month":
        return Month.of(self.last + timedelta(days=1))

    def __str__(self) -> str:
        return f"{self.year:04}-{self.number:02}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The timesheet of one person and month."""

    technician: Technician
    month: Month
    days: list[Worked]
    total: Total
    rule: PayRule | None
    currency: str
    entries: list[HoursEntry]

    @property
    def rule_words(self) -> str:
        return rule_words(self.rule, self.technician, self.currency)

    @property
    def has_notes(self) -> bool:
        return any(day.notes for day in self.days)

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.technician.time_zone)


def sheets(technicians: Sequence[Technician], month: Month) -> list[Sheet]:
    """The timesheets of several people, in a fixed number of queries."""
    first = month.first - timedelta(days=month.first.weekday())
    last = month.last + timedelta(days=6 - month.last.weekday())
    by_person: dict[int, list[ActualDay]] = {}
    for day in actual_days(technicians, first, last):
        by_person.setdefault(day.technician.pk, []).append(day)
    rules = pay_rules(technicians)
    currency = Firm.objects.values_list("currency", flat=True).first() or "USD"
    entries: dict[int, list[HoursEntry]] = {}
    zones = {who.pk: ZoneInfo(who.time_zone) for who in technicians}
    span = (month.first - timedelta(days=1), month.last + timedelta(days=1))
    noted = HoursEntry.objects.filter(technician__in=technicians, archived_at=None, began_at__date__range=span)
    for row in noted.order_by("began_at"):
        zone = zones[row.technician_id]
        if Month.of(row.began_at.astimezone(zone).date()) == month:
            entries.setdefault(row.technician_id, []).append(row)
    return [
        _sheet(who, month, by_person.get(who.pk, []), rules.get(who.pk, []), currency, entries.get(who.pk, []))
        for who in technicians
    ]


def _sheet(
    who: Technician,
    month: Month,
    actual: Sequence[ActualDay],
    rows: Sequence[PayRule],
    currency: str,
    entries: list[HoursEntry],
) -> Sheet:
    rules_on = {day.day: rules_of(who, rule_on(rows, day.day)) for day in actual}
    worked = [day_worked(day.day, day.spans, rules_on[day.day], day.notes) for day in actual]
    days = with_overtime([row for row in worked if row is not None], rules_on)
    days = [row for row in days if month.first <= row.day <= month.last]
    return Sheet(who, month, days, total(days, rules_on), rule_on(rows, month.last), currency, entries)


def pay_rules(technicians: Sequence[Technician]) -> Mapping[int, list[PayRule]]:
    found: dict[int, list[PayRule]] = {}
    for row in PayRule.objects.filter(technician__in=technicians).order_by("valid_from"):
        found.setdefault(row.technician_id, []).append(row)
    return found


def rule_on(rows: Sequence[PayRule], day: date) -> PayRule | None:
    """The rule in force on a day: the newest that had begun."""
    return next((row for row in reversed(rows) if row.valid_from <= day), None)


def rules_of(who: Technician, row: PayRule | None) -> Rules:
    """A rule as the sums want it; without one, overtime past 40 hours a week and no night."""
    zone = ZoneInfo(who.time_zone)
    if row is None:
        return Rules(zone, hourly=who.hourly_cost, overtime_factor=who.overtime_factor)
    return Rules(
        zone=zone,
        day_s=_seconds(row.day_hours),
        week_s=_seconds(row.week_hours),
        night=(row.night_from, row.night_to) if row.night_from is not None and row.night_to is not None else None,
        night_premium=row.night_premium,
        hourly=who.hourly_cost,
        overtime_factor=who.overtime_factor,
    )


def _seconds(hours: Decimal | None) -> int | None:
    return None if hours is None else round(hours * HOUR_S)


def rule_words(row: PayRule | None, who: Technician, currency: str) -> str:
    """The rule a sheet was reckoned by, in one or two sentences."""
    if row is None:
        return _(
            "No pay rule is noted, so this is assumed: %(rate)s %(currency)s an hour, as stands with the person; "
            "past 40 hours a week %(factor)s times that; no night premium."
        ) % {"rate": who.hourly_cost, "currency": currency, "factor": f"{who.overtime_factor.normalize():f}"}
    limits = []
    if row.day_hours is not None:
        limits.append(_("%(n)s hours a day") % {"n": f"{row.day_hours.normalize():f}"})
    if row.week_hours is not None:
        limits.append(_("%(n)s hours a week") % {"n": f"{row.week_hours.normalize():f}"})
    words = _("No overtime is paid.")
    if limits:
        words = _("Overtime past %(limits)s, at %(factor)s times the rate.") % {
            "limits": _(" and ").join(limits),
            "factor": f"{who.overtime_factor.normalize():f}",
        }
    if row.night_from is not None and row.night_to is not None:
        words += " " + _("Night from %(low)s to %(high)s: %(money)s %(currency)s more an hour.") % {
            "low": f"{row.night_from:%H:%M}",
            "high": f"{row.night_to:%H:%M}",
            "money": row.night_premium,
            "currency": currency,
        }
    return words
