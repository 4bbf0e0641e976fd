"""A measured value with its standard error, and how errors add up."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from servicedesk.science.guard import ScienceError, finite, not_negative

UNIFORM = sqrt(12)  # a value anywhere within a width w has the standard deviation w/√12


@dataclass(frozen=True, slots=True)
class Measured:
    """A canonical value and its standard error. ``below``: the true value is under ``value``, a bound."""

    value: float
    sd: float
    below: bool = False


def rounding_sd(resolution: float) -> float:
    """Standard error from reading to a step of ``resolution``.

    >>> round(rounding_sd(0.12), 4)
    0.0346
    """
    return not_negative("resolution", resolution) / UNIFORM


def combined_sd(*parts: float) -> float:
    """Independent standard errors taken together (root of the sum of squares)."""
    return hypot(*(not_negative("standard error", part) for part in parts))


def below(bound: float) -> Measured:
    """A reading "< bound": kept as a bound; the error is that of a value anywhere from 0 to the bound."""
    return Measured(
        not_negative("detection limit", bound), not_negative("detection limit", bound) / UNIFORM, below=True
    )


def propagate(function: Callable[..., float], inputs: Sequence[tuple[float, float]], *own: float) -> Measured:
    """``function`` of inputs (value, standard error), errors carried by its slope in each input.

    ``own``: further standard errors of the result itself. The slope is taken over half an error to each side.
    """
    values = [finite("value", value) for value, _ in inputs]
    result = finite("result", function(*values))
    parts = [*own]
    for index, (_, sd) in enumerate(inputs):
        if not_negative("standard error", sd) == 0:
            continue
        sides = [_moved(function, values, index, shift) for shift in (sd / 2, -sd / 2)]
        seen = [side for side in sides if side is not None]
        if len(seen) == 2:
            parts.append(abs(seen[0] - seen[1]))
        elif seen:  # at the edge of the range: the slope of the other side
            parts.append(2 * abs(seen[0] - result))
    return Measured(result, combined_sd(*parts) if parts else 0.0)


def _moved(function: Callable[..., float], values: Sequence[float], index: int, shift: float) -> float | None:
    moved = [*values]
    moved[index] += shift
    try:
        return function(*moved)
    except ScienceError:
        return None


def mean(readings: Sequence[float], sd: float) -> Measured:
    """The mean of repeats and its error: the method's, or the spread seen when that is greater."""
    if not readings:
        raise ScienceError("There is no reading.", "readings")
    count = len(readings)
    average = sum(finite("reading", reading) for reading in readings) / count
    spread = sqrt(sum((reading - average) ** 2 for reading in readings) / (count - 1)) if count > 1 else 0.0
    return Measured(average, max(not_negative("standard error", sd), spread) / sqrt(count))
