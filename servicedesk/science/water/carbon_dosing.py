"""Carbon dosed to feed bacteria: the nitrogen and phosphorus they take up and the oxygen they use.

Everything goes by chemical oxygen demand (COD): a share Y becomes cells C5H7O2N, the rest is burnt.
"""

from dataclasses import dataclass

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.water import molar

ETHANOL = 2 * molar.C + 6 * molar.H + molar.O
ACETIC = 2 * molar.C + 4 * molar.H + 2 * molar.O
GLUCOSE = 6 * molar.C + 12 * molar.H + 6 * molar.O
CELLS = 5 * molar.C + 7 * molar.H + 2 * molar.O + molar.N
O2 = 2 * molar.O

COD = {  # g O2 per g: complete burning to CO2 and water
    "ethanol": 3 * O2 / ETHANOL,
    "acetic acid": 2 * O2 / ACETIC,
    "glucose": 6 * O2 / GLUCOSE,
}
CELL_COD = 5 * O2 / CELLS  # g O2 per g of cells, their N staying ammonia
CELL_N = molar.N / CELLS
CELL_P = 0.02  # of the dry cell: common practice
GLUCOSE_PER_N = 1.18 * GLUCOSE / molar.N  # ammonia taken into cells (Ebeling 2006)
GLUCOSE_OXYGEN_PER_N = 2.06 * O2 / molar.N
CELLS_PER_N = CELLS / molar.N
ETHANOL_PER_NITRATE_N = 5 * ETHANOL / (12 * molar.N)  # 12 NO3 + 5 C2H5OH → 6 N2, before growth
NITRATE_TO_CELL_OXYGEN_PER_N = 4 * molar.O / molar.N  # oxygen spared per nitrate N made into cells (8 electrons)


@dataclass(frozen=True, slots=True)
class CarbonEffect:
    """Grams a day: COD given, N and P taken into cells, oxygen used at most and at least, and dry cells made."""

    cod_g: float
    nitrogen_g: float
    phosphorus_g: float
    oxygen_most_g: float
    oxygen_least_g: float
    cells_g: float

    @property
    def nitrate_g(self) -> float:
        return self.nitrogen_g * molar.NO3 / molar.N

    @property
    def phosphate_g(self) -> float:
        return self.phosphorus_g * molar.PO4 / molar.P


def cod_g_per_g(substance: str) -> float:
    """Chemical oxygen demand of a carbon source.

    >>> round(cod_g_per_g("ethanol"), 3)
    2.084
    """
    if substance not in COD:
        raise ScienceError(f"The carbon source is one of {', '.join(COD)}.", "substance")
    return COD[substance]


def effect(*, substance: str, mass_g_day: float, cell_yield: float = 0.5) -> CarbonEffect:
    """What a dose does when it is all used with oxygen; ``cell_yield`` 0.4 to 0.6 COD per COD.

    At most: the nitrogen is taken up as ammonia, ``COD (1 − Y)``. At least: as nitrate, whose oxygen is spared.
    """
    cod = cod_g_per_g(substance) * not_negative("carbon dosed", mass_g_day)
    y = within("yield of cells", cell_yield, 0.1, 0.75)
    cells = cod * y / CELL_COD
    nitrogen = cells * CELL_N
    most = cod * (1 - y)
    return CarbonEffect(
        cod_g=cod,
        nitrogen_g=nitrogen,
        phosphorus_g=cells * CELL_P,
        oxygen_most_g=most,
        oxygen_least_g=max(most - NITRATE_TO_CELL_OXYGEN_PER_N * nitrogen, 0.0),
        cells_g=cells,
    )


def dose_for_nitrate_g_day(*, substance: str, nitrate_g_day: float, cell_yield: float = 0.5) -> float:
    """Carbon source a day that takes up so much nitrate: the inverse of ``effect``."""
    per_gram = effect(substance=substance, mass_g_day=1.0, cell_yield=cell_yield).nitrate_g
    return not_negative("nitrate", nitrate_g_day) / per_gram


def volume_ml(*, mass_g: float, density_g_ml: float, strength_pct: float) -> float:
    """Millilitres of a solution holding so much of the carbon source, strength by mass."""
    share = within("strength", strength_pct, 0.1, 100, "percent_fine") / 100
    return not_negative("mass", mass_g) / (positive("density", density_g_ml) * share)


def denitrification_ethanol_g(nitrogen_g: float, growth_factor: float = 1.4) -> float:
    """Ethanol to turn nitrate N into N2 without oxygen; ``growth_factor`` 1.3 to 1.6 for the cells."""
    return (
        not_negative("nitrogen", nitrogen_g)
        * ETHANOL_PER_NITRATE_N
        * within("factor for growth", growth_factor, 1.0, 2.0)
    )


def denitrification_alkalinity_meq(nitrogen_g: float) -> float:
    """Alkalinity given back: one equivalent a mole of nitrate (3.57 mg CaCO3 per mg N)."""
    return not_negative("nitrogen", nitrogen_g) * 1000 / molar.N


def steps(*, start: float, goal: float, weekly_rise: float = 0.25) -> list[float]:
    """Daily doses week by week from ``start`` to ``goal``, each at most ``weekly_rise`` above the last."""
    dose, target = positive("dose at the start", start), positive("dose aimed at", goal)
    growth = 1 + within("rise a week", weekly_rise, 0.01, 1.0)
    weeks = [min(dose, target)]
    while weeks[-1] < target and len(weeks) < 52:
        weeks.append(min(weeks[-1] * growth, target))
    return weeks
