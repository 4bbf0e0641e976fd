"""Pumps: the working point of a typed curve, turnover, the affinity laws and hydraulic power.

Sources: Munson (centrifugal pumps and system curves), continuity.
"""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from servicedesk.science.constants import G_M_S2
from servicedesk.science.guard import OutOfRange, ScienceError, not_negative, positive, within
from servicedesk.science.words import Amount, say

System = Callable[[float], float]
"""The head in m that the plumbing asks for at a flow in L/h."""


@dataclass(frozen=True, slots=True)
class PumpCurve:
    """A pump's curve: flows in L/h rising, heads in m falling; straight lines between the typed points."""

    flows_l_h: tuple[float, ...]
    heads_m: tuple[float, ...]

    def head_m(self, flow_l_h: float) -> float:
        """Head at a flow within the typed points; at less than the first flow the first head."""
        flow = within("flow", flow_l_h, 0.0, self.flows_l_h[-1], "flow")
        at = bisect_right(self.flows_l_h, flow)
        if at == 0 or at == len(self.flows_l_h):
            return self.heads_m[min(at, len(self.heads_m) - 1)]
        low, high = self.flows_l_h[at - 1], self.flows_l_h[at]
        part = (flow - low) / (high - low)
        return self.heads_m[at - 1] + part * (self.heads_m[at] - self.heads_m[at - 1])

    def at_speed(self, speed_share: float) -> "PumpCurve":
        """The curve at a share of the speed: flow ∝ n, head ∝ n². Share 0.2 to 1.2."""
        share = within("speed of the pump", speed_share, 0.2, 1.2)
        return PumpCurve(tuple(q * share for q in self.flows_l_h), tuple(h * share**2 for h in self.heads_m))


@dataclass(frozen=True, slots=True)
class WorkingPoint:
    flow_l_h: float
    head_m: float


def pump_curve(points: Sequence[tuple[float, float]]) -> PumpCurve:
    """A curve from (flow, head) points in any order; refuses fewer than two, or a head that rises with flow."""
    rows = sorted(points)
    if len(rows) < 2:
        raise ScienceError("A pump curve needs at least two points of flow and head.", "curve")
    for (low, head), (high, next_head) in pairwise(rows):
        if low == high:
            raise ScienceError(say("The pump curve has two heads at {flow}.", flow=Amount("flow", low)), "curve")
        if next_head > head:
            raise ScienceError(
                say(
                    "The head rises from {low} to {high} while the flow rises to {flow}: a pump's head falls as its "
                    "flow rises. Is a line typed the wrong way round?",
                    low=Amount("head", head),
                    high=Amount("head", next_head),
                    flow=Amount("flow", high),
                ),
                "curve",
            )
    for flow, head in rows:
        not_negative("flow", flow)
        not_negative("head", head)
    return PumpCurve(tuple(flow for flow, _ in rows), tuple(head for _, head in rows))


def working_point(curve: PumpCurve, system: System) -> WorkingPoint:
    """Where the pump's head equals what the system asks for.

    Refuses when the pump cannot lift so high, and when its typed curve ends before the two meet.
    """
    from scipy.optimize import brentq

    first, last = curve.flows_l_h[0], curve.flows_l_h[-1]
    if curve.head_m(first) <= system(first):
        raise OutOfRange(
            say(
                "The pump gives no flow: at {flow} it holds {held}, the plumbing asks for {asked}.",
                flow=Amount("flow", first),
                held=Amount("head", curve.head_m(first)),
                asked=Amount("head", system(first)),
            ),
            "curve",
        )
    if curve.head_m(last) > system(last):
        raise OutOfRange(
            say(
                "The pump runs beyond the last typed point ({flow} at {head}): type the curve further, "
                "down to no head.",
                flow=Amount("flow", last),
                head=Amount("head", curve.heads_m[-1]),
            ),
            "curve",
        )
    flow = float(brentq(lambda q: curve.head_m(q) - system(q), first, last, xtol=1e-6))
    return WorkingPoint(flow, curve.head_m(flow))


def speed_for_flow(curve: PumpCurve, system: System, flow_l_h: float) -> float:
    """The share of full speed at which the pump gives just this flow; refuses outside 0.2 to 1.2."""
    from scipy.optimize import brentq

    asked = system(positive("wanted flow", flow_l_h))

    def spare_m(share: float) -> float:
        scaled = curve.at_speed(share)
        beyond = flow_l_h > scaled.flows_l_h[-1]
        return (0.0 if beyond else scaled.head_m(flow_l_h)) - asked

    if not spare_m(0.2) < 0 < spare_m(1.2):
        raise OutOfRange(
            say("No speed from 20 to 120 % gives {flow} here.", flow=Amount("flow", flow_l_h)), "wanted_l_h"
        )
    found = float(brentq(spare_m, 0.2, 1.2, xtol=1e-9))
    if abs(spare_m(found)) > 1e-4 * max(asked, 1.0):  # the jump where the typed curve ends, not a meeting
        raise OutOfRange(
            say(
                "At the speed for {flow} the pump runs beyond its last typed point: type the curve further, down to no "
                "head.",
                flow=Amount("flow", flow_l_h),
            ),
            "curve",
        )
    return found


def turnover_per_h(flow_l_h: float, volume_l: float) -> float:
    """How often an hour the flow replaces the volume."""
    return not_negative("flow", flow_l_h) / positive("volume", volume_l)


def flow_for_turnover_l_h(per_h: float, volume_l: float) -> float:
    """The flow of a wanted turnover: inverse of ``turnover_per_h``."""
    return not_negative("turnover", per_h) * positive("volume", volume_l)


def affinity(*, flow_l_h: float, head_m: float, power_w: float, speed_share: float) -> tuple[float, float, float]:
    """Flow, head and power at a share of the speed: ∝ n, n², n³."""
    n = within("speed of the pump", speed_share, 0.2, 1.2)
    return flow_l_h * n, head_m * n**2, power_w * n**3


def hydraulic_power_w(*, flow_l_h: float, head_m: float, density_kg_l: float) -> float:
    """Power given to the water, ρ·g·Q·H; over the electrical input it is the wire-to-water efficiency."""
    return positive("density", density_kg_l) * G_M_S2 * flow_l_h / 3600 * head_m
