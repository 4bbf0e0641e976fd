"""Oxygen in seawater: saturation, the balance over a day, and the hours left when the flow stops."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, inf, log, pi, sin

from servicedesk.science.constants import ATM_PA, ZERO_C_K
from servicedesk.science.guard import OutOfRange, not_negative, positive, within
from servicedesk.science.plant.air import pressure_pa
from servicedesk.science.water import molar
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.words import Amount, say

WARN_MG_L = 5.0  # common practice
ALARM_MG_L = 4.0
CRITICAL_MG_L = 3.0  # below it animals can no longer keep their use of oxygen up
STEP_H = 0.25
MOST_FISH_KG_L = 0.1  # far above any aquarium: a slip of units
O2 = 2 * molar.O


def saturation_umol_kg(salinity: float, temp_c: float) -> float:
    """Oxygen in balance with moist air at one atmosphere; salinity 0 to 42, 0 to 40 °C (Garcia & Gordon 1992).

    >>> round(saturation_umol_kg(35, 10), 2)
    274.61
    """
    s = within("salinity", salinity, 0, 42, "salinity")
    t = within("water temperature", temp_c, 0, 40, "temperature")
    x = log((298.15 - t) / (ZERO_C_K + t))
    return exp(
        5.80871
        + x * (3.20291 + x * (4.17887 + x * (5.10006 + x * (-0.0986643 + x * 3.80369))))
        + s * (-7.01577e-3 + x * (-7.70028e-3 + x * (-1.13864e-2 + x * -9.51519e-3)))
        - 2.75915e-7 * s**2
    )


def vapour_share(salinity: float, temp_c: float) -> float:
    """Vapour pressure over seawater in atmospheres; salinity 0 to 40, 0 to 40 °C (Weiss & Price 1980)."""
    t = within("water temperature", temp_c, 0, 40, "temperature") + ZERO_C_K
    return exp(
        24.4543
        - 67.4509 * (100 / t)
        - 4.8489 * log(t / 100)
        - 0.000544 * within("salinity", salinity, 0, 42, "salinity")
    )


def saturation_mg_l(salinity: float, temp_c: float, altitude_m: float = 0.0) -> float:
    """Oxygen at saturation in mg/L at an altitude of −400 to 4000 m (standard air pressure).

    >>> round(saturation_mg_l(35, 25), 2)
    6.77
    """
    within("altitude", altitude_m, -400, 4000, "altitude")
    vapour = vapour_share(salinity, temp_c)
    atmospheres = pressure_pa(altitude_m) / ATM_PA
    at_sea = saturation_umol_kg(salinity, temp_c) * O2 / 1000 * density_kg_l(salinity, temp_c)
    return at_sea * (atmospheres - vapour) / (1 - vapour)


@dataclass(frozen=True, slots=True)
class Demand:
    """Use of oxygen in mg/L an hour: of fish, of feed just eaten and nitrified, of corals, rock and carbon dosed."""

    fish: float
    feed: float
    nitrification: float
    reef: float
    carbon: float

    @property
    def total(self) -> float:
        return self.fish + self.feed + self.nitrification + self.reef + self.carbon


def demand(
    *,
    volume_l: float,
    fish_kg: float = 0.0,
    fish_mg_kg_h: float = 300.0,
    feed_g_day: float = 0.0,
    oxygen_per_feed: float = 0.0,
    nitrified_g_n_day: float = 0.0,
    reef_mg_l_h: float = 0.2,
    carbon_oxygen_g_day: float = 0.0,
) -> Demand:
    """Use of oxygen by night.

    ``fish_mg_kg_h`` 200 to 400 by common practice, which includes digestion; ``oxygen_per_feed`` only when the fish are
    reckoned by feed (0.4 to 0.5 kg per kg) instead. ``reef_mg_l_h``: corals, rock and sand by night.
    """
    volume = positive("volume", volume_l)
    if fish_kg > MOST_FISH_KG_L * volume:
        raise OutOfRange(
            say(
                "{fish} of fish in {volume} is not water: check units and volume.",
                fish=Amount("mass_kg", fish_kg),
                volume=Amount("volume", volume),
            ),
            "fish_kg",
        )
    per_day = 1000 / 24 / volume
    return Demand(
        fish=not_negative("mass of fish", fish_kg) * not_negative("respiration of fish", fish_mg_kg_h) / volume,
        feed=not_negative("feed", feed_g_day) * not_negative("oxygen per feed", oxygen_per_feed) * per_day,
        nitrification=not_negative("nitrogen", nitrified_g_n_day) * 4 * molar.O / molar.N * per_day,
        reef=not_negative("respiration of the reef", reef_mg_l_h),
        carbon=not_negative("oxygen used by carbon", carbon_oxygen_g_day) * per_day,
    )


def exchange_from_dawn_per_h(*, saturation_mg_l: float, dawn_mg_l: float, use_mg_l_h: float) -> float:
    """Gas exchange that explains an oxygen reading before lights on: use ÷ (saturation − reading)."""
    gap = positive("saturation", saturation_mg_l) - not_negative("oxygen before lights on", dawn_mg_l)
    if gap <= 0:
        raise OutOfRange("Oxygen before lights on lies below saturation: check the probe.", "dawn_mg_l")
    return positive("use of oxygen", use_mg_l_h) / gap


def settled_day(
    *,
    saturation_mg_l: float,
    use_mg_l_h: float,
    production_mg_l_day: float,
    exchange_per_h: float,
    lights_on_h: float = 9.0,
    lights_off_h: float = 21.0,
) -> tuple[list[float], list[float]]:
    """Hours 0 to 24 and oxygen of the day that repeats itself.

    dC/dt = k (Csat − C) + P s(t) − R, s a half sine between lights on and off with the integral 1; the equation is
    linear, so the first value follows from one pass (mass balance). Supersaturation is left as it comes.
    """
    k = positive("gas exchange", exchange_per_h)
    not_negative("use of oxygen", use_mg_l_h)
    not_negative("oxygen made by light", production_mg_l_day)
    lit = (within("lights off", lights_off_h, 0, 24) - within("lights on", lights_on_h, 0, 24)) % 24
    if production_mg_l_day and lit == 0:
        raise OutOfRange("Lights on and off are at the same hour.", "lights_off")
    hours = [step * STEP_H for step in range(round(24 / STEP_H) + 1)]
    decay = exp(-k * STEP_H)

    def sources(hour: float) -> float:
        since = (hour + STEP_H / 2 - lights_on_h) % 24
        light = pi / (2 * lit) * sin(pi * since / lit) if lit and since < lit else 0.0
        return saturation_mg_l + (production_mg_l_day * light - use_mg_l_h) / k

    def run(start: float) -> list[float]:
        found = [start]
        for hour in hours[:-1]:
            target = sources(hour)
            found.append(target + (found[-1] - target) * decay)
        return found

    gap = run(0.0)[-1]
    return hours, run(gap / (1 - exp(-24 * k)))


@dataclass(frozen=True, slots=True)
class Outage:
    """The course of oxygen after the flow stopped; ``reached_h`` the hour of each limit, None when not in the time."""

    hours: Sequence[float]
    oxygen_mg_l: Sequence[float]
    reached_h: Sequence[float | None]


def after_flow_stops(
    *,
    start_mg_l: float,
    saturation_mg_l: float,
    use_mg_l_h: float,
    volume_l: float,
    surface_m2: float,
    transfer_cm_h: float = 1.0,
    air_per_h: float = 0.0,
    limits_mg_l: Sequence[float] = (WARN_MG_L, ALARM_MG_L),
    span_h: float = 72.0,
) -> Outage:
    """Oxygen of the water body by night with no pump running.

    dC/dt = (w A/V + k_air) (Csat − C) − R(C). The use R holds down to 3 mg/L and falls in proportion below it. The
    water is taken as mixed: fish in a dead corner have less. ``transfer_cm_h``: still surface 0.5 to 2, a stirred or
    fanned one 2 to 5 (common practice). Integrated with scipy.
    """
    from scipy.integrate import solve_ivp

    volume = positive("volume", volume_l)
    use = not_negative("use of oxygen", use_mg_l_h)
    start = not_negative("oxygen at the start", start_mg_l)
    transfer_m_h = within("transfer through the surface", transfer_cm_h, 0, 20, "gas_transfer") / 100
    exchange = transfer_m_h * not_negative("surface", surface_m2) * 1000 / volume + not_negative("air", air_per_h)
    within("time looked at", span_h, 0.5, 240, "hours")

    def slope(_hour: float, oxygen: Sequence[float]) -> list[float]:
        held = min(max(oxygen[0], 0.0) / CRITICAL_MG_L, 1.0)
        return [exchange * (saturation_mg_l - oxygen[0]) - use * held]

    found = solve_ivp(slope, (0.0, span_h), [start], dense_output=True, rtol=1e-8, atol=1e-8, max_step=0.5)
    hours = [span_h * step / 288 for step in range(289)]
    oxygen = [max(value, 0.0) for value in found.sol(hours)[0].tolist()]

    def course(hour: float) -> float:
        return float(found.sol(hour)[0])

    reached = [_crossing(course, limit, span_h, start) for limit in limits_mg_l]
    return Outage(hours, oxygen, reached)


def _crossing(course: Callable[[float], float], limit: float, span_h: float, start: float) -> float | None:
    """The first hour at which the course meets the limit; the course only falls or only rises."""
    from scipy.optimize import brentq

    if start <= limit:
        return 0.0
    if course(span_h) >= limit:
        return None
    return float(brentq(lambda hour: course(hour) - limit, 0.0, span_h))


def hours_without_air(*, start_mg_l: float, least_mg_l: float, use_mg_l_h: float) -> float:
    """The closed sum for a sealed surface: (C0 − Cmin) ÷ R; the least time there can be."""
    spare = not_negative("oxygen at the start", start_mg_l) - not_negative("least oxygen", least_mg_l)
    use = not_negative("use of oxygen", use_mg_l_h)
    return max(spare, 0.0) / use if use else inf
