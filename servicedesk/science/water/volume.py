"""Net volume of a system: from its sizes, from a tracer, from a salinity change; estimates combined.

Sources: geometry, mass balance, error propagation (JCGM 100). Apparent densities are common practice.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, cos, pi, sin, sqrt

from servicedesk.science.guard import OutOfRange, ScienceError, finite, not_negative, positive, within
from servicedesk.science.words import Amount, say

ROCK_KG_L = 2.1  # apparent: solid and closed pores
SAND_GRAIN_KG_L = 2.7
SAND_POROSITY = 0.42


@dataclass(frozen=True, slots=True)
class Estimate:
    """A volume and its standard error, both in litres."""

    volume_l: float
    error_l: float

    @property
    def error_pct(self) -> float:
        return 100 * self.error_l / self.volume_l


def box_l(*, length_m: float, width_m: float, depth_m: float) -> float:
    """A box filled to ``depth_m``; sizes inside the panels.

    >>> round(box_l(length_m=2, width_m=1, depth_m=0.8))
    1600
    """
    return positive("length", length_m) * positive("width", width_m) * not_negative("depth", depth_m) * 1000


def cylinder_l(*, diameter_m: float, depth_m: float) -> float:
    """An upright cylinder."""
    return pi / 4 * positive("diameter", diameter_m) ** 2 * not_negative("depth", depth_m) * 1000


def bow_front_l(*, length_m: float, width_m: float, bow_m: float, depth_m: float) -> float:
    """A box ``width_m`` deep at its ends whose front bulges ``bow_m`` further in a circular arc.

    The bow is at most half the length (a half circle).
    """
    long = positive("length", length_m)
    bow = within("bow of the front", bow_m, 0.0, long / 2, "size")
    plan = long * positive("width", width_m) + segment_m2(chord_m=long, rise_m=bow)
    return plan * not_negative("depth", depth_m) * 1000


def segment_m2(*, chord_m: float, rise_m: float) -> float:
    """Area between an arc and its chord; rise at most half the chord."""
    if rise_m == 0:
        return 0.0
    radius = (chord_m**2 / 4 + rise_m**2) / (2 * rise_m)
    half = acos((radius - rise_m) / radius)
    return radius**2 * (half - sin(half) * cos(half))


def hexagon_l(*, side_m: float, depth_m: float) -> float:
    """A regular six-sided tank by the length of one side."""
    return 1.5 * sqrt(3) * positive("side", side_m) ** 2 * not_negative("depth", depth_m) * 1000


def rock_l(mass_kg: float, apparent_kg_l: float = ROCK_KG_L) -> float:
    """Water that rock displaces; apparent density 1.2 to 2.9 kg/L."""
    return not_negative("rock", mass_kg) / within(
        "apparent density of the rock", apparent_kg_l, 1.2, 2.9, "mass_per_volume"
    )


def sand_l(mass_kg: float, grain_kg_l: float = SAND_GRAIN_KG_L) -> float:
    """Water that sand displaces: its grains alone, the pores hold water."""
    return not_negative("sand", mass_kg) / within("density of the sand grains", grain_kg_l, 2.0, 3.0, "mass_per_volume")


def sand_bed_l(bed_l: float, porosity: float = SAND_POROSITY) -> float:
    """Water that a sand bed of a given volume displaces."""
    return not_negative("sand bed", bed_l) * (1 - within("porosity", porosity, 0.2, 0.7))


def net_volume_l(*, vessels_l: Sequence[float], plumbing_l: float = 0.0, displaced_l: float = 0.0) -> float:
    """Σ vessels + plumbing − displacement; refuses when nothing is left."""
    gross = sum(not_negative("volume of a vessel", vessel) for vessel in vessels_l) + not_negative(
        "water in the plumbing", plumbing_l
    )
    net = gross - not_negative("water displaced", displaced_l)
    if net <= 0:
        raise OutOfRange(
            say(
                "Rock and sand displace {displaced} of {gross}: no water is left. Check the units.",
                displaced=Amount("volume", displaced_l),
                gross=Amount("volume", gross),
            )
        )
    return net


def tracer_volume(
    *,
    dose: float,
    before: float,
    after: float,
    reading_error: float,
    repeats: int = 1,
    loss_per_day: float = 0.0,
    days: float = 0.0,
    dose_error_share: float = 0.01,
) -> Estimate:
    """Volume from a known dose and the rise it gave, V = m/(c2 − c1 + k·t).

    ``dose`` in mg (or meq), concentrations in mg/L (or meq/L), ``loss_per_day`` what the system takes of the tracer
    a day. ``repeats``: readings averaged before, and as many after. Refuses a rise below twice its error.
    """
    times = _count(repeats)
    not_negative("loss a day", loss_per_day)
    rise = finite("reading after", after) - finite("reading before", before) + loss_per_day * not_negative("days", days)
    rise_error = sqrt(2 / times) * not_negative("error of a reading", reading_error)
    if rise <= 0:
        raise OutOfRange("The readings show no rise: was the dose given and mixed?", "after")
    if rise <= 2 * rise_error:
        raise OutOfRange(
            "The rise is lost in the error of the readings: dose more or read more often.",
            "after",
        )
    volume = positive("dose", dose) / rise
    share = sqrt(within("error of the dose", dose_error_share, 0.0, 0.5) ** 2 + (rise_error / rise) ** 2)
    return Estimate(volume, volume * share)


def salinity_volume(
    *, exchanged_l: float, before: float, after: float, reading_error: float, repeats: int = 1, replaced: bool = True
) -> Estimate:
    """Volume from fresh water: x·S0/(S0 − S1) when it replaced system water, x·S1/(S0 − S1) when it was added.

    The second is the volume before the addition.
    """
    times = _count(repeats)
    first, second = positive("reading before", before), not_negative("reading after", after)
    fall = first - second
    fall_error = sqrt(2 / times) * not_negative("error of a reading", reading_error)
    if fall <= 0:
        raise OutOfRange("The readings show no fall: was the fresh water given and mixed?", "after")
    if fall <= 2 * fall_error:
        raise OutOfRange(
            say(
                "The fall of {fall} is lost in the error of the readings (±{error}): exchange more water.",
                fall=Amount("salinity_difference", fall),
                error=Amount("salinity_difference", fall_error),
            ),
            "after",
        )
    volume = positive("water exchanged", exchanged_l) * (first if replaced else second) / fall
    return Estimate(volume, volume * fall_error / fall)


def tracer_dose(*, volume_l: float, reading_error: float, repeats: int, wanted_share: float) -> float:
    """The dose (mg or meq) that brings the error of the volume down to ``wanted_share``, for a guessed volume."""
    rise = sqrt(2 / _count(repeats)) * positive("error of a reading", reading_error)
    return positive("volume", volume_l) * rise / within("wanted error", wanted_share, 0.005, 0.5)


def combine(estimates: Sequence[Estimate]) -> Estimate:
    """Estimates weighed by inverse variance; refuses when they contradict each other by more than three errors."""
    if not estimates:
        raise ScienceError("There is no estimate to combine.")
    weights = [1 / positive("error of the volume", one.error_l) ** 2 for one in estimates]
    volume = sum(w * one.volume_l for w, one in zip(weights, estimates, strict=True)) / sum(weights)
    low, high = min(estimates, key=lambda one: one.volume_l), max(estimates, key=lambda one: one.volume_l)
    if high.volume_l - low.volume_l > 3 * sqrt(high.error_l**2 + low.error_l**2):
        raise ScienceError(
            say(
                "The estimates {low} and {high} contradict each other: one is wrong.",
                low=Amount("volume", low.volume_l),
                high=Amount("volume", high.volume_l),
            )
        )
    return Estimate(volume, sqrt(1 / sum(weights)))


def _count(repeats: int) -> int:
    return int(within("repeats", repeats, 1, 50))
