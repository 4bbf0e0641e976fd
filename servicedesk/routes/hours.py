"""Hours worked: elapsed time of spans, what of it is overtime and what was at night. No database.

Everything is reckoned between instants, so that a night on which the clock changes has the hours it really had. A
day of work keeps the date on which it began, also across midnight.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

HOUR_S = 3600
ONE_DAY = timedelta(days=1)
WORK_KINDS = ("visit", "drive", "wait", "other")


@dataclass(frozen=True, slots=True)
class Span:
    """Something done from one instant to another: visit, drive, wait, other or break."""

    kind: str
    starts: datetime
    ends: datetime
    words: str = ""

    def __post_init__(self) -> None:
        # Two times of one zone would be subtracted by their clocks, not by the time that passed.
        object.__setattr__(self, "starts", self.starts.astimezone(UTC))
        object.__setattr__(self, "ends", self.ends.astimezone(UTC))

    @property
    def seconds(self) -> int:
        return round((self.ends - self.starts).total_seconds())

    @property
    def is_work(self) -> bool:
        return self.kind in WORK_KINDS


@dataclass(frozen=True, slots=True)
class Rules:
    """How hours are paid; ``None``: no overtime by the day, by the week, or no night."""

    zone: ZoneInfo
    day_s: int | None = None
    week_s: int | None = 40 * HOUR_S
    night: tuple[time, time] | None = None
    night_premium: Decimal = Decimal(0)
    hourly: Decimal = Decimal(0)
    overtime_factor: Decimal = Decimal("1.5")


@dataclass(frozen=True, slots=True)
class Worked:
    """A day of work as it is paid. ``elapsed_s`` = worked + breaks + time off between."""

    day: date
    spans: tuple[Span, ...]
    worked_s: int
    break_s: int
    off_s: int
    night_s: int
    overtime_s: int = 0
    notes: tuple[str, ...] = field(default=())

    @property
    def elapsed_s(self) -> int:
        return round((self.ends - self.starts).total_seconds())

    @property
    def starts(self) -> datetime:
        return self.spans[0].starts

    @property
    def ends(self) -> datetime:
        return max(span.ends for span in self.spans)

    @property
    def ordinary_s(self) -> int:
        return self.worked_s - self.overtime_s

    def seconds_of(self, kind: str) -> int:
        return sum(span.seconds for span in self.spans if span.kind == kind)


def laid_out(spans: Iterable[Span]) -> list[Span]:
    """The same time with nothing counted twice: a break wins over work, what began first over what came later.

    A wait says of what nobody knows, so it gives way to everything else.
    """
    rows = sorted(
        (span for span in spans if span.seconds > 0),
        key=lambda span: (span.is_work, span.kind == "wait", span.starts, span.ends),
    )
    out: list[Span] = []
    for span in rows:
        out += _without(span, out)
    return sorted(out, key=lambda span: span.starts)


def _without(span: Span, taken: Iterable[Span]) -> list[Span]:
    """What is left of a span outside the others."""
    parts = [span]
    for other in taken:
        cut: list[Span] = []
        for part in parts:
            if other.ends <= part.starts or part.ends <= other.starts:
                cut.append(part)
                continue
            if part.starts < other.starts:
                cut.append(replace(part, ends=other.starts))
            if other.ends < part.ends:
                cut.append(replace(part, starts=other.ends))
        parts = cut
    return parts


def night_seconds(span: Span, rules: Rules) -> int:
    """Seconds of a span between the night's two local times."""
    first, last = span.starts.astimezone(rules.zone).date() - ONE_DAY, span.ends.astimezone(rules.zone).date()
    return round(
        sum(
            max((min(span.ends, high) - max(span.starts, low)).total_seconds(), 0)
            for low, high in night_spans(rules, first, last)
        )
    )


def night_spans(rules: Rules, first: date, last: date) -> list[tuple[datetime, datetime]]:
    """The nights that begin on the days, as instants."""
    if rules.night is None:
        return []
    begins, ends = rules.night
    nights = 1 if ends <= begins else 0
    days = [first + ONE_DAY * step for step in range((last - first).days + 1)]
    return [
        (
            datetime.combine(day, begins, tzinfo=rules.zone).astimezone(UTC),
            datetime.combine(day + ONE_DAY * nights, ends, tzinfo=rules.zone).astimezone(UTC),
        )
        for day in days
    ]


def day_worked(day: date, spans: Iterable[Span], rules: Rules, notes: Sequence[str] = ()) -> Worked | None:
    """One day's spans added up; None when there are none. Overtime comes with the week."""
    rows = laid_out(spans)
    if not rows:
        return None
    worked = sum(span.seconds for span in rows if span.is_work)
    rested = sum(span.seconds for span in rows if not span.is_work)
    elapsed = round((max(span.ends for span in rows) - rows[0].starts).total_seconds())
    night = sum(night_seconds(span, rules) for span in rows if span.is_work)
    return Worked(day, tuple(rows), worked, rested, elapsed - worked - rested, night, notes=tuple(notes))


def with_overtime(days: Iterable[Worked], rules_on: Mapping[date, Rules]) -> list[Worked]:
    """The days of whole ISO weeks with their overtime: by the day first, then what is past the week's hours.

    An hour that is overtime by the day does not count towards the week's hours a second time.
    """
    out: list[Worked] = []
    ordinary: dict[tuple[int, int], int] = {}
    for row in sorted(days, key=lambda found: (found.day, found.starts)):
        rules, week = rules_on[row.day], row.day.isocalendar()[:2]
        same_day = sum(other.worked_s for other in out if other.day == row.day)
        over = _past(same_day, row.worked_s, rules.day_s)
        over += _past(ordinary.get(week, 0), row.worked_s - over, rules.week_s)
        ordinary[week] = ordinary.get(week, 0) + row.worked_s - over
        out.append(replace(row, overtime_s=over))
    return out


def _past(before: int, more: int, limit: int | None) -> int:
    """How much of ``more`` lies past a limit that ``before`` counts towards."""
    return 0 if limit is None else min(max(before + more - limit, 0), more)


@dataclass(frozen=True, slots=True)
class Total:
    """The sum of several days, in seconds and in money."""

    worked_s: int
    ordinary_s: int
    overtime_s: int
    night_s: int
    break_s: int
    pay: Decimal
    overtime_pay: Decimal
    night_pay: Decimal

    @property
    def all_pay(self) -> Decimal:
        return self.pay + self.overtime_pay + self.night_pay


def total(days: Iterable[Worked], rules_on: Mapping[date, Rules]) -> Total:
    """Hours added up, and what they cost at the person's rates: ordinary, overtime at its factor, night on top."""
    rows = list(days)
    money = [_paid(row, rules_on[row.day]) for row in rows]
    return Total(
        worked_s=sum(row.worked_s for row in rows),
        ordinary_s=sum(row.ordinary_s for row in rows),
        overtime_s=sum(row.overtime_s for row in rows),
        night_s=sum(row.night_s for row in rows),
        break_s=sum(row.break_s for row in rows),
        pay=sum((row[0] for row in money), Decimal(0)),
        overtime_pay=sum((row[1] for row in money), Decimal(0)),
        night_pay=sum((row[2] for row in money), Decimal(0)),
    )


def _paid(row: Worked, rules: Rules) -> tuple[Decimal, Decimal, Decimal]:
    return (
        row.ordinary_s * rules.hourly / HOUR_S,
        row.overtime_s * rules.hourly * rules.overtime_factor / HOUR_S,
        row.night_s * rules.night_premium / HOUR_S,
    )
