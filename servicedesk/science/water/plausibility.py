"""Is a typed value likely what was meant? Slips of unit and of typing, offered once in one tap."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES

NEAR_SD = 6.0
TRANSPOSE_MIN_DIGITS = 2


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What might have been meant: text and unit to put in the field, canonical value, and why in words."""

    typed: str
    unit: str
    value: float
    why: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """``kind`` is ok, ask (with suggestions) or impossible (with the reason)."""

    kind: str
    reason: str = ""
    suggestions: tuple[Suggestion, ...] = ()


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is known of a parameter here, in canonical units."""

    quantity: str
    possible: tuple[float, float]
    plausible: tuple[float, float]
    centre: float
    spread: float


def expectation(
    *,
    quantity: str,
    possible: tuple[float, float],
    plausible: tuple[float, float],
    band: tuple[float, float] | None,
    last: float | None,
    sd: float,
) -> Expectation:
    """Centre on the last value, else the band, else the plausible range; spread from band and method."""
    low, high = band or plausible
    centre = last if last is not None else (low + high) / 2
    spread = max(high - low, NEAR_SD * sd)
    return Expectation(quantity, possible, plausible, centre, spread)


def check_value(typed: str, unit: str, expected: Expectation) -> Verdict:
    """Judge a typed value. A value that is no number raises ValueError with words."""
    number = units.parse_number(typed)
    try:
        value = units.to_canonical(expected.quantity, number.value, unit)
    except ValueError as error:
        value, problem = float("nan"), str(error)
    else:
        problem = ""
    if number.below:
        return Verdict("ok")
    if _inside(value, expected.possible) and _is_near(value, expected):
        return Verdict("ok")
    suggestions = _suggestions(typed, number.value, unit, expected)
    if not _inside(value, expected.possible):
        reason = problem or "This value cannot be."
        return Verdict("impossible", reason, suggestions)
    if _inside(value, expected.plausible) and not suggestions:
        return Verdict("ok")
    return Verdict("ask", "Far from the last value.", suggestions)


def _inside(value: float, limits: tuple[float, float]) -> bool:
    return limits[0] <= value <= limits[1]


def _is_near(value: float, expected: Expectation) -> bool:
    return _inside(value, expected.plausible) and abs(value - expected.centre) <= expected.spread


def _suggestions(typed: str, number: float, unit: str, expected: Expectation) -> tuple[Suggestion, ...]:
    found: list[Suggestion] = []
    for other in QUANTITIES[expected.quantity]:
        if other.key != unit:
            found += _candidate(number, other.key, f"in {other.label}", expected)
    for factor, why in (
        (0.1, "a decimal point further left"),
        (10.0, "a decimal point further right"),
        (0.01, "two places further left"),
        (100.0, "two places further right"),
    ):
        found += _candidate(number * factor, unit, why, expected)
    for swapped in _transpositions(typed):
        found += _candidate(swapped, unit, "two digits the other way round", expected)
    found.sort(key=lambda suggestion: abs(suggestion.value - expected.centre))
    unique: dict[tuple[str, str], Suggestion] = {}
    for suggestion in found:
        unique.setdefault((suggestion.typed, suggestion.unit), suggestion)
    return tuple(unique.values())[:3]


def _candidate(number: float, unit: str, why: str, expected: Expectation) -> list[Suggestion]:
    try:
        value = units.to_canonical(expected.quantity, number, unit)
    except ValueError:
        return []
    return [Suggestion(f"{number:g}", unit, value, why)] if _is_near(value, expected) else []


def _transpositions(typed: str) -> Sequence[float]:
    text = typed.strip()
    found = []
    for index, (first, second) in enumerate(pairwise(text)):
        if first.isdigit() and second.isdigit() and first != second and len(text) >= TRANSPOSE_MIN_DIGITS:
            found.append(float(f"{text[:index]}{second}{first}{text[index + 2 :]}".replace(",", ".")))
    return found
