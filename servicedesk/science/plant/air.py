"""Moist air: vapour pressure, humidity ratio, enthalpy, volume, dew point and wet bulb.

Source: ASHRAE Fundamentals 2017 ch. 1 (saturation by Hyland & Wexler 1983). Vapour pressures are plain
(no enhancement); humidity ratios carry the enhancement factor of moist air at room conditions.
"""

from dataclasses import dataclass
from math import exp, log

from servicedesk.science.constants import ATM_PA, ZERO_C_K
from servicedesk.science.guard import OutOfRange, positive, within

WATER_OVER_AIR = 0.621945  # molar masses
ENHANCEMENT = 1.004  # real moist air over ideal gas; 1.0039 to 1.0050 from 0 to 40 °C at sea level
GAS_CONSTANT = 287.042  # dry air, J/kg/K

_ICE = (-5674.5359, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_LIQUID = (-5800.2206, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


@dataclass(frozen=True, slots=True)
class MoistAir:
    """A state of air: humidity ratio in kg water and volume in m³, both per kg of dry air."""

    temp_c: float
    humidity_pct: float
    pressure_pa: float
    vapour_pa: float
    humidity_ratio: float
    enthalpy_kj_kg: float
    volume_m3_kg: float
    dew_point_c: float

    @property
    def dry_air_kg_m3(self) -> float:
        return 1 / self.volume_m3_kg


def pressure_pa(altitude_m: float) -> float:
    """Air pressure at an altitude in the standard atmosphere; −500 to 5000 m. ASHRAE Fundamentals.

    >>> round(pressure_pa(1500))
    84556
    """
    colder = 1 - 2.25577e-5 * within("altitude", altitude_m, -500, 5000, "altitude")
    return float(ATM_PA * colder**5.2559)


def saturation_pressure_pa(temp_c: float) -> float:
    """Vapour pressure over pure water, over ice below 0 °C; −60 to 100 °C. ASHRAE Fundamentals.

    >>> round(saturation_pressure_pa(25), 1)
    3169.2
    """
    kelvin = within("temperature", temp_c, -60, 100, "temperature") + ZERO_C_K
    c1, c2, c3, c4, c5, c6, c7 = _ICE if temp_c < 0 else _LIQUID
    polynomial = c1 / kelvin + c2 + kelvin * (c3 + kelvin * (c4 + kelvin * (c5 + kelvin * c6)))
    return exp(polynomial + c7 * log(kelvin))


def humidity_ratio(vapour_pa: float, pressure_pa: float = ATM_PA) -> float:
    """kg water per kg dry air of air whose vapour pressure is known. ASHRAE Fundamentals."""
    positive("air pressure", pressure_pa)
    real = ENHANCEMENT * within("vapour pressure in Pa", vapour_pa, 0, 0.9 * pressure_pa)
    return WATER_OVER_AIR * real / (pressure_pa - real)


def vapour_pressure_pa(ratio: float, pressure_pa: float = ATM_PA) -> float:
    """The inverse of ``humidity_ratio``."""
    positive("air pressure", pressure_pa)
    within("humidity ratio in kg/kg", ratio, 0, 5)
    return pressure_pa * ratio / (WATER_OVER_AIR + ratio) / ENHANCEMENT


def enthalpy_kj_kg(temp_c: float, ratio: float) -> float:
    """Heat content per kg of dry air, nought at 0 °C dry. ASHRAE Fundamentals."""
    within("temperature", temp_c, -60, 100, "temperature")
    within("humidity ratio in kg/kg", ratio, 0, 5)
    return 1.006 * temp_c + ratio * (2501 + 1.86 * temp_c)


def volume_m3_kg(temp_c: float, ratio: float, pressure_pa: float = ATM_PA) -> float:
    """Volume of moist air per kg of dry air. ASHRAE Fundamentals."""
    positive("air pressure", pressure_pa)
    within("temperature", temp_c, -60, 100, "temperature")
    within("humidity ratio in kg/kg", ratio, 0, 5)
    return GAS_CONSTANT * (temp_c + ZERO_C_K) * (1 + ratio / WATER_OVER_AIR) / pressure_pa


def dew_point_c(vapour_pa: float) -> float:
    """Temperature at which air of this vapour pressure becomes saturated; −60 to 100 °C."""
    from scipy.optimize import brentq

    low, high = saturation_pressure_pa(-60), saturation_pressure_pa(100)
    if within("vapour pressure in Pa", vapour_pa, 0, high) < low:
        raise OutOfRange("The air is too dry for a dew point.", "humidity")
    return float(brentq(lambda t: saturation_pressure_pa(t) - vapour_pa, -60, 100, xtol=1e-6))


def moist_air(*, temp_c: float, humidity_pct: float, pressure_pa: float = ATM_PA) -> MoistAir:
    """The state of air from temperature and relative humidity; −40 to 60 °C, 1 to 100 %."""
    within("air temperature", temp_c, -40, 60, "temperature")
    vapour = within("relative humidity", humidity_pct, 1, 100, "percent_fine") / 100 * saturation_pressure_pa(temp_c)
    ratio = humidity_ratio(vapour, pressure_pa)
    return MoistAir(
        temp_c=temp_c,
        humidity_pct=humidity_pct,
        pressure_pa=pressure_pa,
        vapour_pa=vapour,
        humidity_ratio=ratio,
        enthalpy_kj_kg=enthalpy_kj_kg(temp_c, ratio),
        volume_m3_kg=volume_m3_kg(temp_c, ratio, pressure_pa),
        dew_point_c=dew_point_c(vapour),
    )


def humidity_pct(temp_c: float, ratio: float, pressure_pa: float = ATM_PA) -> float:
    """Relative humidity of air of a humidity ratio; above 100 the air would be foggy."""
    return 100 * vapour_pressure_pa(ratio, pressure_pa) / saturation_pressure_pa(temp_c)


def ratio_from_wet_bulb(temp_c: float, wet_bulb_c: float, pressure_pa: float = ATM_PA) -> float:
    """Humidity ratio from dry and wet bulb (adiabatic saturation); wet bulb 0 to 60 °C. ASHRAE Fundamentals."""
    within("wet bulb", wet_bulb_c, 0, 60, "temperature")
    if wet_bulb_c > within("dry bulb", temp_c, 0, 90, "temperature"):
        raise OutOfRange("The wet bulb cannot be warmer than the dry bulb.", "wet bulb")
    saturated = humidity_ratio(saturation_pressure_pa(wet_bulb_c), pressure_pa)
    ratio = ((2501 - 2.326 * wet_bulb_c) * saturated - 1.006 * (temp_c - wet_bulb_c)) / (
        2501 + 1.86 * temp_c - 4.186 * wet_bulb_c
    )
    if ratio < 0:
        raise OutOfRange("A wet bulb so far below the dry bulb is impossible even in dry air.", "wet bulb")
    return ratio


def wet_bulb_c(temp_c: float, ratio: float, pressure_pa: float = ATM_PA) -> float:
    """The inverse of ``ratio_from_wet_bulb``; refuses states whose wet bulb is below 0 °C."""
    from scipy.optimize import brentq

    saturated = humidity_ratio(saturation_pressure_pa(temp_c), pressure_pa)
    within("humidity ratio in kg/kg", ratio, 0, saturated * (1 + 1e-9))

    def excess(wet: float) -> float:
        full = humidity_ratio(saturation_pressure_pa(wet), pressure_pa)
        given = (2501 - 2.326 * wet) * full - 1.006 * (temp_c - wet)
        return given / (2501 + 1.86 * temp_c - 4.186 * wet) - ratio

    if excess(0.0) > 0:
        raise OutOfRange("The wet bulb of this air is below 0 °C, where the formula does not hold.", "wet bulb")
    return float(brentq(excess, 0.0, temp_c, xtol=1e-6)) if excess(temp_c) > 0 else temp_c
