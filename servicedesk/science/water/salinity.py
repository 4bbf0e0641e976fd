"""Salt for a batch and corrections of salinity.

Source: definition of absolute salinity (Millero 2008, TEOS-10) and mass balance.
"""

from dataclasses import dataclass
from math import ceil

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.water.seawater import absolute_salinity_g_kg, check_water, density_kg_l

RISE_PER_DAY = 1.0  # PSS, common practice
FALL_PER_DAY = 1.0


def salt_kg(volume_l: float, salinity: float, temp_c: float, dry_fraction: float = 0.95) -> float:
    """Salt mix to weigh for ``volume_l`` of finished water; ``dry_fraction`` of the mix is salt, the rest water.

    >>> round(salt_kg(1000, 35, 25, dry_fraction=1.0), 2)
    35.99
    """
    not_negative("volume", volume_l)
    check_water(salinity, temp_c)
    within("dry share of the salt", dry_fraction, 0.5, 1.0)
    return volume_l * density_kg_l(salinity, temp_c) * absolute_salinity_g_kg(salinity) / 1000 / dry_fraction


@dataclass(frozen=True, slots=True)
class SalinityPlan:
    """How to bring a salinity to its target: salt to dissolve, or water to exchange on each day, over days."""

    days: int
    per_day: float
    salt_kg: float
    exchange_l: float
    exchange_l_day: float
    daily_l: tuple[float, ...] = ()


def correction(
    *,
    volume_l: float,
    salinity: float,
    target: float,
    temp_c: float,
    fresh_salinity: float = 0.0,
    dry_fraction: float = 0.95,
    rise_per_day: float = RISE_PER_DAY,
    fall_per_day: float = FALL_PER_DAY,
) -> SalinityPlan:
    """Raise with salt dissolved in drawn-off tank water; lower by exchange for water of ``fresh_salinity``.

    No day moves more than ``rise_per_day`` or ``fall_per_day``.
    """
    positive("volume", volume_l)
    check_water(salinity, temp_c)
    check_water(target, temp_c)
    change = target - salinity
    limit = (
        positive("greatest safe rise a day", rise_per_day)
        if change > 0
        else positive("greatest safe fall a day", fall_per_day)
    )
    days = max(ceil(round(abs(change) / limit, 9)), 1)
    if change >= 0:
        mass = salt_kg(volume_l, target, temp_c, dry_fraction) - salt_kg(volume_l, salinity, temp_c, dry_fraction)
        return SalinityPlan(days, change / days, mass, 0.0, 0.0)
    if fresh_salinity >= target:
        raise ScienceError("Water as salty as the target cannot lower the salinity.", "fresh_salinity")
    daily = [_exchange(salinity + change * (day) / days, salinity + change * (day + 1) / days, fresh_salinity)
             for day in range(days)]  # fmt: skip
    litres = tuple(volume_l * share for share in daily)
    return SalinityPlan(days, change / days, 0.0, sum(litres), litres[0], litres)


def _exchange(now: float, then: float, fresh: float) -> float:
    """Share of the water to swap in one go."""
    return (now - then) / (now - fresh)


def at_salinity(value: float, *, salinity: float, wanted: float) -> float:
    """A conservative ion as it would be at another salinity: compare so before calling a change consumption."""
    return (
        value * within("salinity", wanted, 1.0, 60.0, "salinity") / within("salinity", salinity, 1.0, 60.0, "salinity")
    )
