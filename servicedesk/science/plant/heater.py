"""Heaters: size over several units, heat-up time, and what one stuck on does in a night. Energy balance."""

from collections.abc import Callable
from dataclasses import dataclass

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.plant.drift import Drift, drift

MARGIN = 1.25  # common practice
LEAST_UNITS = 2
LooseHeat = Callable[[float], float]
"""Net watts into the water, without heaters and chillers, at a water temperature."""


@dataclass(frozen=True, slots=True)
class Heaters:
    """Equal units that together carry the loss with the margin; ``lost_cover`` with one of them dead."""

    total_w: float
    units: int
    unit_w: float
    lost_cover: float


def size(worst_loss_w: float, *, units: int = LEAST_UNITS, margin: float = MARGIN) -> Heaters:
    """Heaters for the coldest hour; two units at least, so that none alone decides."""
    within("margin", margin, 1, 3)
    if units < LEAST_UNITS:
        raise ScienceError("Use two heaters or more: one alone is a single point of failure.", "units")
    loss_w = max(worst_loss_w, 0.0)
    total_w = loss_w * margin
    return Heaters(total_w, units, total_w / units, total_w / units * (units - 1) / loss_w if loss_w else 1.0)


def stuck_on(
    unit_w: float,
    *,
    loose_w: LooseHeat,
    capacity_j_k: float,
    start_c: float,
    hours: float,
    limit_c: float | None = None,
) -> Drift:
    """The water's temperature while one heater cannot switch off and nothing cools. Its losses grow as it warms."""
    not_negative("heater power", unit_w)
    return drift(
        lambda _h, temp_c: loose_w(temp_c) + unit_w,
        capacity_j_k=capacity_j_k,
        start_c=start_c,
        hours=hours,
        limit_c=limit_c,
    )


def heat_up_h(
    heater_w: float,
    *,
    loose_w: LooseHeat,
    capacity_j_k: float,
    start_c: float,
    target_c: float,
    longest_h: float = 30 * 24.0,
) -> float | None:
    """Hours to warm the water, its losses growing on the way; None when it does not get there."""
    if target_c < start_c:
        raise ScienceError("Warming ends above where it starts.", "start_c")
    found = drift(
        lambda _h, temp: loose_w(temp) + heater_w,
        capacity_j_k=capacity_j_k,
        start_c=start_c,
        hours=longest_h,
        limit_c=target_c,
    )
    return found.limit_h


def largest_unit_w(
    *, loose_w: LooseHeat, capacity_j_k: float, start_c: float, limit_c: float, hours: float, most_w: float
) -> float:
    """The largest single heater that, stuck on for ``hours``, stays within the limit; at most ``most_w``."""
    from scipy.optimize import brentq

    positive("largest power looked at", most_w)
    if limit_c <= start_c:
        raise ScienceError("The limit must lie above the set point.", "limit_c")

    def over(unit_w: float) -> float:
        return (
            stuck_on(unit_w, loose_w=loose_w, capacity_j_k=capacity_j_k, start_c=start_c, hours=hours).last_c - limit_c
        )

    if over(0.0) >= 0:
        return 0.0
    return most_w if over(most_w) <= 0 else float(brentq(over, 0.0, most_w, xtol=0.5))
