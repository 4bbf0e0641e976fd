"""The calcium reactor: what it delivers and what it takes.

meq a day = litres of effluent a day × (effluent − tank alkalinity) (mass balance).
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
