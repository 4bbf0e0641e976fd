"""Daily consumption between two readings, net of everything that was added, and drift with its significance."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from servicedesk.science.guard import ScienceError, not_negative, positive
from servicedesk.science.water import molar

TELLING_ERROR = 6.0  # mg per meq: a wider error tells calcification from nothing else
CALCIUM_PER_MEQ = molar.CA / 2  # mg, CaCO3: one calcium for two equivalents


@dataclass(frozen=True, slots=True)
class Input:
    """Something added at ``day`` (days after the first reading): a rise in canonical units, or an exchange
    of ``fraction`` of the water for water at ``fresh``."""

    day: float
    rise: float = 0.0
    fraction: float = 0.0
    fresh: float = 0.0


@dataclass(frozen=True, slots=True)
class Demand:
    """Consumption a day and its standard error, canonical units a day.

    ``predicted``: the second reading had nothing been used; ``counted_days``: the days, less for what water
    changes undo of the consumption before them. ``per_day`` = (predicted − second) ÷ counted_days.
    """

    per_day: float
    error: float
    predicted: float
    counted_days: float


def demand(
    *, first: float, second: float, days: float, sd: float, inputs: Sequence[Input] = (), volume_error: float = 0.05
) -> Demand:
    """Constant consumption between two readings ``days`` apart (mass balance over the inputs in order).

    Error: two readings' ``sd`` and the relative error of the net volume on what was dosed.
    """
    if days <= 0:
        raise ScienceError("The second reading must be later than the first.")
    if any(not 0 <= event.day <= days for event in inputs):
        raise ScienceError(f"An addition or water change lies outside the {days:g} days between the readings.")
    level, sensitivity, at, dosed = first, 0.0, 0.0, 0.0
    for event in sorted(inputs, key=lambda event: event.day):
        sensitivity += event.day - at
        at = event.day
        level = level * (1 - event.fraction) + event.fresh * event.fraction + event.rise
        sensitivity *= 1 - event.fraction
        dosed += event.rise
    sensitivity += days - at
    if sensitivity <= 0:
        raise ScienceError("All the water was changed at the second reading: nothing is left to tell the use by.")
    error = sqrt(2 * sd**2 + (volume_error * dosed) ** 2) / sensitivity
    return Demand((level - second) / sensitivity, error, level, sensitivity)


@dataclass(frozen=True, slots=True)
class Drift:
    """Change since the last reading; ``certain`` when it is beyond twice the readings' joint error."""

    change: float
    days: float
    certain: bool


def drift(value: float, last: float, days: float, sd: float, last_sd: float) -> Drift:
    change = value - last
    return Drift(change, days, abs(change) > 2 * hypot(sd, last_sd))


def step(
    level: float, *, demand_per_day: float, dose_per_day: float, fraction: float = 0.0, fresh: float = 0.0
) -> float:
    """The level a day later: what was dosed less what was used, then an exchange of water."""
    after = level + dose_per_day - demand_per_day
    return after * (1 - fraction) + fresh * fraction


@dataclass(frozen=True, slots=True)
class Ratio:
    """Calcium used per alkalinity used, mg per meq, its standard error and what it says.

    ``verdict``: "calcification" (within twice the error of 20.04), "more alkalinity" (nitrification, a dose
    titre, a reading, acid), "more calcium" (a reading, a titre) or "too little used to tell".
    """

    mg_per_meq: float
    error: float
    verdict: str


def calcium_ratio(
    *, calcium_per_day: float, calcium_error: float, alkalinity_per_day: float, alkalinity_error: float
) -> Ratio:
    """Check the uses of calcium (mg/L a day) and alkalinity (meq/L a day) against calcification."""
    not_negative("error of the calcium", calcium_error)
    not_negative("error of the alkalinity", alkalinity_error)
    if alkalinity_per_day <= 2 * alkalinity_error or alkalinity_per_day <= 0:
        return Ratio(float("nan"), float("nan"), "too little used to tell")
    ratio = calcium_per_day / alkalinity_per_day
    error = hypot(calcium_error, ratio * alkalinity_error) / positive("alkalinity use", alkalinity_per_day)
    if error > TELLING_ERROR:
        return Ratio(ratio, error, "too little used to tell")
    if abs(ratio - CALCIUM_PER_MEQ) <= 2 * error:
        return Ratio(ratio, error, "calcification")
    return Ratio(ratio, error, "more calcium" if ratio > CALCIUM_PER_MEQ else "more alkalinity")
