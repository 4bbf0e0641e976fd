"""When the stops of a round under way are expected, as people read it."""

from dataclasses import dataclass

from servicedesk.routes.times import Clock, hours_words


@dataclass(frozen=True, slots=True)
class StopEstimate:
    """A stop of a round under way, as it was or will be, on the clocks. ``state``: done, here or ahead."""

    state: str
    start: Clock
    leave: Clock
    late_min: int
    promise_late_min: int
    shut: bool

    @property
    def at_risk(self) -> bool:
        return self.state == "ahead" and (self.promise_late_min > 0 or self.shut)

    @property
    def early_min(self) -> int:
        return -self.late_min

    @property
    def late_words(self) -> str:
        return hours_words(self.late_min * 60)

    @property
    def early_words(self) -> str:
        return hours_words(self.early_min * 60)

    @property
    def promise_late_words(self) -> str:
        return hours_words(self.promise_late_min * 60)
