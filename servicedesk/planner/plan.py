"""What the planner answers: rounds with every time, the visits that are on none and why, and the score."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from servicedesk.planner.problem import Overnight

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Stop:
    """A visit, or a reload at the store when ``visit`` is None. Arrive, perhaps wait, begin, leave.

    ``helper``: the second person of a visit that needs two for its first part.
    """

    visit: str | None
    place: str
    travel_s: int
    distance_m: int
    arrive: datetime
    begin: datetime
    leave: datetime
    helper: bool = False


@dataclass(frozen=True, slots=True)
class Pause:
    """A break taken."""

    begin: datetime
    seconds: int


@dataclass(frozen=True, slots=True)
class Round:
    """A technician's day from leaving to coming back, and what it costs."""

    technician: str
    date: date
    leave: datetime
    back: datetime
    stops: tuple[Stop, ...]
    pauses: tuple[Pause, ...]
    back_travel_s: int
    back_distance_m: int
    overtime_s: int
    night_s: int
    cost: Decimal


@dataclass(frozen=True, slots=True)
class Unserved:
    """A visit on no round: it *waits*, because placing it costs more, or it *cannot* be placed; ``cost`` to place."""

    visit: str
    state: Literal["waits", "cannot"]
    reason: str
    cost: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Score:
    """The cost of all rounds plus that of what is left out, and the figures people ask for."""

    cost: Decimal
    rounds_cost: Decimal
    skip_cost: Decimal
    distance_m: int
    work_s: int
    overtime_s: int
    night_s: int
    late_days: int
    promises_broken: int
    moved: int
    unserved: int


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan of a problem. ``nights``: the optional nights away that it takes.

    ``notes`` says in words what the planner did not do.
    """

    rounds: tuple[Round, ...]
    unserved: tuple[Unserved, ...]
    score: Score
    seed: int = 0
    iterations: int = 0
    problem: str = ""
    notes: tuple[str, ...] = ()
    nights: tuple[Overnight, ...] = ()
    format: int = 1
