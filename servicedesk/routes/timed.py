"""A technician's day with every time in it."""

from dataclasses import dataclass, field

from servicedesk.routes.queries.round import StopTimes


@dataclass(slots=True)
class Timed:
    """A technician's day as timed, what it costs, and the rules it breaks in words."""

    stops: list[StopTimes] = field(default_factory=list)
    leave_s: int | None = None
    return_s: int | None = None
    travel_s: int = 0
    distance_m: int = 0
    overtime_s: int = 0
    break_start_s: int | None = None
    break_s: int = 0
    start_lodging_id: int | None = None
    lodging_id: int | None = None
    cost: float = 0.0
    hard: list[str] = field(default_factory=list)
    soft: list[tuple[str | None, str]] = field(default_factory=list)

    @property
    def is_empty(self) -> bool:
        """Nothing to drive: no stop, and no night away before or after."""
        return not self.stops and self.start_lodging_id is None and self.lodging_id is None
