"""What dosing leaves behind: ions by product, drift of chloride to sulphate, creep of salinity.

Source: stoichiometry of the salts; natural proportions of Millero 2008.
"""

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.water import molar

CHARGES = {"Na": 1, "K": 1, "Ca": 2, "Mg": 2, "Sr": 2, "Cl": -1, "SO4": -2, "HCO3": -1, "CO3": -2, "OH": -1, "I": -1}
MASSES = {
    "Na": molar.NA, "K": molar.K, "Ca": molar.CA, "Mg": molar.MG, "Sr": molar.SR, "Cl": molar.CL,
    "SO4": molar.S + 4 * molar.O, "HCO3": molar.H + molar.C + 3 * molar.O, "CO3": molar.C + 3 * molar.O,
    "OH": molar.O + molar.H, "I": molar.I,
}  # fmt: skip
# mol of each ion in one mol of the product, by key of ``dosing.PRODUCTS``; water of crystallisation left out
IONS: dict[str, dict[str, int]] = {
    "nahco3": {"Na": 1, "HCO3": 1},
    "na2co3": {"Na": 2, "CO3": 1},
    "caoh2": {"Ca": 1, "OH": 2},
    "cacl2_2h2o": {"Ca": 1, "Cl": 2},
    "cacl2": {"Ca": 1, "Cl": 2},
    "mgcl2_6h2o": {"Mg": 1, "Cl": 2},
    "mgso4_7h2o": {"Mg": 1, "SO4": 1},
    "srcl2_6h2o": {"Sr": 1, "Cl": 2},
    "kcl": {"K": 1, "Cl": 1},
    "ki": {"K": 1, "I": 1},
}
MOLAR_MASS = {
    "nahco3": molar.NAHCO3, "na2co3": molar.NA2CO3, "caoh2": molar.CAOH2, "cacl2_2h2o": molar.CACL2_2H2O,
    "cacl2": molar.CACL2, "mgcl2_6h2o": molar.MGCL2_6H2O, "mgso4_7h2o": molar.MGSO4_7H2O,
    "srcl2_6h2o": molar.SRCL2_6H2O, "kcl": molar.KCL, "ki": molar.KI,
}  # fmt: skip
CHLORIDE_SHARE = 0.906  # mol of MgCl2 in a mol of magnesium that keeps seawater's chloride to sulphate
DAYS_PER_YEAR = 365.25


def ions_mg_l(product: str, mass_g: float, volume_l: float) -> dict[str, float]:
    """What a mass of a product adds of each ion, mg/L."""
    if product not in IONS:
        raise ScienceError(f"“{product}” is no known salt.", "product")
    mol = not_negative("mass", mass_g) / MOLAR_MASS[product]
    return {
        ion: count * mol * MASSES[ion] * 1000 / positive("volume", volume_l) for ion, count in IONS[product].items()
    }


def two_part_residue_mg_l(alkalinity_meq_l: float) -> float:
    """Sodium chloride left by soda and calcium chloride that feed so much calcification: 1 mmol a meq."""
    return not_negative("alkalinity", alkalinity_meq_l) * molar.NACL


def settled_rise(per_day: float, changed_per_day: float) -> float:
    """Where a daily input settles when a share of the water is exchanged each day; endless without exchange."""
    not_negative("use of alkalinity", per_day)
    within("share changed a day", changed_per_day, 0.0, 1.0)
    return per_day / changed_per_day if changed_per_day else float("inf")


def magnesium_blend(magnesium_g: float) -> tuple[float, float]:
    """Grams of MgCl₂·6H₂O and MgSO₄·7H₂O for grams of magnesium that keep chloride to sulphate as in seawater."""
    mol = not_negative("magnesium", magnesium_g) / molar.MG
    return CHLORIDE_SHARE * mol * molar.MGCL2_6H2O, (1 - CHLORIDE_SHARE) * mol * molar.MGSO4_7H2O
