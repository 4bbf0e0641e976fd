"""Photometer and titration kits: blank, dilution, the species they read, and below detection.

A reading y has σ² = a² + (r·y)² + step²/12; the reagent blank is the same for all repeats. What is below the
detection limit is kept as a bound.
"""

from math import sqrt

from servicedesk.science import units
from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.instruments.measured import Measured, below, combined_sd, rounding_sd
from servicedesk.science.water import molar

SPECIES = {  # parameter → the unit keys a kit may read in
    "alkalinity": ("meq_l", "dKH", "ppm_caco3"),
    "calcium": ("mg_L",),
    "magnesium": ("mg_L",),
    "potassium": ("mg_L",),
    "nitrate": ("mg_L", "mg_L_N"),
    "phosphate": ("mg_L", "mg_L_P", "ppb_P"),
    "ammonia": ("mg_L", "mg_L_N"),
    "nitrite": ("mg_L", "mg_L_N"),
}
PRECISION = {  # (σ in mg/L or meq/L, share of the value), canonical units: common practice
    "alkalinity": (0.06, 0.0),
    "calcium": (10.0, 0.0),
    "magnesium": (25.0, 0.0),
    "potassium": (10.0, 0.0),
    "nitrate": (0.4, 0.08),
    "phosphate": (0.01, 0.06),
    "ammonia": (0.03, 0.08),
    "nitrite": (0.01, 0.08),
}
DETECTION_SD = 3.0  # what cannot be told from nothing, in standard errors (IUPAC), when the kit names no limit
TITRATED = {  # parameter → mass or equivalents per mole of titrant
    "alkalinity": 1000.0,  # meq per mole of acid
    "calcium": 1000.0 * molar.CA,  # mg per mole of EDTA
    "magnesium": 1000.0 * molar.MG,
}


def canonical(parameter: str, unit: str, value: float) -> float:
    """A kit's number in the canonical unit of the parameter, e.g. nitrate 1 mg/L as N → 4.43 mg/L NO3."""
    if parameter not in SPECIES:
        raise ScienceError(f"The kit reads one of {', '.join(SPECIES)}.", "parameter")
    if unit not in SPECIES[parameter]:
        raise ScienceError(f"{parameter.capitalize()} is read in {', '.join(SPECIES[parameter])}.", "unit")
    return units.to_canonical(parameter, value, unit)


def own_error(parameter: str, unit: str) -> float:
    """The common fixed error of a kit for the parameter, in the unit it shows."""
    return PRECISION[parameter][0] / canonical(parameter, unit, 1.0)


def measure(
    *,
    parameter: str,
    unit: str,
    reading: float,
    is_below: bool = False,
    blank: float = 0.0,
    blank_sd: float = 0.0,
    dilution: float = 1.0,
    resolution: float = 0.0,
    detection: float = 0.0,
    sd: float | None = None,
    sd_share: float | None = None,
    repeats: int = 1,
) -> Measured:
    """Canonical value and error. All of a kit's data (blank, resolution, detection, sd) in the unit it shows.

    ``dilution``: volume made up ÷ volume of sample, 1 to 100. ``repeats``: how many readings ``reading`` is the mean
    of. Without ``sd`` and ``sd_share`` the common precision of the parameter is taken.
    """
    not_negative("reading", reading)
    within("blank", blank, -1e4, 1e4)
    within("dilution", dilution, 1, 100)
    within("number of repeats", repeats, 1, 20)
    one_unit = canonical(parameter, unit, 1.0)
    own_sd = own_error(parameter, unit) if sd is None else not_negative("standard error", sd)
    share = PRECISION[parameter][1] if sd_share is None else not_negative("relative error", sd_share)
    net = reading - blank
    limit = not_negative("detection limit", detection)
    # The share is of what the cuvette holds, hence before the dilution is multiplied up.
    once = combined_sd(own_sd, share * max(net, 0.0), rounding_sd(resolution)) / sqrt(repeats)
    error = combined_sd(once, not_negative("error of the blank", blank_sd))
    if is_below or net < limit or net <= 0:
        seen = max(net if is_below else 0.0, limit)
        return below((seen or DETECTION_SD * error) * dilution * one_unit)
    return Measured(net * dilution * one_unit, error * dilution * one_unit)


def titration(
    *, parameter: str, titrant_ml: float, titrant_mol_l: float, sample_ml: float, blank_ml: float = 0.0
) -> float:
    """Canonical value from the volume of titrant (acid mol/L of H+, or EDTA mol/L) and of the sample.

    >>> round(titration(parameter="alkalinity", titrant_ml=2.5, titrant_mol_l=0.1, sample_ml=100), 3)
    2.5
    """
    if parameter not in TITRATED:
        raise ScienceError(f"Titrated are {', '.join(TITRATED)}.", "parameter")
    used = not_negative("titrant used", not_negative("titrant", titrant_ml) - not_negative("blank", blank_ml))
    strength = positive("strength of the titrant", titrant_mol_l)
    return used * strength * TITRATED[parameter] / positive("sample", sample_ml)


def measure_titration(
    *,
    parameter: str,
    titrant_ml: float,
    titrant_mol_l: float,
    sample_ml: float,
    blank_ml: float = 0.0,
    step_ml: float = 0.05,
    end_point_ml: float = 0.03,
    strength_pct: float = 0.5,
    sample_sd_pct: float = 1.0,
) -> Measured:
    """Canonical value and error of a titration; ``step_ml`` is the drop or the division of the burette."""
    value = titration(
        parameter=parameter,
        titrant_ml=titrant_ml,
        titrant_mol_l=titrant_mol_l,
        sample_ml=sample_ml,
        blank_ml=blank_ml,
    )
    per_ml = TITRATED[parameter] * titrant_mol_l / sample_ml
    relative = combined_sd(strength_pct, sample_sd_pct) / 100
    return Measured(value, combined_sd(per_ml * combined_sd(rounding_sd(step_ml), end_point_ml), value * relative))
