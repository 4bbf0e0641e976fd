"""Amounts and sentences as text in the units a person reads, with sensible digits."""

from collections.abc import Callable, Mapping
from math import floor, isfinite, log10

from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES, Unit
from servicedesk.science.words import Say, Term
from servicedesk.science.worksheets.declare import Step

UnitOf = Callable[[str], str]
"""Gives the unit key to show for a quantity, or "" for the canonical one."""

SIGNIFICANT = 3
NOTHING = 1e-12  # what a subtraction leaves of nothing


def canonical(_quantity: str) -> str:
    """The choice of a reader who wants canonical units."""
    return ""


def amount_text(quantity: str, value: float, unit: str = "", *, shrinks: bool = True) -> str:
    """E.g. "4.18 kg", "8.3 dKH", "07:30"; the canonical unit when none is named.

    ``shrinks``: a small value may be told in a smaller unit.
    """
    if not isfinite(value):
        return "no limit" if value > 0 else "–"
    if quantity == "clock":
        return clock_text(value)
    found = _handy(quantity, value, unit or QUANTITIES[quantity][0].key, shrinks)
    number = number_text(units.from_canonical(quantity, value, found.key), found.digits if found.fixed else None)
    label = "" if found.silent else found.label
    if label in ("days", "weeks") and number == "1":
        label = label.removesuffix("s")
    return f"{number} {label}".strip()


def _handy(quantity: str, value: float, key: str, shrinks: bool) -> Unit:
    """The unit itself, or the larger or smaller one in which so much is told."""
    found = units.unit_of(quantity, key)
    if found.larger and abs(value) >= found.larger[1]:
        return units.unit_of(quantity, found.larger[0])
    if shrinks and found.smaller and 0 < abs(value) < found.smaller[1]:
        return units.unit_of(quantity, found.smaller[0])
    return found


def number_text(value: float, decimals: int | None = None) -> str:
    """A number to three significant digits, or to fixed decimals; thousands parted by a thin space."""
    if decimals is None:
        if abs(value) < NOTHING:
            return "0"
        places = SIGNIFICANT - 1 - floor(log10(abs(value)))
        value = round(value, places)
        decimals = 0 if value == round(value) else max(places, 0)
    text = f"{value:,.{decimals}f}".replace(",", "\u202f")
    return text.replace("-", "−") if float(f"{value:.{decimals}f}") else text.lstrip("-")


def clock_text(hours: float) -> str:
    """Time of day from hours, e.g. 7.5 → "07:30"."""
    minutes = round(hours * 60) % 1440
    return f"{minutes // 60:02}:{minutes % 60:02}"


def term_text(term: Term, unit_of: UnitOf) -> str:
    return term if isinstance(term, str) else amount_text(term.quantity, term.value, unit_of(term.quantity))


def sentence(words: Say, unit_of: UnitOf = canonical) -> str:
    """A sentence with its amounts put in."""
    return words.text.format_map(_told(words.terms, unit_of))


def formula_text(line: Step) -> str:
    """The formula with the names of its terms."""
    return line.formula.format_map({name: name.replace("_", " ") for name in line.terms})


def sum_text(line: Step) -> str:
    """The formula with numbers, always in canonical units, so that it can be checked by hand."""
    told = {name: _in_sum(term) for name, term in line.terms.items()}
    return line.formula.format_map(told)


def _in_sum(term: Term) -> str:
    return term if isinstance(term, str) else amount_text(term.quantity, term.value, shrinks=False)


def _told(terms: Mapping[str, Term], unit_of: UnitOf) -> dict[str, str]:
    return {name: term_text(term, unit_of) for name, term in terms.items()}
