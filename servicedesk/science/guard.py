"""Refusals in words: values that cannot be, and values outside a formula's validity, by name."""

from math import isfinite

_UNITS = frozenset({
    "l", "ml", "m", "mm", "cm", "km", "m2", "m3", "kg", "g", "mg", "c", "k", "w", "h", "h2", "s", "d", "day", "min",
    "v", "a", "wh", "kwh", "kn", "kpa", "pa", "pct", "ppm", "uatm", "umol", "mmol", "mol", "meq", "eq", "ms", "per",
})  # fmt: skip


class ScienceError(ValueError):
    """A value a formula cannot take, said for a person. ``field`` names the argument, when one is to blame."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class OutOfRange(ScienceError):
    """A value outside the range in which a formula holds."""


def said(name: str) -> str:
    """An argument's name as a person says it, without its unit.

    >>> said("alkalinity_meq_l"), said("feed_kpa"), said("per_day"), said("air speed")
    ('alkalinity', 'feed', 'per day', 'air speed')
    """
    words = name.split("_")
    while len(words) > 1 and words[-1] in _UNITS and not set(words[:-1]) <= _UNITS:
        words.pop()
    return " ".join(words)


def finite(name: str, value: float) -> float:
    """The value as float; raises when it is not a finite number."""
    number = float(value)
    if not isfinite(number):
        raise ScienceError(f"The {said(name)} must be a finite number, not {value!r}.", name)
    return number


def within(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """The value when low ≤ value ≤ high; raises OutOfRange naming the quantity and its range."""
    number = finite(name, value)
    if not low <= number <= high:
        suffix = f" {unit}" if unit else ""
        raise OutOfRange(f"The {said(name)} {number:g}{suffix} is outside {low:g} to {high:g}{suffix}.", name)
    return number


def positive(name: str, value: float) -> float:
    """The value when it is more than nothing."""
    number = finite(name, value)
    if number <= 0:
        raise OutOfRange(f"The {said(name)} must be more than nothing, not {number:g}.", name)
    return number


def not_negative(name: str, value: float) -> float:
    number = finite(name, value)
    if number < 0:
        raise OutOfRange(f"The {said(name)} cannot be negative, as {number:g} is.", name)
    return number


def share(name: str, value: float) -> float:
    """A share from 0 to 1."""
    return within(name, value, 0.0, 1.0)
