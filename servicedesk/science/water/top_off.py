"""Top-off: evaporation over the year, the reservoir, and what a missed or stuck top-off does to salinity.

Source: mass balance. The salt stays when water evaporates.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from servicedesk.science.guard import OutOfRange, ScienceError, not_negative, positive, within

DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True, slots=True)
class EvaporationYear:
    """Evaporation by month in L/day, January first."""

    monthly_l_day: tuple[float, ...]

    @property
    def worst_l_day(self) -> float:
        return max(self.monthly_l_day)

    @property
    def least_l_day(self) -> float:
        return min(self.monthly_l_day)

    @property
    def mean_l_day(self) -> float:
        return self.whole_l / sum(DAYS_IN_MONTH)

    @property
    def whole_l(self) -> float:
        return sum(rate * days for rate, days in zip(self.monthly_l_day, DAYS_IN_MONTH, strict=True))


def evaporation_year(monthly_l_day: Sequence[float]) -> EvaporationYear:
    """Twelve monthly figures, or four seasons from winter (December to February) on, spread over their months."""
    rates = [not_negative("evaporation", rate) for rate in monthly_l_day]
    if len(rates) == 4:
        winter, spring, summer, autumn = rates
        rates = [winter] * 2 + [spring] * 3 + [summer] * 3 + [autumn] * 3 + [winter]
    if len(rates) != 12:
        raise ScienceError(
            f"Type twelve months from January, or four seasons from winter; not {len(rates)}.", "evaporation"
        )
    return EvaporationYear(tuple(rates))


def reservoir_l(*, evaporation_l_day: float, days: float) -> float:
    """Top-off water for a time without visits."""
    return not_negative("evaporation", evaporation_l_day) * not_negative("days", days)


def salinity_after_missed(*, salinity: float, volume_l: float, evaporated_l: float) -> float:
    """Salinity when evaporation was not replaced, S·V/(V − E); E at most half the volume.

    >>> round(salinity_after_missed(salinity=35, volume_l=1000, evaporated_l=20), 2)
    35.71
    """
    volume = positive("volume", volume_l)
    lost = within("evaporated water", evaporated_l, 0.0, volume / 2, "volume")
    return not_negative("salinity", salinity) * volume / (volume - lost)


def salinity_after_flood(*, salinity: float, volume_l: float, added_l: float) -> float:
    """Salinity when a reservoir empties itself into the system, S·V/(V + r)."""
    volume = positive("volume", volume_l)
    return not_negative("salinity", salinity) * volume / (volume + not_negative("water added", added_l))


def days_to_rise(*, salinity: float, rise: float, volume_l: float, evaporation_l_day: float) -> float:
    """Days without top-off until salinity has risen: E·t = V·ΔS/(S + ΔS); refuses when nothing evaporates."""
    if not_negative("evaporation", evaporation_l_day) == 0:
        raise OutOfRange("Nothing evaporates: salinity does not rise.", "evaporation_l_day")
    lost = (
        positive("volume", volume_l)
        * not_negative("rise of the salinity", rise)
        / (positive("salinity", salinity) + rise)
    )
    return lost / evaporation_l_day


def salinity_fall_from_skimming(*, salinity: float, volume_l: float, wet_l_day: float) -> float:
    """Fall a day when what the skimmer or a leak takes is replaced by fresh water, S·q/V."""
    return (
        not_negative("salinity", salinity)
        * not_negative("water skimmed off a day", wet_l_day)
        / positive("volume", volume_l)
    )
