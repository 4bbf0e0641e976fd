"""How the water's temperature moves when heat goes in or out: dT/dt = ΣQ(T, t) / C, integrated."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from servicedesk.science.guard import ScienceError, positive, within

NetHeat = Callable[[float, float], float]
"""Net watts into the water at (hours from the start, water temperature °C)."""

COLDEST_C, HOTTEST_C = 1.0, 45.0  # far beyond what any animal stands; the drift is not followed further


@dataclass(frozen=True, slots=True)
class Drift:
    """Temperature over time; ``limit_h`` and ``met_c``: the first limit met and when, None when none is in time."""

    hours: tuple[float, ...]
    temp_c: tuple[float, ...]
    limit_h: float | None
    met_c: float | None = None

    @property
    def last_c(self) -> float:
        return self.temp_c[-1]


def drift(
    net_w: NetHeat,
    *,
    capacity_j_k: float,
    start_c: float,
    hours: float,
    limit_c: float | Sequence[float] | None = None,
    points: int = 97,
) -> Drift:
    """Integrate the energy balance over ``hours``; the time at which the first of ``limit_c`` is met, if one is.

    Stops at 1 °C and at 45 °C: beyond them the formulas and the animals have ended.
    """
    import numpy as np
    from scipy.integrate import solve_ivp

    positive("heat capacity", capacity_j_k)
    positive("hours", hours)
    within("start temperature", start_c, COLDEST_C, HOTTEST_C, "temperature")

    limits = () if limit_c is None else (limit_c,) if isinstance(limit_c, int | float) else tuple(limit_c)

    def slope(t_h: float, state: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        return [3600 * net_w(t_h, min(max(float(state[0]), 0.0), 55.0)) / capacity_j_k]

    solved = solve_ivp(
        slope,
        (0.0, hours),
        [start_c],
        events=[*_ends(), *(_meets(limit) for limit in limits)],
        t_eval=np.linspace(0.0, hours, points),
        max_step=max(hours / 24, 0.25),
        method="Radau",  # a small, wide or wind-swept vessel is stiff
        rtol=1e-6,
        atol=1e-5,
    )
    if not solved.success:
        raise ScienceError("The temperature runs off beyond what the formulas hold for.")
    met = [
        (0.0 if start_c == limit else float(times[0]), limit)
        for limit, times in zip(limits, solved.t_events[2:], strict=True)
        if start_c == limit or len(times)
    ]
    first_h, first_c = min(met, default=(None, None))
    hours_seen, temps_seen = list(map(float, solved.t)), list(map(float, solved.y[0]))
    for stops, states in zip(solved.t_events[:2], solved.y_events[:2], strict=True):
        if len(stops):  # where it was stopped, between two points
            hours_seen.append(float(stops[0]))
            temps_seen.append(float(states[0][0]))
    return Drift(tuple(hours_seen), tuple(temps_seen), first_h, first_c)


def _ends() -> list[Callable[[float, Any], float]]:
    """Events that end the integration at either end of what is followed."""
    ends = [_meets(COLDEST_C), _meets(HOTTEST_C)]
    for event in ends:
        event.terminal = True  # type: ignore[attr-defined]
    return ends


def _meets(limit_c: float) -> Callable[[float, Any], float]:
    return lambda _t, state: float(state[0]) - limit_c


def settles_c(net_w: Callable[[float], float], low_c: float = 0.0, high_c: float = 60.0) -> float | None:
    """Temperature at which nothing moves any more; None when it lies outside the range."""
    from scipy.optimize import brentq

    if net_w(low_c) <= 0 or net_w(high_c) >= 0:
        return None
    return float(brentq(net_w, low_c, high_c, xtol=1e-4))
