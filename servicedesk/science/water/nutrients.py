"""Nitrate and phosphate balance of a system.

V dC/dt = load − fixed exports − (k + f) V C + f V C_new, in mg, with f the share of water changed a day and k the share
lost a day in proportion to the concentration (denitrification in rock and sand). Fixed exports (algae, carbon, skimmer,
media) are grams a day as measured.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, inf

from servicedesk.science.guard import OutOfRange, ScienceError, not_negative, positive, within
from servicedesk.science.water import molar

NO3_PER_N = molar.NO3 / molar.N
PO4_PER_P = molar.PO4 / molar.P


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a nutrient fed: shares grown into animals and gone with solids before they dissolve."""

    retained: float
    solids: float

    @property
    def dissolved(self) -> float:
        return max(1.0 - self.retained - self.solids, 0.0)


NITROGEN_FATE = Fate(retained=0.25, solids=0.15)  # common practice
PHOSPHORUS_FATE = Fate(retained=0.30, solids=0.20)


def fate(*, retained: float, solids: float) -> Fate:
    """A checked fate; the two shares together at most 1."""
    found = Fate(within("share retained", retained, 0, 1), within("share in solids", solids, 0, 1))
    if found.retained + found.solids > 1:
        raise ScienceError("The shares retained and gone with solids are more than the whole.", "solids_pct")
    return found


def nitrate_load_g_day(nitrogen_g_day: float, what: Fate = NITROGEN_FATE) -> float:
    """Nitrate made a day from nitrogen fed."""
    return not_negative("nitrogen fed", nitrogen_g_day) * what.dissolved * NO3_PER_N


def phosphate_load_g_day(phosphorus_g_day: float, what: Fate = PHOSPHORUS_FATE) -> float:
    """Phosphate dissolved a day from phosphorus fed."""
    return not_negative("phosphorus fed", phosphorus_g_day) * what.dissolved * PO4_PER_P


@dataclass(frozen=True, slots=True)
class Balance:
    """One nutrient in one system; g/day, mg/L, shares a day. Make it with ``balance``, which checks."""

    volume_l: float
    load_g_day: float
    fixed_g_day: float
    lost_per_day: float
    changed_per_day: float
    new_mg_l: float

    @property
    def gain_mg_l_day(self) -> float:
        """Rise a day at nothing in the water."""
        return 1000 * (self.load_g_day - self.fixed_g_day) / self.volume_l + self.changed_per_day * self.new_mg_l

    @property
    def rate_per_day(self) -> float:
        return self.lost_per_day + self.changed_per_day

    @property
    def steady_mg_l(self) -> float:
        """Where it settles: nothing when the exports are greater, without limit when nothing takes it out."""
        if self.gain_mg_l_day <= 0:
            return 0.0
        return self.gain_mg_l_day / self.rate_per_day if self.rate_per_day else inf

    def after_days(self, start_mg_l: float, days: float) -> float:
        """Concentration after some days, never below nothing."""
        start, span = not_negative("concentration", start_mg_l), not_negative("days", days)
        rate = self.rate_per_day
        if rate == 0:
            return max(start + self.gain_mg_l_day * span, 0.0)
        settled = self.gain_mg_l_day / rate  # may be negative: the course then ends at nothing
        return max(settled + (start - settled) * exp(-rate * span), 0.0)

    def export_needed_g_day(self, target_mg_l: float) -> float:
        """Further export that holds the target; negative: so much less would do."""
        target = not_negative("target level", target_mg_l)
        return (self.gain_mg_l_day - self.rate_per_day * target) * self.volume_l / 1000

    def load_allowed_g_day(self, target_mg_l: float) -> float:
        """The load at which the present exports hold the target; 0 when even none is too much."""
        return max(self.load_g_day - self.export_needed_g_day(target_mg_l), 0.0)

    def change_needed_per_day(self, target_mg_l: float) -> float:
        """Share of the volume to change a day, in all, to hold the target; infinite when new water is no better."""
        target = not_negative("target level", target_mg_l)
        without = 1000 * (self.load_g_day - self.fixed_g_day) / self.volume_l - self.lost_per_day * target
        if without <= 0:
            return 0.0
        return without / (target - self.new_mg_l) if target > self.new_mg_l else inf

    def parts_g_day(self, at_mg_l: float) -> dict[str, float]:
        """Grams a day in (+) and out (−) at a concentration; their sum is the change of the stock."""
        kilolitres = self.volume_l / 1000
        return {
            "load": self.load_g_day,
            "fixed": -self.fixed_g_day,
            "lost": -self.lost_per_day * kilolitres * at_mg_l,
            "changed": -self.changed_per_day * kilolitres * (at_mg_l - self.new_mg_l),
        }


def balance(
    *,
    volume_l: float,
    load_g_day: float,
    fixed_g_day: float = 0.0,
    lost_per_day: float = 0.0,
    changed_per_day: float = 0.0,
    new_mg_l: float = 0.0,
) -> Balance:
    """A checked balance."""
    return Balance(
        volume_l=positive("volume", volume_l),
        load_g_day=not_negative("load", load_g_day),
        fixed_g_day=not_negative("fixed exports", fixed_g_day),
        lost_per_day=within("share lost a day", lost_per_day, 0, 1),
        changed_per_day=within("share changed a day", changed_per_day, 0, 1),
        new_mg_l=not_negative("concentration of the new water", new_mg_l),
    )


def loss_from_readings_per_day(*, system: Balance, start_mg_l: float, end_mg_l: float, days: float) -> float:
    """Share lost a day (denitrification, uptake) that explains two readings; all else as in ``system``."""
    from scipy.optimize import brentq

    positive("days", days)

    def miss(rate: float) -> float:
        return replace(system, lost_per_day=rate).after_days(start_mg_l, days) - end_mg_l

    if miss(0.0) < 0:
        raise OutOfRange(
            "Feed and exports as typed leave less than the readings show: check feed, exports, volume and readings.",
            "earlier_mg_l",
        )
    if miss(1.0) > 0:
        raise OutOfRange("The readings fall faster than any loss explains: check them.", "earlier_mg_l")
    return float(brentq(miss, 0.0, 1.0, xtol=1e-10))


def with_rock(
    *,
    system: Balance,
    start_mg_l: float,
    days: Sequence[float],
    rock_mg_l: float,
    stock: float,
    exchange_per_day: float,
) -> list[float]:
    """Course of a nutrient that rock takes up and gives back (phosphate).

    Rock holds ``stock`` times what the water holds at the same strength, stands at ``rock_mg_l`` (the concentration it
    is in balance with), and evens out at ``exchange_per_day``. The settled value is the same as without rock; the way
    there is longer. Two linear equations, solved by the matrix exponential.
    """
    import numpy as np
    from scipy.linalg import expm

    size = positive("stock of the rock", stock)
    swap = not_negative("exchange with the rock", exchange_per_day)
    start = (not_negative("concentration", start_mg_l), not_negative("balance of the rock", rock_mg_l))
    matrix = np.array(
        [
            [-system.rate_per_day - swap, swap, system.gain_mg_l_day],
            [swap / size, -swap / size, 0.0],
            [0.0, 0.0, 0.0],
        ]
    )
    state = np.array([*start, 1.0])
    return [max(float((expm(matrix * not_negative("day", day)) @ state)[0]), 0.0) for day in days]


def media_days(*, phosphate_g_day: float, media_l: float, capacity_g_l: float) -> float:
    """Days until a phosphate medium is used up; infinite when it takes nothing."""
    taken = not_negative("phosphate taken", phosphate_g_day)
    return not_negative("medium", media_l) * positive("capacity", capacity_g_l) / taken if taken else inf


def media_l_for(*, phosphate_g: float, capacity_g_l: float) -> float:
    """Litres of medium that bind so much phosphate: capacity 2 to 10 g/L by common practice."""
    return not_negative("phosphate", phosphate_g) / positive("capacity", capacity_g_l)


def skimmed_g_day(*, load_g_day: float, share: float) -> float:
    """Part of a load taken out as foam before it dissolves; 10 to 30 % by common practice."""
    return not_negative("load", load_g_day) * within("share skimmed", share, 0, 0.9)


def skimmate_g_day(*, skimmate_l_day: float, measured_mg_l: float) -> float:
    """Export with the skimmate from its volume and a laboratory's total N or P."""
    return (
        not_negative("skimmate", skimmate_l_day) * not_negative("concentration of the skimmate", measured_mg_l) / 1000
    )
