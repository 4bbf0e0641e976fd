"""What air, doses and mixing do at once to pH and to the risk of precipitation.

Room air by Henry's law (Weiss 1974) with the water vapour of Weiss & Price 1980; guard against
precipitation after Moras 2022.
"""

from math import exp, log

from servicedesk.science.constants import ATM_PA, ZERO_C_K
from servicedesk.science.guard import ScienceError, not_negative, positive, share, within
from servicedesk.science.water.carbonate import State, constants, solve

# mol of inorganic carbon and mol of calcium per equivalent of alkalinity
DOSES = {"bicarbonate": (1.0, 0.0), "carbonate": (0.5, 0.0), "hydroxide": (0.0, 0.5)}
OMEGA_WATCH = 5.0
OMEGA_REFUSE = 7.0


def vapour_pressure_atm(salinity: float, temp_c: float) -> float:
    """Water vapour over seawater in atm, 0 to 40 °C, salinity 0 to 40 (Weiss & Price 1980)."""
    t = within("water temperature", temp_c, 0.0, 40.0, "temperature") + ZERO_C_K
    s = within("salinity", salinity, 0.0, 43.0, "salinity")
    return exp(24.4543 - 67.4509 * 100 / t - 4.8489 * log(t / 100) - 0.000544 * s)


def room_pco2_uatm(co2_ppm: float, salinity: float, temp_c: float, pressure_pa: float = ATM_PA) -> float:
    """pCO2 that room air of ``co2_ppm`` (dry) lays on the water: less than its ppm by the vapour.

    >>> round(room_pco2_uatm(800, 35, 25))
    775
    """
    within("CO₂ of the air", co2_ppm, 100.0, 50_000.0, "co2")
    within("air pressure in Pa", pressure_pa, 60_000.0, 110_000.0)
    return co2_ppm * (pressure_pa / ATM_PA - vapour_pressure_atm(salinity, temp_c))


def in_air(water: State, pco2_uatm: float) -> State:
    """The same water after standing with air of ``pco2_uatm`` until nothing changes."""
    return _solve(water, alkalinity_umol_kg=water.alkalinity_umol_kg, pco2_uatm=pco2_uatm)


def partly_aired(water: State, pco2_uatm: float, part: float) -> State:
    """The water with ``part`` (0–1) of its CO₂ above air driven out: a trickle, an air stone, a second chamber."""
    spare = water.co2_umol_kg - constants(water.salinity, water.temp_c).k0 * not_negative("CO₂ pressure", pco2_uatm)
    return _solve(
        water,
        alkalinity_umol_kg=water.alkalinity_umol_kg,
        dic_umol_kg=water.dic_umol_kg - share("part driven out", part) * spare,
    )


def after_dose(water: State, chemical: str, rise_umol_kg: float) -> State:
    """The water right after ``rise_umol_kg`` of alkalinity as bicarbonate, carbonate or hydroxide (with its calcium).

    Before any exchange with air.
    """
    if chemical not in DOSES:
        raise ScienceError(f"“{chemical}” is no dose of alkalinity; known: {', '.join(DOSES)}.", "chemical")
    carbon, calcium = DOSES[chemical]
    not_negative("rise of alkalinity", rise_umol_kg)
    return solve(
        water.salinity,
        water.temp_c,
        alkalinity_umol_kg=water.alkalinity_umol_kg + rise_umol_kg,
        dic_umol_kg=water.dic_umol_kg + carbon * rise_umol_kg,
        calcium_umol_kg=water.calcium_umol_kg + calcium * rise_umol_kg,
    )


def mixed(water: State, other: State, part: float) -> State:
    """``part`` (0–1) of ``other`` in the mix, at the salinity and temperature of ``water``."""
    kept = 1 - share("part driven out", part)
    return solve(
        water.salinity,
        water.temp_c,
        alkalinity_umol_kg=kept * water.alkalinity_umol_kg + part * other.alkalinity_umol_kg,
        dic_umol_kg=kept * water.dic_umol_kg + part * other.dic_umol_kg,
        calcium_umol_kg=kept * water.calcium_umol_kg + part * other.calcium_umol_kg,
    )


def precipitation_risk(omega_aragonite: float, usual_omega: float = 0.0) -> str:
    """ "safe", "watch" or "refuse" for the mixed tank after a dose (Moras 2022): 5 and 7, or its own steady value."""
    positive("saturation with aragonite", omega_aragonite)
    if omega_aragonite <= max(OMEGA_WATCH, usual_omega):
        return "safe"
    return "watch" if omega_aragonite <= max(OMEGA_REFUSE, usual_omega) else "refuse"


def greatest_dose_umol_kg(water: State, chemical: str, omega_limit: float = OMEGA_WATCH) -> float:
    """The greatest single rise that keeps the mixed tank at or below ``omega_limit``; 0 when it is there already."""
    from scipy.optimize import brentq

    positive("limit of the saturation", omega_limit)

    def excess(rise: float) -> float:
        return after_dose(water, chemical, rise).omega_aragonite - omega_limit

    if excess(0.0) >= 0:
        return 0.0
    most = 5000.0
    return most if excess(most) <= 0 else float(brentq(excess, 0.0, most, xtol=0.01))


def _solve(water: State, **pair: float) -> State:
    return solve(water.salinity, water.temp_c, calcium_umol_kg=water.calcium_umol_kg, **pair)
