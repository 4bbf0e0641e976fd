"""A carbon dioxide cylinder by weight.

CO2 is kept as a liquid under its own vapour: the gauge shows the vapour pressure of the day's temperature until the
last liquid is gone, so only the weight tells what is left. Saturation by Span & Wagner 1996, 0 to 30 °C.
"""

from math import exp

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import OutOfRange, not_negative, positive, within
from servicedesk.science.instruments.measured import Measured, combined_sd, rounding_sd

CRITICAL_K = 304.1282
CRITICAL_KPA = 7377.3
CRITICAL_KG_M3 = 467.6
_PRESSURE = ((-7.0602087, 1.0), (1.9391218, 1.5), (-1.6463597, 2.0), (-3.2995634, 4.0))
_VAPOUR = (
    (-1.7074879, 0.340),
    (-0.8227467, 0.5),
    (-4.6008549, 1.0),
    (-10.111178, 7 / 3),
    (-29.742252, 14 / 3),
)


def _below_critical(temp_c: float) -> float:
    return 1 - (within("cylinder temperature", temp_c, 0, 30, "temperature") + ZERO_C_K) / CRITICAL_K


def vapour_pressure_kpa(temp_c: float) -> float:
    """What the gauge shows (absolute) while any liquid is left, 0 to 30 °C (Span & Wagner 1996)."""
    tau = _below_critical(temp_c)
    return CRITICAL_KPA * exp(sum(a * tau**power for a, power in _PRESSURE) / (1 - tau))


def vapour_kg_l(temp_c: float) -> float:
    """Density of the vapour over the liquid, 0 to 30 °C (Span & Wagner 1996)."""
    tau = _below_critical(temp_c)
    return CRITICAL_KG_M3 / 1000 * exp(sum(a * tau**power for a, power in _VAPOUR))


def liquid_left(*, content_kg: float, volume_l: float, temp_c: float) -> bool:
    """Whether any liquid is left, i.e. whether the gauge still says nothing."""
    return not_negative("content", content_kg) / positive("volume of the cylinder", volume_l) > vapour_kg_l(temp_c)


def content(*, gross_kg: float, tare_kg: float, resolution_kg: float = 0.1, scale_sd_kg: float = 0.05) -> Measured:
    """CO2 left in kg, gross less tare (the tare stamped on the cylinder, with the same fittings on the scale)."""
    left = not_negative("gross weight", gross_kg) - not_negative("tare", tare_kg)
    sd = combined_sd(rounding_sd(resolution_kg), scale_sd_kg)
    if left < -3 * sd:
        raise OutOfRange("The cylinder weighs less than its tare: check which cylinder and fittings.", "gross_kg")
    return Measured(max(left, 0.0), sd)


def use_g_day(*, before_kg: float, after_kg: float, days: float) -> float:
    """CO2 used a day between two weighings of the same cylinder with the same fittings."""
    used = not_negative("weight before", before_kg) - not_negative("weight after", after_kg)
    if used < 0:
        raise OutOfRange("The cylinder is heavier than before: it was changed or other fittings were on.", "before_kg")
    return 1000 * used / positive("number of days", days)


def days_left(*, content_kg: float, use_g_day: float, reserve_kg: float = 0.0) -> float:
    """Days until the content falls to the reserve."""
    spare = not_negative("content", content_kg) - not_negative("reserve", reserve_kg)
    return max(spare, 0.0) * 1000 / positive("use of CO2", use_g_day)
