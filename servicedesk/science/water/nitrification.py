"""Ammonia to nitrate: what it uses up, how large a surface it needs, how long it takes to start.

NH4 + 2 O2 → NO3 + H2O + 2 H: two equivalents of alkalinity and two of oxygen a mole; a little less when the cells'
growth is counted (Ebeling 2006).
"""

from math import exp, inf, log

from servicedesk.science.guard import OutOfRange, not_negative, positive, within
from servicedesk.science.water import molar

ALKALINITY_MEQ_PER_G_N = 2000 / molar.N
CACO3_MG_PER_MG_N = molar.CACO3 / molar.N
OXYGEN_G_PER_G_N = 4 * molar.O / molar.N
GROWTH_CACO3_MG_PER_MG_N = 7.05
GROWTH_OXYGEN_G_PER_G_N = 4.18
TAN_PER_PROTEIN = 0.092  # ammonia N given off per mass of protein fed (Timmons & Ebeling)


def ammonia_g_day(feed_g_day: float, protein_share: float) -> float:
    """Ammonia nitrogen given off by the animals from their feed (dry feed; Timmons & Ebeling).

    >>> round(ammonia_g_day(100, 0.45), 2)
    4.14
    """
    return TAN_PER_PROTEIN * not_negative("feed", feed_g_day) * within("protein share", protein_share, 0, 1)


def alkalinity_meq_day(nitrogen_g_day: float, *, growth: bool = False) -> float:
    """Alkalinity used in nitrifying nitrogen, meq a day."""
    per_g = GROWTH_CACO3_MG_PER_MG_N * 2000 / molar.CACO3 if growth else ALKALINITY_MEQ_PER_G_N
    return not_negative("nitrogen", nitrogen_g_day) * per_g


def oxygen_g_day(nitrogen_g_day: float, *, growth: bool = False) -> float:
    """Oxygen used in nitrifying nitrogen, g a day."""
    return not_negative("nitrogen", nitrogen_g_day) * (GROWTH_OXYGEN_G_PER_G_N if growth else OXYGEN_G_PER_G_N)


def biofilter_area_m2(nitrogen_g_day: float, rate_g_m2_day: float = 0.3) -> float:
    """Wetted surface for an ammonia load; ``rate_g_m2_day`` 0.1 to 0.5 by common practice."""
    return not_negative("nitrogen", nitrogen_g_day) / positive("rate of the surface", rate_g_m2_day)


def media_l(area_m2: float, surface_m2_per_l: float) -> float:
    """Litres of a medium that give a surface."""
    return not_negative("surface", area_m2) / positive("surface of the medium", surface_m2_per_l)


def started_share(day: float, *, start_share: float = 0.001, doubling_d: float = 2.0) -> float:
    """Share of the wanted capacity that has grown after some days: logistic growth from ``start_share``."""
    start = within("share at the start", start_share, 1e-6, 0.999)
    rate = log(2) / positive("doubling time", doubling_d)
    return 1 / (1 + (1 / start - 1) * exp(-rate * not_negative("day", day)))


def startup_days(wanted_share: float = 0.95, *, start_share: float = 0.001, doubling_d: float = 2.0) -> float:
    """Days until a new biofilter carries ``wanted_share`` of the load: the inverse of ``started_share``."""
    start = within("share at the start", start_share, 1e-6, 0.999)
    wanted = within("wanted share", wanted_share, 0.01, 0.999)
    rate = log(2) / positive("doubling time", doubling_d)
    return max(log((1 / start - 1) * wanted / (1 - wanted)) / rate, 0.0)


def days_of_alkalinity(*, volume_l: float, alkalinity_meq_l: float, least_meq_l: float, use_meq_day: float) -> float:
    """Days until nitrification alone pulls the alkalinity down to ``least_meq_l``; infinite without use."""
    spare = not_negative("alkalinity", alkalinity_meq_l) - not_negative("least alkalinity", least_meq_l)
    if spare < 0:
        raise OutOfRange("The alkalinity is already under the least allowed.", "alkalinity_meq_l")
    use = not_negative("use of alkalinity", use_meq_day)
    return spare * positive("volume", volume_l) / use if use else inf
