"""When the stops of a round under way are expected, as people read it."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from servicedesk.routes.times import Clock, hours_words


def arrival_words(arrive: Clock, begin: Clock, break_min: int = 0) -> str:
    """Arriving and beginning as they are, with the break between them where it is taken there."""
    words = {"arrive": arrive.text, "begin": begin.short, "min": break_min}
    if break_min:
        return _("Arrive about %(arrive)s, %(min)d min break, begin %(begin)s") % words
    if arrive.short != begin.short:
        return _("Arrive about %(arrive)s, begin %(begin)s") % words
    return _("Arrive about %(arrive)s and begin") % words


@dataclass(frozen=True, slots=True)
class StopEstimate:
    """A stop of a round under way, as it was or will be, on the clocks. ``state``: done, here or ahead."""

    state: str
    start: Clock
    leave: Clock
    late_min: int
    promise_late_min: int
    shut: bool
    arrive: Clock
    break_min: int = 0

    @property
    def arrival_words(self) -> str:
        return arrival_words(self.arrive, self.start, self.break_min)

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
