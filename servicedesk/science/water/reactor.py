"""Calcium reactor and limewater: what they deliver.

Reactor: meq a day = litres of effluent a day × (effluent − tank alkalinity) (mass balance).
Limewater: saturated strength 40.6 meq/L at 25 °C (Bates, Bower & Smith 1956, J. Res. NBS 56:305),
temperature dependence fitted between 10 and 30 °C.
"""

from servicedesk.science.water import molar

MIN_PER_DAY = 1440


def delivered_meq_day(flow_ml_min: float, effluent_meq_l: float, tank_meq_l: float) -> float:
    """Alkalinity that the effluent brings, meq a day; negative when it takes some away."""
    if flow_ml_min < 0:
        raise ValueError("A flow cannot be negative.")
    return flow_ml_min * MIN_PER_DAY / 1000 * (effluent_meq_l - tank_meq_l)


def media_g_day(delivered: float, purity: float = 0.95) -> float:
    """Carbonate media dissolved for a delivery in meq a day."""
    return max(delivered, 0.0) * molar.CACO3 / 2 / 1000 / purity


def limewater_meq_l(temp_c: float, efficiency: float = 0.85) -> float:
    """Working strength of limewater; ``efficiency`` for air CO2 and settling (common practice 0.75–0.95)."""
    if not 5 <= temp_c <= 35:
        raise ValueError("The limewater strength is known from 5 to 35 °C.")
    warmer = temp_c - 25
    return (40.67 - 0.3476 * warmer - 0.00211 * warmer**2) * efficiency


def starts_per_hour(power_w: float, volume_l: float, differential_k: float) -> float:
    """The most starts an hour of a chiller (half load): Q/(4·C·Δ), C = 4.09 MJ/m³K of seawater."""
    if differential_k <= 0 or volume_l <= 0:
        raise ValueError("Volume and differential must be more than nothing.")
    heat_capacity_j_k = 4090.0 * volume_l
    return 3600 * power_w / (4 * heat_capacity_j_k * differential_k)
