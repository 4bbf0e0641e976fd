"""Refusals in words: values that cannot be, and values outside a formula's validity, by name."""

from math import isfinite


class ScienceError(ValueError):
    """A value a formula cannot take, said for a person. ``field`` names the argument, when one is to blame."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.field = field


class OutOfRange(ScienceError):
    """A value outside the range in which a formula holds."""


def finite(name: str, value: float) -> float:
    """The value as float; raises when it is not a finite number."""
    number = float(value)
    if not isfinite(number):
        raise ScienceError(f"The {name} must be a finite number, not {value!r}.", name)
    return number


def within(name: str, value: float, low: float, high: float, unit: str = "") -> float:
    """The value when low ≤ value ≤ high; raises OutOfRange naming the quantity and its range."""
    number = finite(name, value)
    if not low <= number <= high:
        suffix = f" {unit}" if unit else ""
        raise OutOfRange(f"The {name} {number:g}{suffix} is outside {low:g} to {high:g}{suffix}.", name)
    return number


def positive(name: str, value: float) -> float:
    """The value when it is more than nothing."""
    number = finite(name, value)
    if number <= 0:
        raise OutOfRange(f"The {name} must be more than nothing, not {number:g}.", name)
    return number


def not_negative(name: str, value: float) -> float:
    number = finite(name, value)
    if number < 0:
        raise OutOfRange(f"The {name} cannot be negative, as {number:g} is.", name)
    return number


def share(name: str, value: float) -> float:
    """A share from 0 to 1."""
    return within(name, value, 0.0, 1.0)
