"""The calcium reactor: what it delivers and what it takes.

meq a day = litres of effluent a day × (effluent − tank alkalinity) (mass balance).
"""

from dataclasses import dataclass

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.water import molar
from servicedesk.science.water.carbonate import CALCIUM_AT_S35, State, solve
from servicedesk.science.water.seawater import density_kg_l, meq_l_from_umol_kg, umol_kg_from_meq_l

MIN_PER_DAY = 1440
CO2_G_PER_MEQ = molar.CO2 / 2 / 1000  # CaCO3 + CO2 + H2O: one CO2 for two equivalents
CALCIUM_G_PER_MEQ = molar.CA / 2 / 1000


def delivered_meq_day(flow_ml_min: float, effluent_meq_l: float, tank_meq_l: float) -> float:
    """Alkalinity that the effluent brings, meq a day; negative when it takes some away."""
    not_negative("effluent flow", flow_ml_min)
    return flow_ml_min * MIN_PER_DAY / 1000 * (effluent_meq_l - tank_meq_l)


def media_g_day(delivered: float, purity: float = 0.95) -> float:
    """Carbonate media dissolved for a delivery in meq a day."""
    within("purity", purity, 0.1, 1.0)
    return max(delivered, 0.0) * molar.CACO3 / 2 / 1000 / purity


def calcium_g_day(delivered: float) -> float:
    """Calcium that comes with a delivery in meq a day."""
    return delivered * CALCIUM_G_PER_MEQ


def flow_for(needed_meq_day: float, effluent_meq_l: float, tank_meq_l: float) -> float:
    """Effluent flow in mL/min that delivers what is needed: the inverse of ``delivered_meq_day``."""
    not_negative("alkalinity needed", needed_meq_day)
    if effluent_meq_l <= tank_meq_l:
        raise ScienceError(
            "The effluent carries no more alkalinity than the display: more CO₂ or fresh media first.",
            "effluent_alkalinity_meq_l",
        )
    return needed_meq_day * 1000 / MIN_PER_DAY / (effluent_meq_l - tank_meq_l)


@dataclass(frozen=True, slots=True)
class CarbonDioxide:
    """CO₂ in g/day: what dissolves media, what leaves unused in the effluent, and both; the solved waters."""

    dissolving_g_day: float
    excess_g_day: float
    effluent: State
    tank: State

    @property
    def total_g_day(self) -> float:
        return self.dissolving_g_day + self.excess_g_day


def carbon_dioxide(
    *,
    flow_ml_min: float,
    effluent_meq_l: float,
    effluent_ph_total: float,
    tank_meq_l: float,
    tank_ph_total: float,
    salinity: float,
    temp_c: float,
) -> CarbonDioxide:
    """CO₂ a day by mass balance of inorganic carbon; pH on the total scale, effluent read before it degasses.

    The effluent's calcium is seawater's and what was dissolved with its alkalinity.
    """
    gained_alkalinity = umol_kg_from_meq_l(max(effluent_meq_l - tank_meq_l, 0.0), salinity, temp_c)
    effluent = solve(
        salinity,
        temp_c,
        alkalinity_umol_kg=umol_kg_from_meq_l(effluent_meq_l, salinity, temp_c),
        ph_total=effluent_ph_total,
        calcium_umol_kg=CALCIUM_AT_S35 * salinity / 35 + gained_alkalinity / 2,
    )
    tank = solve(
        salinity,
        temp_c,
        alkalinity_umol_kg=umol_kg_from_meq_l(tank_meq_l, salinity, temp_c),
        ph_total=tank_ph_total,
    )
    kg_day = not_negative("effluent flow", flow_ml_min) * MIN_PER_DAY / 1000 * density_kg_l(salinity, temp_c)
    gained = effluent.dic_umol_kg - tank.dic_umol_kg
    dissolved = (effluent.alkalinity_umol_kg - tank.alkalinity_umol_kg) / 2
    grams = kg_day * 1e-6 * molar.CO2
    return CarbonDioxide(grams * max(dissolved, 0.0), grams * (gained - 2 * max(dissolved, 0.0)), effluent, tank)


def days_left(stock_g: float, use_g_day: float) -> float:
    """Days a stock of media or gas lasts; endless when nothing is used."""
    not_negative("stock", stock_g)
    not_negative("use a day", use_g_day)
    return stock_g / use_g_day if use_g_day else float("inf")


def effluent_verdict(effluent: State, tank_meq_l: float) -> str:
    """What an effluent says: "dissolving", "starved of CO₂", "near saturation" or "too acid".

    Media dissolve only while the effluent is undersaturated for aragonite; an empty cylinder shows as pH
    above 7 and an alkalinity that falls to the tank's within a day.
    """
    meq_l = meq_l_from_umol_kg(effluent.alkalinity_umol_kg, effluent.salinity, effluent.temp_c)
    if meq_l <= positive("alkalinity of the tank", tank_meq_l) * 1.2:
        return "starved of CO₂"
    if effluent.omega_aragonite >= 1.0:
        return "near saturation"
    return "too acid" if effluent.ph_total < 6.1 else "dissolving"
