"""Fits the day's model to pH readings of one installation.

Two readings cannot fix four unknowns, so each unknown starts from common practice with a spread, and the
readings pull it away from there (least squares with priors). The answer says how sure it is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, sqrt
from typing import Any

from servicedesk.science.guard import ScienceError, within
from servicedesk.science.water.day import STEPS, Course, Day, settled_day

READING_SD = 0.02
# name of the unknown: (its start by common practice, spread of its logarithm)
PHOTOSYNTHESIS = (400.0, 0.7)
BALANCE = (1.0, 0.15)  # respiration over photosynthesis
EXCHANGE = (0.5, 0.7)
OFFSET_SD = 0.05  # of the meter, the same for all its readings
MOST_ROUNDS = 15
PROBE = 0.01  # of a logarithm, for slopes
ENOUGH = 1e-3  # share of the misfit still gained by a round


@dataclass(frozen=True, slots=True)
class Fit:
    """The fitted day, its course, the meter's likely offset, the error of the predicted pH (1 sd, by point)
    and the largest residual; ``factor_error`` is the relative error of photosynthesis and of exchange."""

    day: Day
    course: Course
    offset: float
    ph_sd: Sequence[float]
    largest_residual: float
    photosynthesis_error: float
    exchange_error: float


def fit_day(day: Day, readings: Sequence[tuple[float, float]], reading_sd: float = READING_SD) -> Fit:
    """The day that best explains two or more (hour, pH on the total scale).

    ``day`` gives all that is known; its photosynthesis, respiration and exchange are replaced.
    Raises ScienceError for fewer than two readings, or readings at one time only.
    """
    import numpy as np

    if len(readings) < 2 or len({round(hour, 2) for hour, _ in readings}) < 2:
        raise ScienceError("Give pH at two or more different times of the day.", "readings")
    for hour, ph in readings:
        within("hour", hour, 0.0, 24.0, "hours")
        within("pH", ph, 6.5, 9.5)
    theta = np.zeros(4)
    spread = np.array([PHOTOSYNTHESIS[1], BALANCE[1], EXCHANGE[1], OFFSET_SD])
    best, damping = _cost(day, theta, spread, readings, reading_sd), 1e-3
    for _ in range(MOST_ROUNDS):
        residual, jacobian = _linear(day, theta, spread, readings, reading_sd)
        normal = jacobian.T @ jacobian
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -jacobian.T @ residual)
        cost = _cost(day, theta + np.clip(move, -0.7, 0.7), spread, readings, reading_sd)
        if cost < best:
            gained, best, theta, damping = best - cost, cost, theta + np.clip(move, -0.7, 0.7), damping / 5
            if gained < ENOUGH * max(best, 0.01):
                break
        else:
            damping *= 10
            if damping > 1e6:
                break
    return _fit(day, theta, spread, readings, reading_sd)


def _with(day: Day, theta: Any) -> Day:
    """The day with the four unknowns put in."""
    photosynthesis = PHOTOSYNTHESIS[0] * exp(_bounded(theta[0]))
    return replace(
        day,
        photosynthesis_umol_kg_day=photosynthesis,
        respiration_umol_kg_day=photosynthesis * BALANCE[0] * exp(_bounded(theta[1])),
        exchange_per_h=EXCHANGE[0] * exp(_bounded(theta[2])),
    )


def _bounded(logarithm: float) -> float:
    return min(max(float(logarithm), -4.0), 4.0)


def _residuals(day: Day, theta: Any, spread: Any, readings: Sequence[tuple[float, float]], sd: float) -> Any:
    """Weighted residuals of readings and priors, (readings + 4,); a single day solves fastest in plain numbers."""
    import numpy as np

    course = settled_day(_with(day, theta))
    of_readings = [(course.ph_at(hour) + theta[3] - ph) / sd for hour, ph in readings]
    return np.concatenate([of_readings, theta / spread])


def _cost(day: Day, theta: Any, spread: Any, readings: Sequence[tuple[float, float]], sd: float) -> float:
    try:
        residual = _residuals(day, theta, spread, readings, sd)
    except ScienceError:
        return float("inf")
    return float((residual**2).sum())


def _linear(day: Day, theta: Any, spread: Any, readings: Sequence[tuple[float, float]], sd: float) -> tuple[Any, Any]:
    """Residuals, and their slopes with each unknown, (readings + 4, 4)."""
    import numpy as np

    here = _residuals(day, theta, spread, readings, sd)
    there = [_residuals(day, theta + PROBE * unit, spread, readings, sd) for unit in np.eye(4)]
    return here, np.column_stack([(each - here) / PROBE for each in there])


def _fit(day: Day, theta: Any, spread: Any, readings: Sequence[tuple[float, float]], sd: float) -> Fit:
    import numpy as np

    _, jacobian = _linear(day, theta, spread, readings, sd)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    fitted = _with(day, theta)
    course = settled_day(fitted)
    ph = np.array(course.ph_total)
    moved = [np.array(settled_day(_with(day, theta + PROBE * unit)).ph_total) for unit in np.eye(4)[:3]]
    slopes = np.column_stack([*((each - ph) / PROBE for each in moved), np.ones(STEPS + 1)])
    ph_sd = np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes))
    residuals = [course.ph_at(hour) + float(theta[3]) - value for hour, value in readings]
    return Fit(
        fitted,
        course,
        float(theta[3]),
        [float(value) for value in ph_sd],
        max(abs(residual) for residual in residuals),
        sqrt(covariance[0, 0]),
        sqrt(covariance[2, 2]),
    )
