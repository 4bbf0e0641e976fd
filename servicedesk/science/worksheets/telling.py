"""Amounts and sentences as text in the units a person reads, with sensible digits."""

from collections.abc import Callable, Mapping
from math import floor, isfinite, log10

from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.words import Say, Term
from servicedesk.science.worksheets.declare import Step

UnitOf = Callable[[str], str]
"""Gives the unit key to show for a quantity, or "" for the canonical one."""

SIGNIFICANT = 3
FIXED = {
    "ph", "temperature", "temperature_difference", "salinity", "salinity_difference", "specific_gravity", "refractive_index",
    "density", "conductivity", "omega", "percent", "oxygen", "count",
}  # fmt: skip
SILENT = {"ph"}  # the sentence says what it is
LARGER = {
    ("dose_volume", "mL"): ("L", 1000.0),
    ("mass", "g"): ("kg", 1000.0),
    ("mass_per_day", "g_day"): ("kg_day", 1000.0),
    ("power", "W"): ("kW", 1e4),
}


def canonical(_quantity: str) -> str:
    """The choice of a reader who wants canonical units."""
    return ""


def amount_text(quantity: str, value: float, unit: str = "") -> str:
    """E.g. "4.18 kg", "8.3 dKH", "07:30"; the canonical unit when none is named."""
    if not isfinite(value):
        return "no limit" if value > 0 else "–"
    if quantity == "clock":
        return clock_text(value)
    key = unit or QUANTITIES[quantity][0].key
    larger, from_value = LARGER.get((quantity, key), ("", 0.0))
    if larger and abs(value) >= from_value:
        key = larger
    found = units.unit_of(quantity, key)
    number = number_text(
        units.from_canonical(quantity, value, key), found.digits if quantity in FIXED or found.key == "psf" else None
    )
    label = "" if quantity in SILENT else found.label
    if label in ("days", "weeks") and number == "1":
        label = label.removesuffix("s")
    return f"{number} {label}".strip()


def number_text(value: float, decimals: int | None = None) -> str:
    """A number to three significant digits, or to fixed decimals; thousands parted by a thin space."""
    if decimals is None:
        if value == 0:
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
    return line.formula.format_map(_told(line.terms, canonical))


def _told(terms: Mapping[str, Term], unit_of: UnitOf) -> dict[str, str]:
    return {name: term_text(term, unit_of) for name, term in terms.items()}
