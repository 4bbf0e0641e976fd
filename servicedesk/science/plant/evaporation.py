"""Evaporation from a water surface, the moisture of the room, and condensation on cold surfaces.

Shah's and the ASHRAE pool formula, the larger of the two; the metered top-off always wins over both.
"""

from dataclasses import dataclass

from servicedesk.science.guard import OutOfRange, not_negative, positive, within
from servicedesk.science.plant.air import (
    MoistAir,
    humidity_ratio,
    moist_air,
    saturation_pressure_pa,
    volume_m3_kg,
)

QUIET = 0.5  # ASHRAE activity factor: unoccupied pool
FRESH_KG_L = 0.997
PERSON_KG_H = 0.08  # moisture of a standing visitor (55 W latent)
SURFACE_W_M2K = 8.0  # room air to a surface, convection and radiation
DAY_H = 24
SHAH_WATER_C, SHAH_AIR_C, SHAH_HUMIDITY_PCT = (7.0, 94.0), (6.0, 35.0), (28.0, 98.0)
ASHRAE_AIR_M_S = (0.05, 0.15)  # the speeds for which the pool formula is stated


@dataclass(frozen=True, slots=True)
class Rate:
    """Water leaving a surface, kg/m²h (negative: it condenses on it), and the formula that gave it."""

    kg_m2h: float
    shah_kg_m2h: float | None
    ashrae_kg_m2h: float
    source: str


def latent_heat_kj_kg(temp_c: float) -> float:
    """Latent heat of evaporation of water, 0 to 60 °C: fitted here to IAPWS-IF97 within 0.01 %.

    >>> round(latent_heat_kj_kg(25), 1)
    2441.7
    """
    t = within("water temperature", temp_c, 0, 60, "temperature")
    return 2500.9 - 2.3562 * t - 5.36e-4 * t**2


def seawater_vapour_pa(temp_c: float, salinity: float) -> float:
    """Vapour pressure over seawater, 1.9 % below pure water at 35; 0 to 60 °C, salinity 0 to 45. Witting 1908."""
    within("salinity", salinity, 0, 45, "salinity")
    return saturation_pressure_pa(within("water temperature", temp_c, 0, 60, "temperature")) * (1 - 0.000537 * salinity)


@dataclass(frozen=True, slots=True)
class Shah:
    """The terms of Shah's formula: kg of dry air per m³ and kg of water per kg, at the water and in the room."""

    water_kg_m3: float
    room_kg_m3: float
    water_ratio: float
    room_ratio: float
    natural_kg_m2h: float
    forced_kg_m2h: float


def shah_kg_m2h(*, temp_c: float, air: MoistAir, salinity: float = 0.0) -> float:
    """Quiet water, no fan: the larger of natural and least forced convection. Shah 2014."""
    terms = shah_terms(temp_c=temp_c, air=air, salinity=salinity)
    return max(terms.natural_kg_m2h, terms.forced_kg_m2h)


def shah_terms(*, temp_c: float, air: MoistAir, salinity: float = 0.0) -> Shah:
    """What Shah's formula is made of. Shah 2014.

    Water 7 to 94 °C (here 60), air 6 to 35 °C. Densities are of the dry air. Refuses air more humid
    than the air at the water surface.
    """
    within("water temperature", temp_c, SHAH_WATER_C[0], 60, "temperature")
    within("air temperature", air.temp_c, *SHAH_AIR_C, "temperature")
    surface_pa = seawater_vapour_pa(temp_c, salinity)
    if surface_pa < air.vapour_pa:
        raise OutOfRange("The room air is more humid than air at the water: nothing evaporates.", "room_humidity_pct")
    ratio = humidity_ratio(surface_pa, air.pressure_pa)
    at_surface = 1 / volume_m3_kg(temp_c, ratio, air.pressure_pa)
    lift = max(air.dry_air_kg_m3 - at_surface, 0.0)
    natural = float(35 * at_surface * lift ** (1 / 3)) * (ratio - air.humidity_ratio)
    forced = 5.0e-5 * (surface_pa - air.vapour_pa)
    return Shah(at_surface, air.dry_air_kg_m3, ratio, air.humidity_ratio, natural, forced)


def ashrae_kg_m2h(
    *, temp_c: float, air: MoistAir, air_m_s: float, activity: float = 1.0, salinity: float = 0.0
) -> float:
    """ASHRAE pool formula; stated for 0.05 to 0.15 m/s, taken here up to 3 m/s. Negative: condensation.

    ``activity``: 0.5 quiet, 0.65 to 1 disturbed water. ASHRAE Natatoriums (kPa, m/s, kJ/kg).
    """
    within("air speed", air_m_s, 0, 3, "velocity")
    within("activity factor", activity, 0.1, 2)
    difference_kpa = (seawater_vapour_pa(temp_c, salinity) - air.vapour_pa) / 1000
    return difference_kpa * (0.089 + 0.0782 * air_m_s) / latent_heat_kj_kg(temp_c) * activity * 3600


def evaporation_rate(
    *, temp_c: float, air: MoistAir, air_m_s: float = 0.1, activity: float = QUIET, salinity: float = 35.0
) -> Rate:
    """The larger of both formulas; ASHRAE's alone outside Shah's range and where water condenses."""
    ashrae = ashrae_kg_m2h(temp_c=temp_c, air=air, air_m_s=air_m_s, activity=activity, salinity=salinity)
    in_range = temp_c >= SHAH_WATER_C[0] and SHAH_AIR_C[0] <= air.temp_c <= SHAH_AIR_C[1]
    if not in_range or ashrae < 0:
        return Rate(ashrae, None, ashrae, "ASHRAE Natatoriums")
    shah = shah_kg_m2h(temp_c=temp_c, air=air, salinity=salinity)
    return Rate(max(shah, ashrae), shah, ashrae, "Shah 2014" if shah >= ashrae else "ASHRAE Natatoriums")


def litres_a_day(kg_m2h: float, area_m2: float, factor: float = 1.0) -> float:
    """Top-off for a rate over an area; ``factor`` for weirs, sump and skimmer, fitted to the metered top-off."""
    not_negative("water surface", area_m2)
    positive("factor", factor)
    return kg_m2h * area_m2 * DAY_H * factor / FRESH_KG_L


def fitted_factor(metered_l_day: float, calculated_l_day: float) -> float:
    """The factor that brings the calculated evaporation to the metered top-off."""
    return not_negative("metered top-off", metered_l_day) / positive("calculated evaporation", calculated_l_day)


def air_change_kg_day(*, inside: MoistAir, outside: MoistAir, flow_m3_h: float) -> float:
    """Moisture that outdoor air takes away (negative: brings in); the flow is measured as outdoor air."""
    not_negative("outdoor air", flow_m3_h)
    return flow_m3_h * outside.dry_air_kg_m3 * DAY_H * (inside.humidity_ratio - outside.humidity_ratio)


def dehumidifier_l_day(
    *, evaporation_l_day: float, people_kg_day: float, air_change_kg_day: float, nameplate_share: float = 1.0
) -> float:
    """Nameplate litres a day that hold the room; nothing when ventilation suffices.

    ``nameplate_share``: what a machine gives at the room's temperature and humidity of its rating
    (common practice 0.5 to 0.7 at 22 °C, 50 %, of a rating at 27 °C, 60 %).
    """
    not_negative("evaporation", evaporation_l_day)
    not_negative("moisture of people", people_kg_day)
    within("share of the nameplate", nameplate_share, 0.1, 1)
    surplus_kg = evaporation_l_day * FRESH_KG_L + people_kg_day - air_change_kg_day
    return max(surplus_kg, 0.0) / FRESH_KG_L / nameplate_share


def humidity_left_alone_pct(
    *,
    temp_c: float,
    room_c: float,
    area_m2: float,
    people_kg_day: float,
    outside: MoistAir,
    flow_m3_h: float,
    air_m_s: float = 0.1,
    activity: float = QUIET,
    factor: float = 1.0,
    salinity: float = 35.0,
) -> float:
    """Humidity at which a room without a dehumidifier settles; 100 when walls and windows run wet."""
    from scipy.optimize import brentq

    def surplus(humidity: float) -> float:
        air = moist_air(temp_c=room_c, humidity_pct=humidity, pressure_pa=outside.pressure_pa)
        rate = evaporation_rate(temp_c=temp_c, air=air, air_m_s=air_m_s, activity=activity, salinity=salinity)
        gain = rate.kg_m2h * area_m2 * factor * DAY_H + people_kg_day
        return gain - air_change_kg_day(inside=air, outside=outside, flow_m3_h=flow_m3_h)

    if surplus(100) >= 0:
        return 100.0
    return float(brentq(surplus, 1, 100, xtol=1e-4)) if surplus(1) > 0 else 1.0


def surface_temp_c(*, room_c: float, behind_c: float, u_w_m2k: float, surface_w_m2k: float = SURFACE_W_M2K) -> float:
    """Temperature of the room side of a flat wall with something colder or warmer behind it."""
    positive("heat transfer to the surface", surface_w_m2k)
    within("U value", u_w_m2k, 0, surface_w_m2k, "u_value")
    return room_c - u_w_m2k * (room_c - behind_c) / surface_w_m2k


def insulation_flat_m(
    *, room_c: float, behind_c: float, dew_c: float, u_w_m2k: float, k_w_mk: float = 0.033, spare_k: float = 1.0
) -> float:
    """Insulation that keeps a flat cold surface ``spare_k`` above the dew point; 0 when it already is."""
    rise = _rise_allowed(room_c, dew_c, spare_k)
    positive("U value", u_w_m2k)
    if behind_c >= dew_c + spare_k:
        return 0.0
    u_allowed = SURFACE_W_M2K * rise / (room_c - behind_c)
    return max(positive("conductivity", k_w_mk) * (1 / u_allowed - 1 / u_w_m2k), 0.0)


def pipe_surface_c(
    *, room_c: float, fluid_c: float, pipe_m: float, insulation_m: float, k_w_mk: float = 0.033
) -> float:
    """Outer temperature of an insulated pipe of outer diameter ``pipe_m``; the pipe wall itself not counted."""
    from math import log

    bare = positive("pipe diameter", pipe_m) / 2
    outer = bare + not_negative("insulation", insulation_m)
    inner_resistance = log(outer / bare) / positive("conductivity", k_w_mk)
    outer_resistance = 1 / (outer * SURFACE_W_M2K)
    return room_c - (room_c - fluid_c) * outer_resistance / (inner_resistance + outer_resistance)


def insulation_pipe_m(
    *, room_c: float, fluid_c: float, dew_c: float, pipe_m: float, k_w_mk: float = 0.033, spare_k: float = 1.0
) -> float:
    """Insulation that keeps a cold pipe ``spare_k`` above the dew point; 0 when it needs none, at most 0.5 m."""
    from scipy.optimize import brentq

    _rise_allowed(room_c, dew_c, spare_k)
    if fluid_c >= dew_c + spare_k:
        return 0.0

    def spare(thick: float) -> float:
        surface = pipe_surface_c(room_c=room_c, fluid_c=fluid_c, pipe_m=pipe_m, insulation_m=thick, k_w_mk=k_w_mk)
        return surface - dew_c - spare_k

    if spare(0.5) < 0:
        raise OutOfRange("No insulation up to 0.5 m keeps this pipe dry: dry the room first.", "room_humidity_pct")
    return float(brentq(spare, 0.0, 0.5, xtol=1e-5))


def _rise_allowed(room_c: float, dew_c: float, spare_k: float) -> float:
    if room_c - dew_c <= not_negative("spare over the dew point", spare_k):
        raise OutOfRange(
            "The room is so humid that no insulation keeps a cold surface dry: dry the room first.",
            "room_humidity_pct",
        )
    return room_c - dew_c - spare_k
