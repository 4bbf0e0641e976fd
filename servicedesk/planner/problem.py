"""What has to be planned: people, vans, places and visits of a week or any span of days.

Plain data, frozen. Datetimes are aware. Money is in ``Problem.currency``. What a field means is said once more, for
those who write files, in ``schemas/problem.schema.json``.
"""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

ZERO = Decimal(0)
REST_S = 11 * 3600  # common practice; set it per technician where law or contract say otherwise
SEA_WATER_KG_PER_L = 1.025  # at 35 g/kg and room temperature, rounded; common practice
PROMISE_S = 1800


@dataclass(frozen=True, slots=True)
class Place:
    """Somewhere to drive to; ``zone`` is the IANA name of its clock."""

    id: str
    latitude: float
    longitude: float
    zone: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Depot:
    """A store where a van is loaded again on the way."""

    id: str
    place: str
    reload_s: int = 900


@dataclass(frozen=True, slots=True)
class Window:
    """A span in which work may be done; one across midnight is one window."""

    opens: datetime
    closes: datetime


@dataclass(frozen=True, slots=True)
class Break:
    """A floating break: begun between ``earliest`` and ``latest`` by whoever is under way at ``latest``."""

    seconds: int
    earliest: datetime
    latest: datetime
    paid: bool = True


@dataclass(frozen=True, slots=True)
class Day:
    """A technician's working day, named by the date on which it begins.

    Work after ``closes`` or beyond ``normal_s`` is overtime, at most ``max_overtime_s`` of it.
    ``start`` and ``end`` override the technician's own places: a hotel on a committed overnight, whose lodging goes
    into ``fixed_cost``. ``drive_empty``: the drive from start to end is due even without a visit.
    """

    date: date
    opens: datetime
    closes: datetime
    normal_s: int | None = None
    max_overtime_s: int = 0
    breaks: tuple[Break, ...] = ()
    start: str | None = None
    end: str | None = None
    fixed_cost: Decimal = ZERO
    drive_empty: bool = False


@dataclass(frozen=True, slots=True)
class Leave:
    """An absence; a day is cut to the longer part that is left."""

    begins: datetime
    ends: datetime
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Permission:
    """A skill, ticket, badge or licence, valid on its first and last day and between."""

    kind: str
    first_day: date
    last_day: date


@dataclass(frozen=True, slots=True)
class Van:
    """What may be put in: ``payload_kg`` is what is left after driver and fixed kit."""

    payload_kg: float
    tank_l: float = 0.0
    water_kg_per_l: float = SEA_WATER_KG_PER_L


@dataclass(frozen=True, slots=True)
class Night:
    """A premium per hour for work between two local times, given as spans."""

    premium_per_hour: Decimal
    spans: tuple[Window, ...]


@dataclass(frozen=True, slots=True)
class Technician:
    """A person who drives rounds. ``max_nights``: how many of the optional nights away may be taken; None is any."""

    id: str
    start: str
    end: str
    zone: str
    days: tuple[Day, ...]
    name: str = ""
    depot: str | None = None
    hourly_cost: Decimal = ZERO
    overtime_factor: Decimal = Decimal("1.5")
    km_cost: Decimal = ZERO
    rest_s: int = REST_S
    van: Van | None = None
    night: Night | None = None
    permissions: tuple[Permission, ...] = ()
    leave: tuple[Leave, ...] = ()
    max_nights: int | None = None


@dataclass(frozen=True, slots=True)
class Crew:
    """So many people for the first part of a visit, one after."""

    people: int
    seconds: int


@dataclass(frozen=True, slots=True)
class Booking:
    """A loading bay or hired machine booked for this visit: the visit lies inside the booking."""

    thing: str
    opens: datetime
    closes: datetime


@dataclass(frozen=True, slots=True)
class Fixed:
    """What is settled already: the technician, the date of the round, the moment of beginning, or all of them."""

    technician: str | None = None
    date: "date | None" = None
    begins: datetime | None = None


@dataclass(frozen=True, slots=True)
class Promise:
    """An hour told to the client; beginning outside it by more than ``tolerance_s`` costs."""

    at: datetime
    tolerance_s: int = PROMISE_S
    cost: Decimal = ZERO


@dataclass(frozen=True, slots=True)
class Before:
    """Where the last plan had the visit; another technician or date costs.

    For two people also when it began and where the helper's part was: another helper costs too.
    """

    technician: str
    date: date
    position: int
    moved_cost: Decimal = ZERO
    begins: datetime | None = None
    helper: str | None = None
    helper_position: int = 0

    def is_home(self, day: tuple[str, object], *, helper: bool) -> bool:
        """Whether a part of the visit, the lead's or the helper's, is on this technician's day as before."""
        return (self.helper if helper else self.technician, self.date) == day


@dataclass(frozen=True, slots=True)
class Visit:
    """Work at a place.

    ``windows``: None is open always, an empty list never. ``days``: dates, on the clock of the place, on which a
    window may open; None is any. ``only``: nobody else. ``group`` is what order rules speak of.
    """

    id: str
    place: str
    duration_s: int
    skip_cost: Decimal
    name: str = ""
    days: tuple[date, ...] | None = None
    windows: tuple[Window, ...] | None = None
    needs: tuple[str, ...] = ()
    prefers: str | None = None
    not_preferred_cost: Decimal = ZERO
    only: tuple[str, ...] = ()
    barred: tuple[str, ...] = ()
    fixed: Fixed | None = None
    crew: Crew | None = None
    bookings: tuple[Booking, ...] = ()
    things: tuple[str, ...] = ()
    group: str = ""
    due_on: date | None = None
    late_cost_per_day: Decimal = ZERO
    load_kg: float = 0.0
    load_l: float = 0.0
    promise: Promise | None = None
    before: Before | None = None


@dataclass(frozen=True, slots=True)
class Thing:
    """A shared machine or bay: at most ``count`` visits use it at a time."""

    id: str
    count: int = 1
    name: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """Two visits at least so many days apart, by the dates on which they begin."""

    first: str
    second: str
    min_days: int


@dataclass(frozen=True, slots=True)
class OrderRule:
    """On one round, no visit of group ``after`` comes before one of group ``before``."""

    before: str
    after: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """A round that is settled and stays as it is; its visits are not planned again."""

    technician: str
    date: date
    leave: datetime
    back: datetime
    visits: tuple[str, ...]
    begins: tuple[datetime, ...] = ()


@dataclass(frozen=True, slots=True)
class Overnight:
    """An optional night away between two working days of a technician."""

    technician: str
    date: date
    place: str
    cost: Decimal


@dataclass(frozen=True, slots=True)
class SpeedBand:
    """Kilometres up to ``to_km`` are driven at ``kmh``; the last band has no end."""

    kmh: float
    to_km: float | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """Travel by great circle: a detour factor, faster the longer the drive, a fixed part per move.

    The constants are guesses until roads are known (common practice); they keep the triangle inequality.
    """

    detour: float = 1.32
    per_move_s: int = 150
    bands: tuple[SpeedBand, ...] = (SpeedBand(24, 4), SpeedBand(40, 14), SpeedBand(68, 45), SpeedBand(92))


@dataclass(frozen=True, slots=True)
class Table:
    """Seconds and metres between places, row to column; an empty cell is estimated."""

    places: tuple[str, ...]
    seconds: tuple[tuple[int | None, ...], ...]
    metres: tuple[tuple[int | None, ...], ...]


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything there is to plan from ``first_day`` to ``last_day``."""

    first_day: date
    last_day: date
    currency: str
    places: tuple[Place, ...]
    technicians: tuple[Technician, ...]
    visits: tuple[Visit, ...]
    name: str = ""
    format: int = 1
    depots: tuple[Depot, ...] = ()
    things: tuple[Thing, ...] = ()
    gaps: tuple[Gap, ...] = ()
    orders: tuple[OrderRule, ...] = ()
    kept: tuple[Kept, ...] = ()
    overnights: tuple[Overnight, ...] = ()
    estimate: Estimate = Estimate()
    table: Table | None = None


class ProblemError(ValueError):
    """The input cannot be read or contradicts itself; one line that names the field."""
