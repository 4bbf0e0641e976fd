"""Electrical load, circuits and standby power. Wiring is licensed work under the local code.

Sources: NEC 210.20 for the share of a breaker that a continuous load may use; energy balance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from servicedesk.science.guard import ScienceError, not_negative, positive, within
from servicedesk.science.words import Amount, say

CONTINUOUS_SHARE = 0.8
VITAL = "flow"


@dataclass(frozen=True, slots=True)
class Load:
    """A machine: what it is for ("flow", "air", "heat", "cooling", "light", "other"), watts, hours a day."""

    use: str
    power_w: float
    hours_day: float = 24.0


@dataclass(frozen=True, slots=True)
class Circuit:
    """One protected circuit and the loads on it."""

    loads: tuple[Load, ...]

    @property
    def power_w(self) -> float:
        return sum(load.power_w for load in self.loads)

    @property
    def carries_flow(self) -> bool:
        return any(load.use == VITAL for load in self.loads)


def current_a(*, power_w: float, voltage_v: float, power_factor: float = 1.0, phases: int = 1) -> float:
    """Current of a load, P/(V·cos φ); on three phases P/(√3·V·cos φ), V from phase to phase.

    >>> round(current_a(power_w=1800, voltage_v=120), 1)
    15.0
    """
    factor = within("power factor", power_factor, 0.3, 1.0)
    return not_negative("power", power_w) / positive("voltage", voltage_v) / factor / phase_factor(phases)


def phase_factor(phases: int) -> float:
    """1 for one phase, √3 for three balanced ones."""
    if phases not in (1, 3):
        raise ScienceError(f"A supply has 1 or 3 phases, not {phases}.", "phases")
    return sqrt(phases)


def circuit_limit_w(*, breaker_a: float, voltage_v: float, power_factor: float = 1.0, phases: int = 1) -> float:
    """The most watts that may run for three hours or longer on a breaker: 80 % of it."""
    factor = within("power factor", power_factor, 0.3, 1.0)
    volts = positive("voltage", voltage_v) * phase_factor(phases)
    return positive("breaker", breaker_a) * CONTINUOUS_SHARE * volts * factor


def split_circuits(loads: Sequence[Load], *, limit_w: float, least: int = 2) -> tuple[Circuit, ...]:
    """Loads over the fewest circuits (at least ``least``) within ``limit_w`` each, flow spread over them first.

    Largest first, on the emptiest circuit; flow pumps go first, so that any one trip leaves flow when there are
    two of them. Refuses a load that no circuit carries.
    """
    limit = positive("limit of a circuit", limit_w)
    for load in loads:
        if not_negative("power", load.power_w) > limit:
            raise ScienceError(
                say(
                    "A machine of {power} is more than one circuit may carry for hours ({limit}): it needs a larger "
                    "breaker, a higher voltage or three phases.",
                    power=Amount("power", load.power_w),
                    limit=Amount("power", limit),
                ),
                "loads",
            )
    count = max(least, 1)
    while True:
        found = _fill(loads, count, limit)
        if found is not None:
            return found
        count += 1


def _fill(loads: Sequence[Load], count: int, limit: float) -> tuple[Circuit, ...] | None:
    circuits: list[list[Load]] = [[] for _ in range(count)]
    for load in sorted(loads, key=lambda load: (load.use != VITAL, -load.power_w)):
        emptiest = min(circuits, key=lambda held: (load.use == VITAL and bool(held), sum(one.power_w for one in held)))
        if sum(one.power_w for one in emptiest) + load.power_w > limit:
            return None
        emptiest.append(load)
    return tuple(Circuit(tuple(held)) for held in circuits if held)


def one_trip_leaves_flow(circuits: Sequence[Circuit]) -> bool:
    """Whether at least two circuits carry flow pumps."""
    return sum(circuit.carries_flow for circuit in circuits) >= 2


def energy_kwh_day(loads: Sequence[Load]) -> float:
    """Energy a day, Σ P·h."""
    return (
        sum(
            not_negative("power", load.power_w) * within("hours a day", load.hours_day, 0.0, 24.0, "hours")
            for load in loads
        )
        / 1000
    )


def standby_wh(*, power_w: float, hours: float, efficiency: float, usable_share: float) -> float:
    """Nominal battery that carries a load: P·h over the inverter's efficiency and the usable share."""
    used = not_negative("power", power_w) * not_negative("hours", hours)
    return (
        used
        / within("efficiency", efficiency, 0.3, 1.0)
        / within("usable share of the battery", usable_share, 0.1, 1.0)
    )


def standby_h(*, battery_wh: float, power_w: float, efficiency: float, usable_share: float) -> float:
    """Hours a battery carries a load: inverse of ``standby_wh``."""
    usable = not_negative("battery", battery_wh) * within("usable share of the battery", usable_share, 0.1, 1.0)
    return usable * within("efficiency", efficiency, 0.3, 1.0) / positive("power", power_w)
