"""A mean and a spread that a few odd values hardly move."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median, stdev

WINSOR, UNBIASED, TO_SIGMA = 1.5, 1.134, 1.483  # ISO 13528:2015, annex C.3 (algorithm A)
MAX_ROUNDS, SMALL = 200, 1e-6


@dataclass(frozen=True, slots=True)
class Robust:
    """Robust mean and standard deviation, in the unit of the values."""

    mean: float
    spread: float
    number: int


def robust_mean(values: Sequence[float]) -> Robust:
    """Mean and standard deviation by algorithm A of ISO 13528: what lies beyond 1.5 spreads is pulled in.

    >>> found = robust_mean([60, 62, 61, 59, 240])
    >>> round(found.mean), round(found.spread)
    (62, 4)
    """
    if not values:
        raise ValueError("A mean needs at least one value.")
    mean = median(values)
    spread = TO_SIGMA * median(abs(value - mean) for value in values)
    if len(values) == 1 or spread == 0:
        return Robust(mean, spread, len(values))
    for _round in range(MAX_ROUNDS):
        reach = WINSOR * spread
        pulled = [min(max(value, mean - reach), mean + reach) for value in values]
        mean_now, spread_now = fmean(pulled), UNBIASED * stdev(pulled)
        done = abs(mean_now - mean) <= SMALL * spread and abs(spread_now - spread) <= SMALL * spread
        mean, spread = mean_now, spread_now
        if done or spread == 0:
            break
    return Robust(mean, spread, len(values))
