"""RFC 5545 recurrence in words: built from choices, read back, expanded on local dates.

People choose from words; the rule text is for the database and for interchange only.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from dateutil.rrule import rrulestr
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
LAST = -1
ORDINALS = (1, 2, 3, 4, LAST)


def day_name(weekday: int) -> str:
    names = (_("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday"))
    return names[weekday]


def ordinal_name(position: int) -> str:
    names = {1: _("first"), 2: _("second"), 3: _("third"), 4: _("fourth"), LAST: _("last")}
    return names[position]


@dataclass(frozen=True, slots=True)
class Cadence:
    """A recurrence as people choose it: every ``every`` weeks, months or days.

    ``unit`` is "weeks", "months" or "days"; ``weekdays`` 0 is Monday; ``position`` 1–4 or −1 for the
    last, for months.
    """

    unit: str
    every: int
    weekdays: tuple[int, ...] = ()
    position: int = 1

    def __post_init__(self) -> None:
        if self.unit not in {"weeks", "months", "days"}:
            raise ValueError("A cadence counts weeks, months or days.")
        if not 1 <= self.every <= 366:
            raise ValueError("A cadence repeats every 1 to 366.")
        if self.unit == "months" and (len(self.weekdays) != 1 or self.position not in ORDINALS):
            raise ValueError("By the month: choose one weekday and which of the month.")
        if self.unit == "weeks" and not self.weekdays:
            raise ValueError("By the week: choose at least one weekday.")


def to_rule(cadence: Cadence) -> str:
    """The RRULE text of a cadence.

    >>> to_rule(Cadence("weeks", 2, (1,)))
    'FREQ=WEEKLY;INTERVAL=2;BYDAY=TU;WKST=MO'
    """
    if cadence.unit == "days":
        return f"FREQ=DAILY;INTERVAL={cadence.every}"
    if cadence.unit == "weeks":
        days = ",".join(DAYS[day] for day in sorted(cadence.weekdays))
        return f"FREQ=WEEKLY;INTERVAL={cadence.every};BYDAY={days};WKST=MO"
    return f"FREQ=MONTHLY;INTERVAL={cadence.every};BYDAY={cadence.position}{DAYS[cadence.weekdays[0]]}"


def from_rule(rule: str) -> Cadence:
    """The cadence of a rule that ``to_rule`` wrote; ValueError for any other rule."""
    parts = dict(part.split("=", 1) for part in rule.split(";"))
    every, by_day = int(parts.get("INTERVAL", "1")), parts.get("BYDAY", "")
    if parts.get("FREQ") == "DAILY":
        return Cadence("days", every)
    if parts.get("FREQ") == "WEEKLY":
        return Cadence("weeks", every, tuple(DAYS.index(day) for day in by_day.split(",")))
    if parts.get("FREQ") == "MONTHLY" and by_day[:-2].lstrip("-").isdigit():
        return Cadence("months", every, (DAYS.index(by_day[-2:]),), int(by_day[:-2]))
    raise ValueError("This recurrence was not made from our choices.")


def aligned(rule: str, first: date) -> date:
    """The first day from ``first`` on that the rule names: where its series begins.

    RFC 5545 leaves undefined what a start is that does not match its own rule.

    >>> aligned("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU;WKST=MO", date(2026, 12, 2))
    datetime.date(2026, 12, 8)
    """
    parts = dict(part.split("=", 1) for part in rule.split(";"))
    if parts.get("FREQ") != "WEEKLY" or not parts.get("BYDAY"):
        return first
    weekdays = {DAYS.index(day) for day in parts["BYDAY"].split(",")}
    return next(day for day in (first + timedelta(days=step) for step in range(7)) if day.weekday() in weekdays)


def floating(rule: str) -> str:
    """The rule as it runs on from whatever day the last visit was: its one weekday dropped, several kept.

    >>> floating("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU;WKST=MO")
    'FREQ=WEEKLY;INTERVAL=2'
    """
    parts = dict(part.split("=", 1) for part in rule.split(";"))
    if "," in parts.get("BYDAY", ""):
        return rule
    return ";".join(f"{key}={value}" for key, value in parts.items() if key not in {"BYDAY", "WKST"})


def words(rule: str) -> str:
    """A rule in words, e.g. "every 2 weeks on Tuesday"."""
    cadence = from_rule(rule)
    if cadence.unit == "days":
        return ngettext("every day", "every %(n)d days", cadence.every) % {"n": cadence.every}
    days = _(" and ").join(day_name(day) for day in cadence.weekdays)
    if cadence.unit == "weeks":
        return ngettext("every week on %(days)s", "every %(n)d weeks on %(days)s", cadence.every) % {
            "n": cadence.every,
            "days": days,
        }
    which = ordinal_name(cadence.position)
    return ngettext(
        "every month on the %(which)s %(days)s", "every %(n)d months on the %(which)s %(days)s", cadence.every
    ) % {"n": cadence.every, "which": which, "days": days}


def expand(rule: str, first: date, start: date, until: date) -> list[date]:
    """The dates of a rule that begins on ``first``, from ``start`` to ``until``, both included.

    Dates are local: no zone and no clock change can move them.
    """
    if until < start:
        return []
    found = rrulestr(rule, dtstart=datetime.combine(first, time())).between(
        datetime.combine(start, time()), datetime.combine(until, time()), inc=True
    )
    return [at.date() for at in found]


def next_dates(rule: str, first: date, count: int) -> Sequence[date]:
    """The first ``count`` dates of a rule."""
    series = rrulestr(rule, dtstart=datetime.combine(first, time()))
    return [at.date() for at, _number in zip(series, range(count), strict=False)]
