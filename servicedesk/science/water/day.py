"""pH over the day: photosynthesis, respiration, calcification, gas exchange with the room and what is dosed.

Per kilogram of water, µmol/kg and hours. In the light s(t) is half a sine with the day's sum 1; the rest of
the alkalinity that calcification takes is dosed evenly, so that the day repeats: then alkalinity is
known over the day and only inorganic carbon is integrated (midpoint rule, a quarter of an hour), until the
day ends as it began. All arguments of a ``Day`` may be numbers, or arrays of equal length to
solve many variants at once.

Source: mass balance with the carbonate system of ``carbonate``; exchange coefficient and shares are
common practice, to be fitted to the pH of the installation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi, sin
from typing import Any

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.water.carbonate import Constants, constants, noncarbonate, solve

STEPS = 96
STEP_H = 24 / STEPS
SETTLED_UMOL_KG = 1e-3
MAX_DAYS = 60
GREATEST_STEP_UMOL_KG = 200.0
DIC_PER_ALKALINITY = {"bicarbonate": 1.0, "carbonate": 0.5, "hydroxide": 0.0}


@dataclass(frozen=True, slots=True)
class Day:
    """What acts on the water of a system over 24 hours.

    ``limewater_l``: litres in each of the 24 hours, of ``limewater_mol_l`` Ca(OH)₂. ``reactor_*``: even
    supply by reactor effluent. ``rest``: what fills up the rest of the alkalinity used.
    ``alkalinity_umol_kg`` is that at midnight.
    """

    mass_kg: float
    salinity: float
    temp_c: float
    alkalinity_umol_kg: Any
    photosynthesis_umol_kg_day: Any
    respiration_umol_kg_day: Any
    calcification_umol_kg_day: Any
    light_on_h: float
    light_off_h: float
    exchange_per_h: Any
    room_pco2_uatm: Any
    calcification_light_share: float = 0.7
    limewater_l: Sequence[Any] = (0.0,) * 24
    limewater_mol_l: float = 0.0203
    reactor_alkalinity_umol_kg_day: float = 0.0
    reactor_dic_umol_kg_day: float = 0.0
    nitrogen_umol_kg_day: float = 0.0
    rest: str = "bicarbonate"


@dataclass(frozen=True, slots=True)
class Course:
    """The settled day at ``hours``: pH on the total scale, alkalinity and DIC in µmol/kg."""

    hours: Sequence[float]
    ph_total: Sequence[Any]
    alkalinity_umol_kg: Sequence[Any]
    dic_umol_kg: Sequence[Any]
    rest_umol_kg_day: Any

    def ph_at(self, hour: float) -> Any:
        """pH at a time of day, between the points."""
        place = (hour % 24) / STEP_H
        index = min(int(place), STEPS - 1)
        part = place - index
        return self.ph_total[index] * (1 - part) + self.ph_total[index + 1] * part

    @property
    def lowest(self) -> tuple[float, float]:
        """(hour, pH) of the lowest pH of a single day."""
        index = min(range(STEPS), key=lambda point: self.ph_total[point])
        return self.hours[index], self.ph_total[index]

    @property
    def highest(self) -> tuple[float, float]:
        index = max(range(STEPS), key=lambda point: self.ph_total[point])
        return self.hours[index], self.ph_total[index]


def light_hours(light_on_h: float, light_off_h: float) -> float:
    """Length of the photoperiod, over midnight if off comes before on."""
    return (light_off_h - light_on_h) % 24 or 24.0


def light(hour: float, light_on_h: float, light_off_h: float) -> float:
    """Share of the day's light per hour at a time of day: half a sine over the photoperiod, its sum one."""
    length = light_hours(light_on_h, light_off_h)
    since = (hour - light_on_h) % 24
    return pi / (2 * length) * sin(pi * since / length) if since < length else 0.0


def settled_day(day: Day) -> Course:
    """The day that repeats itself. Raises ScienceError when the pH would leave 6 to 10.5."""
    _check(day)
    k = constants(float(day.salinity), float(day.temp_c))
    rest = _rest(day)
    alkalinity = _alkalinity(day, rest)
    sources = _carbon_sources(day, rest)
    exchange, air = day.exchange_per_h, k.k0 * day.room_pco2_uatm
    _check_carbon(sources, exchange * air)
    dic = solve(day.salinity, day.temp_c, alkalinity_umol_kg=_first(alkalinity[0]), ph_total=8.1).dic_umol_kg
    start = dic + 0.0 * (sources[0] + alkalinity[0])
    start = _repeating(start, k, alkalinity, sources, exchange, air)
    hydrogen, carbon = _run(start, k, alkalinity, sources, exchange, air)
    ph = [_ph(h) for h in hydrogen]
    if any(_outside(value) for value in (ph[0], ph[STEPS // 2])):
        raise ScienceError("The pH of this day leaves 6 to 10.5; check demand, limewater and room air.")
    return Course([step * STEP_H for step in range(STEPS + 1)], ph, alkalinity[::2], carbon, rest)


def _check(day: Day) -> None:
    positive("mass", day.mass_kg)
    within("lights on", day.light_on_h, 0.0, 24.0, "hours")
    within("lights off", day.light_off_h, 0.0, 24.0, "hours")
    within("share of calcification in the light", day.calcification_light_share, 0.0, 1.0)
    not_negative("strength of the limewater", day.limewater_mol_l)
    if len(day.limewater_l) != 24:
        raise ScienceError("The limewater timetable has 24 hourly amounts.")
    if day.rest not in DIC_PER_ALKALINITY:
        raise ScienceError(f"“{day.rest}” is no supply of alkalinity; known: {', '.join(DIC_PER_ALKALINITY)}.")


def _rest(day: Day) -> Any:
    """What must still be supplied for the day's alkalinity to close, µmol/kg a day; negative means too much."""
    lime = 2e6 * day.limewater_mol_l / day.mass_kg * sum(day.limewater_l)
    used = 2 * day.calcification_umol_kg_day + 2 * day.nitrogen_umol_kg_day
    return used - lime - day.reactor_alkalinity_umol_kg_day


def _check_carbon(sources: Sequence[Any], greatest_uptake: Any) -> None:
    """No day repeats when the water loses more carbon than the air can bring even at no CO₂ left."""
    spare = sum(sources[:-1]) / (2 * STEPS) + greatest_uptake
    if (spare if isinstance(spare, float) else spare.min()) <= 0:
        raise ScienceError(
            "Room air cannot bring the carbon that this day takes from the water: the pH would climb without end. "
            "Less limewater, or stronger aeration."
        )


def _calcification(day: Day, hour: float) -> Any:
    lit = day.calcification_light_share
    return day.calcification_umol_kg_day * ((1 - lit) / 24 + lit * light(hour, day.light_on_h, day.light_off_h))


def _alkalinity(day: Day, rest: Any) -> list[Any]:
    """Alkalinity on the grid of half steps, from midnight to midnight."""
    even = (rest + day.reactor_alkalinity_umol_kg_day - 2 * day.nitrogen_umol_kg_day) / 24
    lime = 2e6 * day.limewater_mol_l / day.mass_kg
    half = STEP_H / 2
    level = day.alkalinity_umol_kg + 0.0 * even
    levels = [level]
    for index in range(2 * STEPS):
        middle = (index + 0.5) * half
        level = level + half * (even + lime * day.limewater_l[int(middle)] - 2 * _calcification(day, middle))
        levels.append(level)
    return levels


def _carbon_sources(day: Day, rest: Any) -> list[Any]:
    """Change of DIC an hour on the grid of half steps, but for exchange with the air."""
    even = (day.respiration_umol_kg_day + day.reactor_dic_umol_kg_day + rest * DIC_PER_ALKALINITY[day.rest]) / 24
    return [
        even - day.photosynthesis_umol_kg_day * light(hour, day.light_on_h, day.light_off_h) - _calcification(day, hour)
        for hour in (index * STEP_H / 2 for index in range(2 * STEPS + 1))
    ]


def _repeating(start: Any, k: Constants, alkalinity: Any, sources: Any, exchange: Any, air: Any) -> Any:
    """The DIC at midnight to which the day returns: secant steps on the change over a day."""
    last, last_change = start, _change(start, k, alkalinity, sources, exchange, air)
    now = start + last_change
    for _ in range(MAX_DAYS):
        change = _change(now, k, alkalinity, sources, exchange, air)
        if _greatest(change) < SETTLED_UMOL_KG:
            return now
        slope = _divide(change - last_change, now - last)
        slope = _between(slope, -1.0, -0.02)
        last, last_change = now, change
        now = now - _between(change / slope, -GREATEST_STEP_UMOL_KG, GREATEST_STEP_UMOL_KG)
    raise ScienceError("This day does not settle; check gas exchange, demand and room air.")


def _change(start: Any, k: Constants, alkalinity: Any, sources: Any, exchange: Any, air: Any) -> Any:
    return _run(start, k, alkalinity, sources, exchange, air)[1][-1] - start


def _run(
    dic: Any, k: Constants, alkalinity: Sequence[Any], sources: Sequence[Any], exchange: Any, air: Any
) -> tuple[list[Any], list[Any]]:
    """Hydrogen ion and DIC at every full step, from DIC at midnight."""
    h = _settle_h(1e-8 + 0.0 * dic, dic, alkalinity[0], k, rounds=12)
    hydrogen, carbon = [h], [dic]
    k12 = k.k1 * k.k2
    for index in range(STEPS):
        at = 2 * index
        co2 = dic * h * h / (h * h + k.k1 * h + k12)
        middle = dic + STEP_H / 2 * (sources[at] + exchange * (air - co2))
        h = _settle_h(h, middle, alkalinity[at + 1], k)
        co2 = middle * h * h / (h * h + k.k1 * h + k12)
        dic = dic + STEP_H * (sources[at + 1] + exchange * (air - co2))
        h = _settle_h(h, dic, alkalinity[at + 2], k)
        hydrogen.append(h)
        carbon.append(dic)
    return hydrogen, carbon


def _settle_h(h: Any, dic_umol_kg: Any, alkalinity_umol_kg: Any, k: Constants, rounds: int = 2) -> Any:
    """Newton steps in ln h from a near guess, so that the alkalinity is met."""
    dic, alkalinity, k12 = dic_umol_kg * 1e-6, alkalinity_umol_kg * 1e-6, k.k1 * k.k2
    for _ in range(rounds):
        whole = h * h + k.k1 * h + k12
        excess = noncarbonate(h, k) + dic * (k.k1 * h + 2 * k12) / whole - alkalinity
        buffer = (
            dic * k.k1 * h * (h * h + 4 * k.k2 * h + k12) / (whole * whole)
            + k.boron * k.kb * h / ((k.kb + h) * (k.kb + h))
            + k.kw / h
            + h
        )
        ratio = _between(excess / buffer, -1.0, 1.0)
        h = h * (1 + ratio + ratio * ratio / 2)
    return h


def _between(value: Any, low: float, high: float) -> Any:
    if isinstance(value, float):
        return min(max(value, low), high)
    import numpy as np

    return np.clip(value, low, high)


def _divide(change: Any, step: Any) -> Any:
    """Slope of a secant, −1 where the step vanishes."""
    if isinstance(step, float):
        return change / step if step else -1.0
    import numpy as np

    return np.where(step == 0, -1.0, change / np.where(step == 0, 1.0, step))


def _greatest(change: Any) -> float:
    if isinstance(change, float):
        return abs(change)
    return float(abs(change).max())


def _first(value: Any) -> float:
    return float(value) if isinstance(value, (int, float)) else float(value.flat[0])


def _outside(ph: Any) -> bool:
    low, high = (ph, ph) if isinstance(ph, float) else (ph.min(), ph.max())
    return not (low >= 6.0 and high <= 10.5)


def _ph(h: Any) -> Any:
    from math import log10

    if isinstance(h, float):
        return -log10(h)
    import numpy as np

    return -np.log10(h)
