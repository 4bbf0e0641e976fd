"""Weeks, and planned times: seconds elapsed from the local midnight of a round's date in the technician's zone."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.common.display import current_display
from servicedesk.science import units

DAY_S = 86_400
NEAR = 10


@dataclass(frozen=True, slots=True)
class Week:
    """An ISO week."""

    year: int
    number: int

    @classmethod
    def of(cls, day: date) -> "Week":
        year, number, _weekday = day.isocalendar()
        return cls(year, number)

    @property
    def monday(self) -> date:
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def sunday(self) -> date:
        return self.monday + timedelta(days=6)

    @property
    def days(self) -> list[date]:
        return [self.monday + timedelta(days=step) for step in range(7)]

    def shifted(self, weeks: int) -> "Week":
        return Week.of(self.monday + timedelta(weeks=weeks))


@dataclass(frozen=True, slots=True)
class Clock:
    """A planned moment on the site's clock, and on the technician's where that shows another time."""

    site: datetime
    technician: datetime
    round_date: date

    @property
    def differs(self) -> bool:
        return self.site.replace(tzinfo=None) != self.technician.replace(tzinfo=None)

    @property
    def text(self) -> str:
        """09:40, or 09:40 (08:40 technician's clock); the next date is named."""
        shown = self._of(self.site)
        if self.differs:
            return _("%(site)s there, %(own)s technician's clock") % {"site": shown, "own": self._of(self.technician)}
        return shown

    @property
    def short(self) -> str:
        return self._of(self.site)

    @property
    def own(self) -> str:
        return self._of(self.technician)

    def _of(self, moment: datetime) -> str:
        nights = (moment.date() - self.round_date).days
        return f"{moment:%H:%M}" + (f" +{nights}" if nights > 0 else "")


def midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)


def instant(day: date, seconds: int, zone: ZoneInfo) -> datetime:
    """The moment ``seconds`` after local midnight: elapsed, so right on the days when the clock changes."""
    return midnight(day, zone) + timedelta(seconds=seconds)


def seconds_at(moment: datetime, day: date, zone: ZoneInfo) -> int:
    return round((moment - midnight(day, zone)).total_seconds())


def local_seconds(day: date, at: time, zone: ZoneInfo, *, days_after: int = 0, origin: ZoneInfo | None = None) -> int:
    """Seconds from midnight of ``day`` in ``origin`` to a local time of ``zone``, ``days_after`` later."""
    moment = datetime.combine(day + timedelta(days=days_after), at, tzinfo=zone)
    return seconds_at(moment, day, origin or zone)


def clock(day: date, seconds: int, zone: ZoneInfo, site_zone: ZoneInfo) -> Clock:
    moment = instant(day, seconds, zone)
    return Clock(moment.astimezone(site_zone), moment.astimezone(zone), day)


def hours_words(seconds: float) -> str:
    """5 h 40 min."""
    minutes = round(abs(seconds) / 60)
    sign = "−" if seconds < 0 else ""
    if minutes < 60:
        return f"{sign}{minutes} min"
    return f"{sign}{minutes // 60} h {minutes % 60:02} min" if minutes % 60 else f"{sign}{minutes // 60} h"


def distance_words(metres: float) -> str:
    """12 km, or 7 mi in the US system; short ways with one decimal."""
    unit = current_display().unit_for("length")
    amount = units.from_canonical("length", metres / 1000, unit)
    if round(abs(amount)) >= NEAR:
        return units.show("length", metres / 1000, unit)
    shown = round(amount, 1) + 0.0  # no minus before a nought
    return f"{'−' if shown < 0 else ''}{abs(shown):.1f} {units.unit_of('length', unit).label}"
