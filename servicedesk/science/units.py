"""Conversion between the units people type and the canonical units inside; reading of typed numbers."""

import re
from dataclasses import dataclass
from math import isfinite

from servicedesk.science.quantities import QUANTITIES, Unit
from servicedesk.science.water.seawater import salinity_from_specific_gravity, specific_gravity

LEAST_SG, MOST_SG = 1.0, 1.045
MOST_TYPED = 40  # characters of one number
SPECIFIC_GRAVITY_TEMPS_C = {"SG_25": 25.0, "SG_60F": 15.56}


@dataclass(frozen=True, slots=True)
class Typed:
    """A number as typed; ``below`` when it was "< value", below what the method can detect."""

    value: float
    below: bool = False


def unit_of(quantity: str, key: str) -> Unit:
    """The unit of a quantity; raises ValueError naming what may be typed."""
    for unit in QUANTITIES.get(quantity, ()):
        if unit.key == key:
            return unit
    known = ", ".join(unit.key for unit in QUANTITIES.get(quantity, ())) or "nothing"
    raise ValueError(f"{key!r} is no unit of {quantity}; known: {known}.")


def canonical_unit(quantity: str) -> Unit:
    return QUANTITIES[quantity][0]


def parse_number(text: str) -> Typed:
    """Read "8.3", "8,3", "1 250", "1,250.5", "1.250,5", "< 0.01". Raises ValueError in words."""
    stripped = text.strip().replace("\u00a0", " ").replace("\u202f", " ").replace("−", "-")
    below = stripped.startswith(("<", "‹"))
    refused = f"“{text.strip()[:MOST_TYPED]}” is not a number."
    try:
        value = float(_point_only(stripped.lstrip("<‹ ").replace(" ", "")))
    except ValueError as error:
        raise ValueError(refused) from error
    if len(stripped) > MOST_TYPED or not isfinite(value):
        raise ValueError(refused)
    return Typed(value, below)


def _point_only(digits: str) -> str:
    """The number with a decimal point and nothing else: the last of two different signs is the decimal one.

    A single comma before three digits parts thousands ("1,250"), else it is the decimal sign. Raises ValueError
    for signs that part no groups of three.
    """
    decimal = max(digits.rfind(","), digits.rfind("."))
    signs = {sign for sign in ",." if sign in digits}
    if not signs:
        return digits
    head, tail = digits[:decimal], digits[decimal + 1 :]
    if len(signs) == 1 and (digits.count(digits[decimal]) > 1 or (signs == {","} and _parts_thousands(head, tail))):
        head, tail = digits, ""
    groups = re.split(r"[,.]", head.lstrip("+-"))
    if len(groups) > 1 and not (1 <= len(groups[0]) <= 3 and all(len(group) == 3 for group in groups[1:])):
        raise ValueError(digits)
    return re.sub(r"[,.]", "", head) + (f".{tail}" if tail else "")


def _parts_thousands(head: str, tail: str) -> bool:
    whole = head.lstrip("+-")
    return len(tail) == 3 and whole.isdigit() and not whole.startswith("0")


def to_canonical(quantity: str, value: float, unit: str) -> float:
    """Convert a typed value to the canonical unit."""
    found = unit_of(quantity, unit)
    if found.key in SPECIFIC_GRAVITY_TEMPS_C:
        return salinity_from_sg(value, SPECIFIC_GRAVITY_TEMPS_C[found.key])
    return value * found.factor + found.offset


def from_canonical(quantity: str, value: float, unit: str) -> float:
    """Convert a canonical value to a unit people read."""
    found = unit_of(quantity, unit)
    if found.key in SPECIFIC_GRAVITY_TEMPS_C:
        temp_c = SPECIFIC_GRAVITY_TEMPS_C[found.key]
        return specific_gravity(value, temp_c, temp_c)
    return (value - found.offset) / found.factor


def show(quantity: str, value: float, unit: str) -> str:
    """A canonical value in a unit with its sensible digits and label, e.g. "8.3 dKH"."""
    found = unit_of(quantity, unit)
    return f"{from_canonical(quantity, value, unit):.{found.digits}f} {found.label}".strip()


def salinity_from_sg(sg: float, temp_c: float) -> float:
    """Practical salinity from specific gravity at ``temp_c``; valid 1.000 to 1.045."""
    if not LEAST_SG <= sg <= MOST_SG:
        raise ValueError(f"A specific gravity of {sg:g} is outside {LEAST_SG:.3f} to {MOST_SG:.3f}.")
    return salinity_from_specific_gravity(sg, temp_c, temp_c)
