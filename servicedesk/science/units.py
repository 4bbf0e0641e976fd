"""Units people type, and the canonical units inside.

Canonical: L, g, °C, K, meq/L for alkalinity, mg/L for ions, PSS-78 for salinity, mL/min, W, min.
Every unit but specific gravity is linear: canonical = typed × factor + offset.

Sources: NIST SP 811 (2008) appendix B for US units; DIN 38409-7 for the German degree of carbonate
hardness (1 °dKH = 10 mg CaO per litre); CIAAW 2021 weights for species conversions.
"""

from dataclasses import asdict, dataclass
from functools import lru_cache
from itertools import pairwise
from math import isfinite
from typing import Any

from servicedesk.science.water import molar

GAL_US_L = 3.785411784
GAL_IMP_L = 4.54609
OZ_G = 28.349523125
LB_G = 453.59237
MILE_KM = 1.609344
DKH_MEQ_L = 20.0 / molar.CAO  # 10 mg CaO per litre, two equivalents a mole
CACO3_MEQ_L = 2.0 / molar.CACO3
NO3_PER_N = molar.NO3 / molar.N
PO4_PER_P = molar.PO4 / molar.P
NH3_PER_N = molar.NH3 / molar.N
NO2_PER_N = molar.NO2 / molar.N


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a quantity: label as written, factor and offset to the canonical unit, digits shown."""

    key: str
    label: str
    factor: float = 1.0
    offset: float = 0.0
    digits: int = 1


@dataclass(frozen=True, slots=True)
class Typed:
    """A number as typed; ``below`` when it was "< value", below what the method can detect."""

    value: float
    below: bool = False


def _ion(digits: int = 0) -> tuple[Unit, ...]:
    return (Unit("mg_L", "mg/L", digits=digits), Unit("ppm", "ppm", digits=digits))


QUANTITIES: dict[str, tuple[Unit, ...]] = {
    "alkalinity": (
        Unit("meq_l", "meq/L", 1.0, 0.0, 2),
        Unit("dKH", "dKH", DKH_MEQ_L, 0.0, 1),
        Unit("ppm_caco3", "ppm CaCO₃", CACO3_MEQ_L, 0.0, 0),
    ),
    "calcium": _ion(),
    "magnesium": _ion(),
    "potassium": _ion(),
    "strontium": _ion(1),
    "boron": _ion(1),
    "iodide": (Unit("mg_L", "mg/L", digits=3), Unit("ug_L", "µg/L", 0.001, 0.0, 0)),
    "nitrate": (Unit("mg_L", "mg/L NO₃", digits=1), Unit("mg_L_N", "mg/L NO₃-N", NO3_PER_N, 0.0, 2)),
    "phosphate": (
        Unit("mg_L", "mg/L PO₄", digits=2),
        Unit("mg_L_P", "mg/L P", PO4_PER_P, 0.0, 3),
        Unit("ppb_P", "ppb P", PO4_PER_P / 1000, 0.0, 0),
    ),
    "ammonia": (Unit("mg_L", "mg/L NH₃+NH₄", digits=2), Unit("mg_L_N", "mg/L N", NH3_PER_N, 0.0, 2)),
    "nitrite": (Unit("mg_L", "mg/L NO₂", digits=2), Unit("mg_L_N", "mg/L N", NO2_PER_N, 0.0, 2)),
    "salinity": (
        Unit("PSS", "PSS", digits=1),
        Unit("ppt", "ppt", digits=1),
        Unit("SG_25", "SG 25/25 °C", digits=4),
        Unit("SG_60F", "SG 60/60 °F", digits=4),
    ),
    "temperature": (Unit("degC", "°C", digits=1), Unit("degF", "°F", 5 / 9, -160 / 9, 1)),
    "temperature_difference": (Unit("K", "°C", digits=1), Unit("degF", "°F", 5 / 9, 0.0, 1)),
    "ph": (Unit("pH", "pH", digits=2),),
    "orp": (Unit("mV", "mV", digits=0),),
    "co2": (Unit("ppm", "ppm", digits=0),),
    "volume": (
        Unit("L", "L", digits=0),
        Unit("gal", "gal", GAL_US_L, 0.0, 0),
        Unit("gal_imp", "imp gal", GAL_IMP_L, 0.0, 0),
    ),
    "dose_volume": (Unit("mL", "mL", digits=0), Unit("fl_oz", "fl oz", GAL_US_L * 1000 / 128, 0.0, 1)),
    "mass": (
        Unit("g", "g", digits=0),
        Unit("kg", "kg", 1000.0, 0.0, 2),
        Unit("oz", "oz", OZ_G, 0.0, 1),
        Unit("lb", "lb", LB_G, 0.0, 2),
    ),
    "mass_kg": (Unit("kg", "kg", digits=2), Unit("lb", "lb", LB_G / 1000, 0.0, 1)),
    "drip_flow": (Unit("mL_min", "mL/min", digits=0), Unit("L_h", "L/h", 1000 / 60, 0.0, 2)),
    "flow": (Unit("L_h", "L/h", digits=0), Unit("gph", "gal/h", GAL_US_L, 0.0, 0)),
    "power": (Unit("W", "W", digits=0), Unit("Btu_h", "Btu/h", 0.29307107, 0.0, 0)),
    "percent": (Unit("pct", "%", digits=0),),
    "count": (Unit("count", "", digits=0),),
    "length": (Unit("km", "km", digits=0), Unit("mi", "mi", MILE_KM, 0.0, 0)),
    "duration": (Unit("min", "min", digits=0), Unit("h", "h", 60.0, 0.0, 1)),
}
SPECIFIC_GRAVITY_TEMPS_C = {"SG_25": 25.0, "SG_60F": 15.56}


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
    """Read "8.3", "8,3", "1 250", "< 0.01". Raises ValueError in words."""
    stripped = text.strip().replace("\u00a0", " ").replace("−", "-")
    below = stripped.startswith(("<", "‹"))
    digits = stripped.lstrip("<‹ ").replace(" ", "")
    if digits.count(",") == 1 and "." not in digits:
        head, tail = digits.split(",")
        thousands = len(tail) == 3 and head.lstrip("+-").isdigit() and not head.lstrip("+-").startswith("0")
        digits = head + tail if thousands else f"{head}.{tail}"
    else:
        digits = digits.replace(",", "")
    try:
        value = float(digits)
    except ValueError as error:
        raise ValueError(f"“{text.strip()}” is not a number.") from error
    if not isfinite(value):
        raise ValueError(f"“{text.strip()}” is not a number.")
    return Typed(value, below)


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
        return sg_from_salinity(value, SPECIFIC_GRAVITY_TEMPS_C[found.key])
    return (value - found.offset) / found.factor


def show(quantity: str, value: float, unit: str) -> str:
    """A canonical value in a unit with its sensible digits and label, e.g. "8.3 dKH"."""
    found = unit_of(quantity, unit)
    return f"{from_canonical(quantity, value, unit):.{found.digits}f} {found.label}".strip()


def sg_from_salinity(salinity: float, temp_c: float) -> float:
    """Specific gravity of seawater over pure water, both at ``temp_c`` and 1 atm (TEOS-10)."""
    import gsw

    absolute = salinity * 35.16504 / 35.0
    return float(gsw.rho_t_exact(absolute, temp_c, 0.0) / gsw.rho_t_exact(0.0, temp_c, 0.0))


def salinity_from_sg(sg: float, temp_c: float) -> float:
    """Practical salinity from specific gravity at ``temp_c``; valid 1.000 to 1.045."""
    if not 0.999 <= sg <= 1.045:
        raise ValueError(f"A specific gravity of {sg:g} is outside 1.000 to 1.045.")
    table = sg_table(temp_c)
    for (s_low, sg_low), (s_high, sg_high) in pairwise(table):
        if sg <= sg_high:
            return s_low + (sg - sg_low) / (sg_high - sg_low) * (s_high - s_low)
    return table[-1][0]


@lru_cache(maxsize=8)
def sg_table(temp_c: float) -> tuple[tuple[float, float], ...]:
    """(salinity, specific gravity) every 2 PSS from 0 to 62: what a browser interpolates too."""
    return tuple((float(s), sg_from_salinity(float(s), temp_c)) for s in range(0, 64, 2))


def unit_table() -> dict[str, Any]:
    """The whole table as JSON, with the specific gravity tables, for a browser to carry."""
    return {
        "quantities": {name: [asdict(unit) for unit in rows] for name, rows in QUANTITIES.items()},
        "specific_gravity": {key: sg_table(temp) for key, temp in SPECIFIC_GRAVITY_TEMPS_C.items()},
    }
