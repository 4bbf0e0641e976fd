"""Water-to-water heat exchanger: effectiveness and transfer units, log-mean difference, flows and valve.

Kays & London; Incropera ch. 11. "coil": a coil in stirred water, whose outside does not change along it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isclose, log, sqrt

from servicedesk.science.guard import OutOfRange, ScienceError, positive, share, within
from servicedesk.science.quantities import GAL_US_L, PSI_KPA
from servicedesk.science.words import Amount, say

CHILLED_J_L_K = {"water": 4190.0, "glycol20": 3980.0, "glycol30": 3830.0, "glycol40": 3670.0}  # ρ·c, common values
LARGEST_NTU = 20.0
ENDLESS_NTU = 1000.0  # beyond it nothing changes: all the heat there is has passed


def counterflow_effectiveness(ntu: float, capacity_ratio: float) -> float:
    """Share of the greatest possible heat that a counterflow exchanger moves. Kays & London.

    >>> round(counterflow_effectiveness(5, 0.7), 10)
    0.9206703686
    """
    within("number of transfer units", ntu, 0, 1000)
    share("ratio of heat capacities", capacity_ratio)
    if isclose(capacity_ratio, 1.0, rel_tol=1e-9):
        return ntu / (1 + ntu)
    gone = exp(-ntu * (1 - capacity_ratio))
    return (1 - gone) / (1 - capacity_ratio * gone)


def coil_effectiveness(ntu: float) -> float:
    """A coil in stirred water: the water outside has the same temperature all along. Kays & London, Cr = 0."""
    return 1 - exp(-within("number of transfer units", ntu, 0, 1000))


def counterflow_ntu(effectiveness: float, capacity_ratio: float) -> float:
    """The inverse of ``counterflow_effectiveness``; refuses what no exchanger can do."""
    within("effectiveness", effectiveness, 0, 0.9999)
    share("ratio of heat capacities", capacity_ratio)
    if isclose(capacity_ratio, 1.0, rel_tol=1e-9):
        return effectiveness / (1 - effectiveness)
    return log((1 - effectiveness * capacity_ratio) / (1 - effectiveness)) / (1 - capacity_ratio)


def crossflow_ntu(effectiveness: float, capacity_ratio: float) -> float:
    """Transfer units of a cross-flow exchanger, both sides unmixed; by the library ht."""
    import ht

    within("effectiveness", effectiveness, 0.001, 0.999)
    share("ratio of heat capacities", capacity_ratio)
    ntu: float = ht.NTU_from_effectiveness(  # type: ignore[no-untyped-call]
        effectiveness, capacity_ratio, subtype="crossflow"
    )
    return ntu


def log_mean_k(*, hot_in_c: float, hot_out_c: float, cold_in_c: float, cold_out_c: float) -> float:
    """Log-mean temperature difference in counterflow; refuses temperatures that cross. Incropera."""
    one, other = hot_in_c - cold_out_c, hot_out_c - cold_in_c
    if one <= 0 or other <= 0:
        raise OutOfRange("The temperatures cross: the cold side cannot leave warmer than the hot side enters.")
    return one if isclose(one, other, rel_tol=1e-9) else (one - other) / log(one / other)


@dataclass(frozen=True, slots=True)
class Duty:
    """What an exchanger does at given flows; temperatures out of the tank side and the chilled side."""

    heat_w: float
    effectiveness: float
    ntu: float
    capacity_ratio: float
    tank_out_c: float
    chilled_out_c: float
    log_mean_k: float


def duty(
    *,
    ua_w_k: float,
    tank_w_k: float,
    chilled_w_k: float,
    tank_c: float,
    chilled_c: float,
    coil: bool = False,
) -> Duty:
    """Heat moved by a conductance UA between two streams of heat capacity (W/K), tank warmer than supply.

    In counterflow, or with a coil in stirred tank water (then ``tank_w_k`` only tells the water's drop).
    """
    for name, value in ("conductance of the exchanger", ua_w_k), ("tank flow", tank_w_k), ("chilled flow", chilled_w_k):
        positive(name, value)
    if chilled_c >= tank_c:
        raise ScienceError("The chilled water must be colder than the tank.", "supply_c")
    least, most = (chilled_w_k, chilled_w_k) if coil else sorted((tank_w_k, chilled_w_k))
    ratio = 0.0 if coil else least / most
    ntu = ua_w_k / least
    enough = min(ntu, ENDLESS_NTU)
    effect = coil_effectiveness(enough) if coil else counterflow_effectiveness(enough, ratio)
    heat_w = effect * least * (tank_c - chilled_c)
    return Duty(
        heat_w=heat_w,
        effectiveness=effect,
        ntu=ntu,
        capacity_ratio=ratio,
        tank_out_c=tank_c - heat_w / tank_w_k,
        chilled_out_c=chilled_c + heat_w / chilled_w_k,
        log_mean_k=heat_w / ua_w_k,
    )


def ua_for_duty(
    *, heat_w: float, tank_w_k: float, chilled_w_k: float, tank_c: float, chilled_c: float, coil: bool = False
) -> float:
    """Conductance that moves a heat at given flows; refuses a heat these flows cannot carry (NTU above 20)."""
    positive("heat", heat_w)
    least, most = (chilled_w_k, chilled_w_k) if coil else sorted((tank_w_k, chilled_w_k))
    if chilled_c >= tank_c:
        raise ScienceError("The chilled water must be colder than the tank.", "supply_c")
    effect = heat_w / (positive("flow", least) * (tank_c - chilled_c))
    if effect >= 0.9999:
        raise OutOfRange(
            say(
                "These flows carry {most} at the very most, less than {heat}: more flow or colder supply.",
                most=Amount("power", least * (tank_c - chilled_c)),
                heat=Amount("power", heat_w),
            ),
            "chilled_l_h" if coil or chilled_w_k <= tank_w_k else "tank_l_h",
        )
    ntu = -log(1 - effect) if coil else counterflow_ntu(effect, least / most)
    if ntu > LARGEST_NTU:
        raise OutOfRange("No exchanger comes that near to the supply temperature: more flow or colder supply.")
    return ntu * least


def chilled_flow_w_k(
    *,
    heat_w: float,
    ua_w_k: float,
    tank_w_k: float,
    tank_c: float,
    chilled_c: float,
    most_w_k: float,
    coil: bool = False,
) -> float | None:
    """Chilled flow (as W/K) that moves a heat through an exchanger; None when even the most does not."""
    from scipy.optimize import brentq

    def excess(flow_w_k: float) -> float:
        moved = duty(
            ua_w_k=ua_w_k, tank_w_k=tank_w_k, chilled_w_k=flow_w_k, tank_c=tank_c, chilled_c=chilled_c, coil=coil
        )
        return moved.heat_w - heat_w

    positive("heat", heat_w)
    spare_w = excess(positive("largest chilled flow", most_w_k))
    if spare_w <= 1e-9 * heat_w:
        return most_w_k if spare_w >= -1e-9 * heat_w else None
    trickle_w_k = min(max(most_w_k * 1e-6, ua_w_k / 900), most_w_k)
    if excess(trickle_w_k) >= 0:  # so slow that it leaves as warm as the tank
        return heat_w / (tank_c - chilled_c)
    return float(brentq(excess, trickle_w_k, most_w_k, xtol=1e-6))


def flow_w_k(flow_l_h: float, capacity_j_l_k: float) -> float:
    """Heat capacity rate of a flow."""
    return positive("flow", flow_l_h) * positive("heat capacity", capacity_j_l_k) / 3600


def valve_kv(flow_l_h: float, drop_kpa: float) -> float:
    """Kv of a valve that passes a flow of water at a pressure drop: m³/h at 1 bar."""
    return positive("flow", flow_l_h) / 1000 / sqrt(positive("pressure drop", drop_kpa) / 100)


def valve_cv(kv: float) -> float:
    """US gallons a minute at 1 psi: Cv = 1.156 Kv."""
    return positive("Kv", kv) * 1000 / 60 / GAL_US_L * sqrt(PSI_KPA / 100)


@dataclass(frozen=True, slots=True)
class Wetted:
    """A material that seawater may or may not touch. ``fit``: good, watch or never."""

    name: str
    fit: str
    why: str


MATERIALS: Sequence[Wetted] = (
    Wetted("Titanium, grade 1 or 2", "good", "does not corrode in seawater at these temperatures, gives off nothing"),
    Wetted("PVC, CPVC, ABS, polyethylene, polypropylene", "good", "inert; poor conductors, so for pipes and shells"),
    Wetted("EPDM and FKM seals", "good", "inert in seawater; check them yearly"),
    Wetted("Stainless steel 316", "watch", "pits in warm seawater; only where it is rinsed after use"),
    Wetted("Copper, cupronickel, brass, bronze", "never", "copper kills invertebrates and algae at a few µg/L"),
    Wetted("Aluminium, galvanised or plain steel", "never", "corrodes, gives off metal"),
)
