"""Reverse osmosis and mixed-bed resin: product, reject, cold mains, days to a first fill, days of resin.

Sources: membrane temperature correction as in ASTM D4516 (exponential of 1/T, common coefficient 2640 K); mass
balance. Resin capacity is common practice.
"""

from math import exp

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import OutOfRange, not_negative, positive, within
from servicedesk.science.water import molar

RATED_AT_C = 25.0
MEMBRANE_K = 2640.0
CACO3_MG_PER_MEQ = molar.CACO3 / 2
RESIN_EQ_L = 0.5
CO2_MG_PER_MMOL = 44.009
OSMOTIC_KPA_PER_MG_L = 0.07  # 0.07 bar per 100 mg/L


def reject_l(product_l: float, recovery: float) -> float:
    """Concentrate for a product, P(1 − r)/r; recovery 0.05 to 0.9.

    >>> reject_l(100, 0.25)
    300.0
    """
    r = within("recovery", recovery, 0.05, 0.9)
    return not_negative("product water", product_l) * (1 - r) / r


def feed_l(product_l: float, recovery: float) -> float:
    """Mains water for a product: product and reject."""
    return not_negative("product water", product_l) / within("recovery", recovery, 0.05, 0.9)


def temperature_factor(temp_c: float) -> float:
    """Membrane flux beside that at 25 °C; 1 to 45 °C.

    >>> round(temperature_factor(10), 2)
    0.63
    """
    kelvin = within("feed temperature", temp_c, 1.0, 45.0, "temperature") + ZERO_C_K
    return exp(MEMBRANE_K * (1 / (RATED_AT_C + ZERO_C_K) - 1 / kelvin))


def net_pressure_kpa(*, feed_kpa: float, tds_mg_l: float, recovery: float, permeate_kpa: float = 0.0) -> float:
    """Driving pressure: feed less permeate less the osmotic pressure at the mean of feed and concentrate."""
    within("recovery", recovery, 0.05, 0.9)
    mean_tds = not_negative("dissolved solids", tds_mg_l) * (1 + 1 / (1 - recovery)) / 2
    net = (
        positive("feed pressure", feed_kpa)
        - not_negative("pressure of the permeate", permeate_kpa)
        - OSMOTIC_KPA_PER_MG_L * mean_tds
    )
    if net <= 0:
        raise OutOfRange("The pressure does not overcome the osmotic pressure of the feed.", "feed_kpa")
    return net


def production_l_day(*, rated_l_day: float, rated_kpa: float, temp_c: float, net_kpa: float) -> float:
    """What a membrane gives: rated × temperature factor × net pressure over the rated pressure."""
    pressure = positive("net pressure", net_kpa) / positive("rated pressure", rated_kpa)
    return positive("rated production", rated_l_day) * temperature_factor(temp_c) * pressure


def product_tds_mg_l(tds_mg_l: float, rejection: float) -> float:
    """Dissolved solids that pass the membrane."""
    return not_negative("dissolved solids", tds_mg_l) * (1 - within("rejection", rejection, 0.5, 1.0))


def resin_days(
    *, resin_l: float, use_l_day: float, tds_mg_l: float, co2_mg_l: float = 0.0, capacity_eq_l: float = RESIN_EQ_L
) -> float:
    """Days of mixed-bed resin: its equivalents over those of salt (as CaCO3) and carbon dioxide in the product.

    Carbon dioxide passes the membrane whole and often uses up more resin than the salt.
    """
    load_meq_l = not_negative("dissolved solids", tds_mg_l) / CACO3_MG_PER_MEQ
    load_meq_l += not_negative("CO₂ of the permeate", co2_mg_l) / CO2_MG_PER_MMOL
    if load_meq_l == 0:
        raise OutOfRange("Water without salt or carbon dioxide uses up no resin.", "tds_mg_l")
    equivalents = positive("resin", resin_l) * within("capacity of the resin", capacity_eq_l, 0.1, 1.5, "resin")
    return equivalents * 1000 / (positive("use a day", use_l_day) * load_meq_l)


def days_to_make(water_l: float, production_l_per_day: float) -> float:
    """Days of production for a volume."""
    return not_negative("water", water_l) / positive("production", production_l_per_day)
