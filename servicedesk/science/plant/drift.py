"""How the water's temperature moves when heat goes in or out: dT/dt = ΣQ(T, t) / C, integrated."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from servicedesk.science.guard import ScienceError, positive, within

NetHeat = Callable[[float, float], float]
"""Net watts into the water at (hours from the start, water temperature °C)."""

COLDEST_C, HOTTEST_C = 1.0, 45.0  # far beyond what any animal stands; the drift is not followed further


@dataclass(frozen=True, slots=True)
class Drift:
    """Temperature over time; ``limit_h`` None when the limit is not met within the hours looked at."""

    hours: tuple[float, ...]
    temp_c: tuple[float, ...]
    limit_h: float | None

    @property
    def last_c(self) -> float:
        return self.temp_c[-1]


def drift(
    net_w: NetHeat, *, capacity_j_k: float, start_c: float, hours: float, limit_c: float | None = None, points: int = 97
) -> Drift:
    """Integrate the energy balance over ``hours``; the time at which ``limit_c`` is met, if it is.

    Stops at 1 °C and at 45 °C: beyond them the formulas and the animals have ended.
    """
    import numpy as np
    from scipy.integrate import solve_ivp

    positive("heat capacity", capacity_j_k)
    positive("hours", hours)
    within("start temperature", start_c, COLDEST_C, HOTTEST_C, "°C")

    def slope(t_h: float, state: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        return [3600 * net_w(t_h, min(max(float(state[0]), 0.0), 55.0)) / capacity_j_k]

    solved = solve_ivp(
        slope,
        (0.0, hours),
        [start_c],
        events=[*_ends(), _meets(limit_c)],
        t_eval=np.linspace(0.0, hours, points),
        max_step=max(hours / 24, 0.25),
        rtol=1e-6,
        atol=1e-5,
    )
    if not solved.success:
        raise ScienceError("The temperature runs off beyond what the formulas hold for.")
    times_met = [0.0] if start_c == limit_c else solved.t_events[2]
    hours_seen, temps_seen = list(map(float, solved.t)), list(map(float, solved.y[0]))
    for met, states in zip(solved.t_events[:2], solved.y_events[:2], strict=True):
        if len(met):  # where it was stopped, between two points
            hours_seen.append(float(met[0]))
            temps_seen.append(float(states[0][0]))
    return Drift(
        tuple(hours_seen),
        tuple(temps_seen),
        float(times_met[0]) if limit_c is not None and len(times_met) else None,
    )


def _ends() -> list[Callable[[float, Any], float]]:
    """Events that end the integration at either end of what is followed."""
    ends = [_meets(COLDEST_C), _meets(HOTTEST_C)]
    for event in ends:
        event.terminal = True  # type: ignore[attr-defined]
    return ends


def _meets(limit_c: float | None) -> Callable[[float, Any], float]:
    return lambda _t, state: 1.0 if limit_c is None else float(state[0]) - limit_c


def settles_c(net_w: Callable[[float], float], low_c: float = 0.0, high_c: float = 60.0) -> float | None:
    """Temperature at which nothing moves any more; None when it lies outside the range."""
    from scipy.optimize import brentq

    if net_w(low_c) <= 0 or net_w(high_c) >= 0:
        return None
    return float(brentq(net_w, low_c, high_c, xtol=1e-4))
