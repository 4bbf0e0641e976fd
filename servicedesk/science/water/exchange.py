"""Water changes: single, repeated, continuous; what they settle at, batches, van loads and salt.

A conserved substance mixed at once through the system. Source: mass balance.
"""

from dataclasses import dataclass
from math import ceil, exp, log

from servicedesk.science.guard import OutOfRange, finite, not_negative, positive, within
from servicedesk.science.water.seawater import absolute_salinity_g_kg, density_kg_l


@dataclass(frozen=True, slots=True)
class Haul:
    """A quantity of water in equal goes: how many, and how much each holds."""

    goes: int
    each_l: float


def after_change(*, before: float, new: float, share: float) -> float:
    """Concentration after replacing a share of the water; 0 < share ≤ 1."""
    f = within("share of the water", share, 0.0, 1.0)
    return finite("reading before", before) * (1 - f) + finite("level of the new water", new) * f


def after_changes(*, before: float, new: float, share: float, times: int) -> tuple[float, ...]:
    """Concentration before the first and after each of ``times`` equal changes.

    >>> [round(c, 2) for c in after_changes(before=20, new=1, share=0.2, times=2)]
    [20.0, 16.2, 13.16]
    """
    count = int(within("number of changes", times, 0, 10000))
    levels = [finite("reading before", before)]
    for _ in range(count):
        levels.append(after_change(before=levels[-1], new=new, share=share))
    return tuple(levels)


def after_continuous(*, before: float, new: float, exchanged_l: float, volume_l: float) -> float:
    """Concentration while new water runs in as fast as mixed water runs out."""
    turned = not_negative("water exchanged", exchanged_l) / positive("volume", volume_l)
    return finite("level of the new water", new) + (finite("reading before", before) - new) * exp(-turned)


def changes_to_target(
    *, before: float, new: float, target: float, share: float, input_per_interval: float = 0.0
) -> float:
    """How many equal changes bring the level right after a change to the target (not rounded).

    The first change comes at once, each later one an interval and its input later. Refuses a target that cannot be
    reached, such as one below the settled level.
    """
    f = within("share of the water", share, 1e-6, 1 - 1e-9)
    rise = finite("input between changes", input_per_interval)
    if not rise:
        return log(_left(before, new, target)) / log(1 - f)
    first = after_change(before=before, new=new, share=f)
    if (first - target) * (before - target) <= 0:
        return 1.0
    settled = settled_after(new=new, input_per_interval=rise, share=f)
    return 1 + log(_left(first, settled, target)) / log(1 - f)


def whole_changes(*, before: float, new: float, target: float, share: float, input_per_interval: float = 0.0) -> int:
    """The same as a whole number of changes."""
    return ceil(
        round(
            changes_to_target(
                before=before, new=new, target=target, share=share, input_per_interval=input_per_interval
            ),
            9,
        )
    )


def continuous_to_target_l(
    *, before: float, new: float, target: float, volume_l: float, input_per_volume: float = 0.0
) -> float:
    """Water that a continuous change takes to the target.

    ``input_per_volume``: what the system adds (to the level) while one volume of water runs through.
    """
    settled = finite("level of the new water", new) + finite("input per volume", input_per_volume)
    return -positive("volume", volume_l) * log(_left(before, settled, target))


def _left(before: float, new: float, target: float) -> float:
    """The share of the difference to the new water that is left at the target: more than 0, at most 1."""
    gap = finite("reading before", before) - finite("level of the new water", new)
    left = (finite("target level", target) - new) / gap if gap else -1.0
    if not 0 < left <= 1:
        raise OutOfRange(
            "Such changes lead from the level now towards that of the new water and never to the target: it must lie "
            "between.",
            "target",
        )
    return left


def settled_after(*, new: float, input_per_interval: float, share: float) -> float:
    """Level just after a change once a steady input and steady changes balance: cn + p(1 − f)/f."""
    f = within("share of the water", share, 1e-6, 1.0)
    return finite("level of the new water", new) + finite("input between changes", input_per_interval) * (1 - f) / f


def settled_before(*, new: float, input_per_interval: float, share: float) -> float:
    """Level just before a change in the same steady state: cn + p/f."""
    f = within("share of the water", share, 1e-6, 1.0)
    return finite("level of the new water", new) + finite("input between changes", input_per_interval) / f


def level_with_input(
    *, before: float, new: float, exchanged_l_day: float, input_per_day: float, volume_l: float, days: float
) -> float:
    """Concentration after days of continuous change with a steady input: towards cn + p·V/q, at the rate q/V."""
    rate = not_negative("water exchanged a day", exchanged_l_day) / positive("volume", volume_l)
    passed, rise = not_negative("days", days), finite("input a day", input_per_day)
    if rate == 0:
        return finite("reading before", before) + rise * passed
    settled = finite("level of the new water", new) + rise / rate
    return settled + (finite("reading before", before) - settled) * exp(-rate * passed)


def share_to_hold(*, new: float, input_per_interval: float, hold: float) -> float:
    """The share to change each interval so that the level never rises above ``hold`` before a change."""
    room = finite("level to hold", hold) - finite("level of the new water", new)
    within("input between changes", input_per_interval, 0.0, 1e9)
    if room <= 0 or input_per_interval > room:
        raise OutOfRange("No change as rare as this holds the level: change more often or add less.", "hold")
    return input_per_interval / room


def haul(water_l: float, capacity_l: float) -> Haul:
    """Water in the fewest equal goes of a van or a mixing tank.

    >>> haul(2500, 1000)
    Haul(goes=3, each_l=833.3333333333334)
    """
    water, room = not_negative("water", water_l), positive("volume of a container", capacity_l)
    goes = ceil(round(water / room, 9))
    return Haul(goes, water / goes if goes else 0.0)


def van_capacity_l(*, payload_kg: float, tank_l: float, salinity: float, temp_c: float) -> float:
    """Water that a van may carry: its tank, or its payload over the water's density, the smaller."""
    return min(positive("volume of the tank", tank_l), positive("payload", payload_kg) / density_kg_l(salinity, temp_c))


def fresh_water_l(*, batch_l: float, salinity: float, temp_c: float) -> float:
    """Fresh water to fill before the salt goes in: the mass that is not salt, at the batch's temperature."""
    batch_kg = not_negative("batch", batch_l) * density_kg_l(salinity, temp_c)
    return batch_kg * (1 - absolute_salinity_g_kg(salinity) / 1000) / density_kg_l(0.0, temp_c)
