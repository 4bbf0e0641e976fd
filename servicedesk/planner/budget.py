"""How much of the time or of the iterations a search has spent, who is told of it, and who may end it early."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

Progress = Callable[[float, int, Decimal], None]  # share of the budget spent, iterations, best cost
TELL_EVERY_S = 0.1


@dataclass(slots=True)
class Budget:
    """Seconds, iterations or both, whichever ends first.

    ``part``: the span of the whole search's progress that this one's is told as; ``before`` counts the iterations
    made earlier.
    """

    seconds: float | None
    iterations: int | None
    progress: Progress | None = None
    stop: Callable[[], bool] | None = None
    part: tuple[float, float] = (0.0, 1.0)
    before: int = 0
    stopped: bool = False
    began: float = field(default_factory=time.monotonic)
    told: float = 0.0

    def piece(self, low: float, high: float, before: int = 0) -> "Budget":
        """The part of this budget from one share to another, begun now; seconds already overrun are taken from it."""
        seconds = None if self.seconds is None else max(self.began + self.seconds * high - time.monotonic(), 0.0)
        iterations = None
        if self.iterations is not None:
            iterations = round(self.iterations * high) - round(self.iterations * low)
        start, end = self.part
        part = start + (end - start) * low, start + (end - start) * high
        return Budget(seconds, iterations, self.progress, self.stop, part, self.before + before, self.stopped)

    def __call__(self, number: int, best: int) -> float:
        """The share spent after so many iterations; 1 ends the search. ``best``: the cost so far in thousandths."""
        now = time.monotonic()
        share = self._share(number, now)
        if share < 1 and now - self.told >= TELL_EVERY_S:
            self.told = now
            self.tell(share, self.before + number, best)
        return 1.0 if self.stopped else share

    def tell(self, share: float, number: int, best: int) -> None:
        """Say how far it is, and ask whether to stop."""
        low, high = self.part
        if self.progress is not None:
            self.progress(low + (high - low) * share, number, Decimal(best) / 1000)
        if self.stop is not None and self.stop():
            self.stopped = True

    def _share(self, number: int, now: float) -> float:
        by_number = number / self.iterations if self.iterations else (1.0 if self.iterations == 0 else 0.0)
        by_time = (now - self.began) / self.seconds if self.seconds else (1.0 if self.seconds == 0 else 0.0)
        return max(by_number, by_time)
