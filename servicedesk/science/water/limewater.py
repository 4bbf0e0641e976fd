"""Limewater: its strength, what evaporation lets it carry, and the hours that keep the pH flattest.

Saturated strength 40.6 meq/L at 25 °C (Bates 1956); its fall with temperature fitted between 10 and 30 °C.
pH answers almost linearly to the litres in each hour, so the timetable is found by linear programmes
around the settled day, each time with the slopes of the last one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor, log10
from typing import Any

from servicedesk.science.guard import not_negative, positive, within
from servicedesk.science.water.day import Course, Day, settled_day

HOURS = 24
ROUNDS = 4
WORTH_A_ROUND = 0.002  # of pH
PROBE_L = 0.02
PH_RISE_PER_HOUR = 0.05
OUTSIDE_WEIGHT = 20.0
POINTS_PER_HOUR = 4
TRICKLE = 0.08  # of the greatest hour
ALIKE = 0.15


def limewater_meq_l(temp_c: float, efficiency: float = 0.85) -> float:
    """Working strength of limewater, meq/L, 5 to 35 °C; ``efficiency`` for air and settling (common practice)."""
    warmer = within("water temperature", temp_c, 5.0, 35.0, "temperature") - 25
    return (40.67 - 0.3476 * warmer - 0.00211 * warmer**2) * within("efficiency", efficiency, 0.05, 1.0)


def greatest_delivery_meq_day(evaporation_l_day: float, strength_meq_l: float) -> float:
    """Alkalinity that limewater can bring when all top-off is limewater."""
    return not_negative("evaporation", evaporation_l_day) * not_negative("strength of the limewater", strength_meq_l)


@dataclass(frozen=True, slots=True)
class Timetable:
    """Litres of limewater in each hour of the day, and the course of the pH they give."""

    litres: tuple[float, ...]
    course: Course

    @property
    def total_l(self) -> float:
        return sum(self.litres)

    @property
    def swing(self) -> float:
        """Highest less lowest pH of the day."""
        return float(self.course.highest[1] - self.course.lowest[1])

    def outside(self, band: tuple[float, float]) -> float:
        """How far the pH leaves the band, both sides together."""
        return max(band[0] - self.course.lowest[1], 0.0) + max(self.course.highest[1] - band[1], 0.0)


def best_timetable(
    day: Day, *, litres_day: float, pump_l_h: float, band: tuple[float, float], use_all: bool = True
) -> Timetable:
    """The hours for ``litres_day`` of limewater that keep pH inside ``band`` (total scale) and flattest there.

    With ``use_all`` false fewer litres are given where the band asks for it. Never more than ``pump_l_h``
    in an hour, nor so much that an hour's lime alone lifts the pH by more than 0.05.
    """
    not_negative("limewater a day", litres_day)
    positive("flow of the dosing pump", pump_l_h)
    most = min(pump_l_h, _gentle_l_h(day))
    total = min(litres_day, most * HOURS)
    now = _timed(day, (total / HOURS,) * HOURS)
    best = now
    for _ in range(ROUNDS):
        slopes = _slopes(day, now.litres)
        litres = _programme(now, slopes, most, total, band, use_all)
        now = _timed(day, litres)
        gained = _score(best, band) - _score(now, band)
        if gained > 0:
            best = now
        if gained < WORTH_A_ROUND:
            break
    return _timed(day, practical(best.litres))


def _score(table: Timetable, band: tuple[float, float]) -> float:
    return OUTSIDE_WEIGHT * table.outside(band) + table.swing


def _timed(day: Day, litres: Sequence[float]) -> Timetable:
    return Timetable(tuple(litres), settled_day(replace(day, limewater_l=tuple(litres))))


def _gentle_l_h(day: Day) -> float:
    """Litres in one hour that lift the pH by 0.05 in that hour, at the hour of the lowest pH without lime."""
    plain = settled_day(replace(day, limewater_l=(0.0,) * HOURS))
    hour = min(int(plain.lowest[0]), HOURS - 1)
    limed = settled_day(replace(day, limewater_l=tuple(PROBE_L if each == hour else 0.0 for each in range(HOURS))))
    start, end = hour * POINTS_PER_HOUR, (hour + 1) * POINTS_PER_HOUR
    rise = (limed.ph_total[end] - limed.ph_total[start]) - (plain.ph_total[end] - plain.ph_total[start])
    return float(PH_RISE_PER_HOUR * PROBE_L / rise) if rise > 0 else float("inf")


def _slopes(day: Day, litres: Sequence[float]) -> Any:
    """Change of pH at each point of the day for a litre more in each hour, (97, 24), of the settled day."""
    import numpy as np

    probes = np.tile(np.array(litres)[:, None], (1, HOURS + 1))
    probes[:, 1:] += PROBE_L * np.eye(HOURS)
    ph = np.array(settled_day(replace(day, limewater_l=tuple(probes))).ph_total)
    return (ph[:, 1:] - ph[:, :1]) / PROBE_L


def _programme(
    now: Timetable, slopes: Any, most: float, total: float, band: tuple[float, float], use_all: bool
) -> tuple[float, ...]:
    """The linear programme: unknowns are 24 hourly litres, highest and lowest pH, and what leaves the band."""
    import numpy as np
    from scipy.optimize import linprog

    ph = np.array(now.course.ph_total, dtype=float)
    litres = np.array(now.litres)
    base = ph - slopes @ litres
    points = len(ph)
    column = np.ones((points, 1))
    none = np.zeros((points, 1))
    rows = np.vstack(
        [
            np.hstack([slopes, -column, none, none, none]),  # pH ≤ highest
            np.hstack([-slopes, none, column, none, none]),  # pH ≥ lowest
            np.hstack([np.zeros(HOURS), [1, 0, -1, 0]])[None, :],  # highest − above ≤ band's top
            np.hstack([np.zeros(HOURS), [0, -1, 0, -1]])[None, :],  # band's foot ≤ lowest + below
        ]
    )
    limits = np.concatenate([-base, base, [band[1]], [-band[0]]])
    sum_row = np.hstack([np.ones(HOURS), np.zeros(4)])[None, :]
    prefer_lime = 0.0 if use_all else -1e-4
    costs = np.concatenate([np.full(HOURS, prefer_lime), [1.0, -1.0, OUTSIDE_WEIGHT, OUTSIDE_WEIGHT]])
    bounds = [(0.0, most)] * HOURS + [(5.0, 11.0)] * 2 + [(0.0, None)] * 2
    if use_all:
        found = linprog(costs, rows, limits, sum_row, [total], bounds=bounds, method="highs")
    else:
        found = linprog(costs, np.vstack([rows, sum_row]), np.append(limits, total), bounds=bounds, method="highs")
    if found.x is None:
        return now.litres
    return tuple(float(min(max(value, 0.0), most)) for value in found.x[:HOURS])


def practical(litres: Sequence[float]) -> tuple[float, ...]:
    """The same litres as a person would set them: trickles dropped, like neighbours made equal."""
    total, most = sum(litres), max(litres)
    if total <= 0:
        return tuple(litres)
    kept = [value if value > TRICKLE * most else 0.0 for value in litres]
    first = next((hour for hour in range(HOURS) if kept[hour] == 0 and kept[hour - HOURS + 1] > 0), 0)
    evened = list(kept)
    run: list[int] = []
    for hour in [(first + 1 + each) % HOURS for each in range(HOURS)]:
        run.append(hour)
        mean = sum(kept[each] for each in run) / len(run)
        if any(abs(kept[each] - mean) > ALIKE * most for each in run):
            run = [hour]
            mean = kept[hour]
        for each in run:
            evened[each] = mean
    scale = total / sum(evened)
    return tuple(value * scale for value in evened)


def windows(litres: Sequence[float]) -> list[tuple[float, float, float]]:
    """Neighbouring hours with like amounts as (from hour, to hour, litres an hour); may run over midnight."""
    most = max(litres)
    places = 2 - floor(log10(most)) if most > 0 else 0  # three digits of the greatest rate
    rounded = [round(value, places) for value in litres]
    starts = [hour for hour in range(HOURS) if rounded[hour] != rounded[hour - 1]] or [0]
    found = []
    for place, start in enumerate(starts):
        end = starts[(place + 1) % len(starts)]
        if rounded[start] > 0:
            found.append((float(start), float(end if end != start else start + HOURS), rounded[start]))
    return found
