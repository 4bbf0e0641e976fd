"""Refusals in words: values that cannot be, and values outside a formula's validity.

Each check is given the name a person has for the value, such as "water temperature".
"""

from math import isfinite

from servicedesk.science.words import Amount, Say, Term, plain


class ScienceError(ValueError):
    """A value a formula cannot take, said for a person.

    ``words`` may hold amounts, told in the reader's units. ``field``: an input's key, or the human name of the
    value to blame. ``value``: the refused number itself.
    """

    def __init__(self, words: str | Say, field: str = "", value: float | None = None) -> None:
        super().__init__(words)
        self.words = plain(words) if isinstance(words, str) else words
        self.field = field
        self.value = value

    def __str__(self) -> str:
        """The words in canonical units."""
        from servicedesk.science.worksheets.telling import sentence  # telling itself rests on these refusals

        return sentence(self.words)


class OutOfRange(ScienceError):
    """A value outside the range in which a formula holds."""


def finite(name: str, value: float) -> float:
    """The value as float; raises when it is not a finite number."""
    number = float(value)
    if not isfinite(number):
        raise ScienceError(f"The {name} must be a finite number, not {value!r}.", name)
    return number


def within(name: str, value: float, low: float, high: float, quantity: str = "") -> float:
    """The value when low ≤ value ≤ high; raises OutOfRange naming the value and its range.

    ``quantity``: a key of QUANTITIES when its canonical unit is that of the value.
    """
    number = finite(name, value)
    if not low <= number <= high:
        words = Say(
            "The {name} {value} is outside {low} to {high}.",
            {
                "name": name,
                "value": _told(quantity, number),
                "low": _told(quantity, low),
                "high": _told(quantity, high),
            },
        )
        raise OutOfRange(words, name, number)
    return number


def _told(quantity: str, number: float) -> Term:
    if quantity:
        return Amount(quantity, number)
    text = f"{number:g}"
    return f"{number:.12f}".rstrip("0").rstrip(".") if "e" in text else text


def positive(name: str, value: float) -> float:
    """The value when it is more than nothing."""
    number = finite(name, value)
    if number <= 0:
        raise OutOfRange(f"The {name} must be more than nothing.", name, number)
    return number


def not_negative(name: str, value: float) -> float:
    number = finite(name, value)
    if number < 0:
        raise OutOfRange(f"The {name} cannot be negative.", name, number)
    return number


def share(name: str, value: float) -> float:
    """A share from 0 to 1."""
    return within(name, value, 0.0, 1.0)
