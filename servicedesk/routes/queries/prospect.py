"""A site before it is quoted: what serving it would add to each round of a typical week, and in a year."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, PermissionKind, Technician
from servicedesk.routes.models import Round
from servicedesk.routes.queries.daybook import Entry, day_words, entries_of, typed_windows
from servicedesk.routes.times import Week, distance_words, hours_words
from servicedesk.routes.translate import told
from servicedesk.routes.travel import Point
from servicedesk.routes.urgent import Wanted, Way, ways

VISITS_A_YEAR = {"weekly": 52, "twice_weekly": 104, "fortnightly": 26, "four_weekly": 13, "monthly": 12}
WEEKS_BACK = 6


@dataclass(frozen=True, slots=True)
class Prospect:
    """A site as it is known before it is one of ours."""

    name: str
    at: Point
    duration_min: int
    cadence: str
    opens: time = time(8)
    closes: time = time(17)
    time_zone: str = ""
    needs: tuple[PermissionKind, ...] = ()

    @property
    def visits_a_year(self) -> int:
        return VISITS_A_YEAR[self.cadence]


@dataclass(frozen=True, slots=True)
class Fit:
    """The prospect in one round."""

    entry: Entry
    way: Way
    visits_a_year: int

    @property
    def technician(self) -> Technician:
        return self.entry.technician

    @property
    def is_new_day(self) -> bool:
        """Whether somebody goes out for it alone."""
        return self.entry.day is not None and not self.entry.day.known

    @property
    def begins(self) -> datetime:
        return self.way.begins.astimezone(ZoneInfo(self.technician.time_zone))

    @property
    def year_cost(self) -> Decimal:
        return self.way.cost * self.visits_a_year

    @property
    def km_words(self) -> str:
        return distance_words(self.way.metres)

    @property
    def drive_words(self) -> str:
        return hours_words(self.way.drive_s)

    @property
    def overtime_words(self) -> str:
        return hours_words(self.way.overtime_s)

    @property
    def year_drive_words(self) -> str:
        return hours_words(self.way.drive_s * self.visits_a_year)

    @property
    def year_km_words(self) -> str:
        return distance_words(self.way.metres * self.visits_a_year)

    @property
    def late_for(self) -> int:
        """Visits of the round that would begin at another hour."""
        return len(self.way.shifted)


@dataclass(frozen=True, slots=True)
class NoFit:
    technician: Technician
    days: str
    why: str


@dataclass(frozen=True, slots=True)
class Fits:
    week: Week
    rounds: int
    fits: list[Fit]
    no_fits: list[NoFit]
    currency: str

    @property
    def in_rounds(self) -> list[Fit]:
        """In rounds that are driven anyway."""
        return [fit for fit in self.fits if not fit.is_new_day]

    @property
    def alone(self) -> list[Fit]:
        """Out for the site alone: each technician's cheapest day."""
        cheapest: dict[int, Fit] = {}
        for fit in self.fits:
            if fit.is_new_day:
                cheapest.setdefault(fit.technician.pk, fit)
        return list(cheapest.values())

    @property
    def best(self) -> Fit | None:
        return self.fits[0] if self.fits else None

    @property
    def next_best(self) -> Fit | None:
        """The best in another round than the best."""
        return self.fits[1] if len(self.fits) > 1 else None

    @property
    def dearer(self) -> Decimal:
        """What a year costs more when the best round cannot take it."""
        if self.best is None or self.next_best is None:
            return Decimal(0)
        return self.next_best.year_cost - self.best.year_cost


def typical_weeks(today: date | None = None) -> list[tuple[Week, int]]:
    """Weeks with rounds, the last whole one first, with how many rounds each has."""
    this = Week.of(today or timezone.localdate())
    weeks = [this.shifted(-step) for step in range(1, WEEKS_BACK + 1)] + [this, this.shifted(1)]
    first, last = min(row.monday for row in weeks), max(row.sunday for row in weeks)
    counts: dict[Week, int] = {}
    for day in Round.objects.filter(date__range=(first, last), stops__isnull=False).distinct().values_list(
        "date", "technician"
    ):  # fmt: skip
        counts[Week.of(day[0])] = counts.get(Week.of(day[0]), 0) + 1
    return [(week, counts[week]) for week in weeks if week in counts]


def fits(prospect: Prospect, week: Week) -> Fits:
    """The prospect put into each technician's day of the week at its best place, the cheapest first."""
    entries = entries_of(week.monday, week.sunday, [prospect.at])
    found: list[Fit] = []
    refused: list[tuple[Technician, date, str]] = []
    for entry in entries:
        if entry.day is None:
            refused.append((entry.technician, entry.date, entry.why_not))
            continue
        zone = ZoneInfo(prospect.time_zone or entry.technician.time_zone)
        wanted = Wanted(
            name=prospect.name or _("the site"),
            at=prospect.at,
            zone=zone.key,
            duration_s=prospect.duration_min * 60,
            windows=typed_windows(entry.date, prospect.opens, prospect.closes, zone),
            needs=tuple(kind.name for kind in prospect.needs),
        )
        rows, reason = ways(entry.day, wanted, drop_most=0)
        if rows:
            found.append(Fit(entry, min(rows, key=lambda way: way.cost), prospect.visits_a_year))
        else:
            refused.append((entry.technician, entry.date, told(reason) if reason else _("no room in the day")))
    found.sort(key=lambda fit: (fit.way.cost, fit.entry.date, fit.technician.pk))
    rounds = sum(entry.day is not None and bool(entry.day.known) for entry in entries)
    currency = Firm.objects.values_list("currency", flat=True).first() or "USD"
    return Fits(week, rounds, found, _no_fits(refused), currency)


def _no_fits(rows: Sequence[tuple[Technician, date, str]]) -> list[NoFit]:
    grouped: dict[tuple[int, str], list[tuple[Technician, date]]] = {}
    for who, day, why in rows:
        grouped.setdefault((who.pk, why), []).append((who, day))
    return [
        NoFit(found[0][0], ", ".join(day_words(day) for _who, day in found), why)
        for (_pk, why), found in grouped.items()
    ]
