"""Chiller: size, tons, flow, condenser heat, energy, pull-down, and how often its compressor starts.

Energy balance; the heat capacity is that of the water that truly mixes past the sensor within a cycle.
"""

from dataclasses import dataclass
from math import inf, isinf

from servicedesk.science.guard import ScienceError, not_negative, positive, share, within
from servicedesk.science.quantities import BTU_H_W, TON_W

SEAWATER_J_L_K = 4092.0  # ρ·c of seawater of 35 at 25 °C, TEOS-10
MOST_STARTS_PER_H = 6.0  # common practice for a small compressor
MARGIN = 1.25  # common practice 1.2 to 1.5


@dataclass(frozen=True, slots=True)
class Cycle:
    """A thermostat's cycle at a steady load; ``starts_per_h`` is 0 when the chiller never stops or never starts."""

    run_s: float
    rest_s: float
    run_share: float

    @property
    def starts_per_h(self) -> float:
        whole_s = self.run_s + self.rest_s
        return 0.0 if isinf(whole_s) else 3600 / whole_s


def size_w(worst_gain_w: float, margin: float = MARGIN) -> float:
    """Capacity to buy, at the real condensing conditions; nothing when the water never gains."""
    within("margin", margin, 1, 3)
    return max(worst_gain_w, 0.0) * margin


def tons(power_w: float) -> float:
    """Refrigeration tons of 12 000 Btu/h. NIST SP 811."""
    return not_negative("power", power_w) / TON_W


def btu_h(power_w: float) -> float:
    return not_negative("power", power_w) / BTU_H_W


def cycle(
    *, chiller_w: float, load_w: float, volume_l: float, differential_k: float, capacity_j_l_k: float = SEAWATER_J_L_K
) -> Cycle:
    """Run and rest of a chiller with a thermostat of a differential, at a steady load.

    >>> whole = cycle(chiller_w=4000, load_w=1800, volume_l=5000, differential_k=0.6)
    >>> round((whole.run_s + whole.rest_s) / 60)
    207
    """
    positive("chiller capacity", chiller_w)
    not_negative("load", load_w)
    stored_j = heat_between_j(volume_l, differential_k, capacity_j_l_k)
    run_s = stored_j / (chiller_w - load_w) if load_w < chiller_w else inf
    rest_s = stored_j / load_w if load_w > 0 else inf
    return Cycle(run_s, rest_s, min(load_w / chiller_w, 1.0))


def heat_between_j(volume_l: float, differential_k: float, capacity_j_l_k: float = SEAWATER_J_L_K) -> float:
    """Heat between the two ends of the thermostat's differential."""
    return (
        positive("volume", volume_l)
        * positive("differential", differential_k)
        * positive("heat capacity", capacity_j_l_k)
    )


def starts_per_hour(
    power_w: float, volume_l: float, differential_k: float, capacity_j_l_k: float = SEAWATER_J_L_K
) -> float:
    """The most starts an hour of a chiller, at half load: Q/(4·C·Δ)."""
    return 3600 * not_negative("power", power_w) / (4 * heat_between_j(volume_l, differential_k, capacity_j_l_k))


def least_differential_k(
    power_w: float,
    volume_l: float,
    *,
    most_starts_per_h: float = MOST_STARTS_PER_H,
    capacity_j_l_k: float = SEAWATER_J_L_K,
) -> float:
    """The least differential that keeps the starts within the limit at any load; inverse of ``starts_per_hour``."""
    return starts_per_hour(power_w, volume_l, 1.0, capacity_j_l_k) / positive("starts an hour", most_starts_per_h)


def least_volume_l(power_w: float, differential_k: float, *, most_starts_per_h: float = MOST_STARTS_PER_H) -> float:
    """The least mixed volume that keeps the starts within the limit at any load."""
    return starts_per_hour(power_w, 1.0, differential_k) / positive("starts an hour", most_starts_per_h)


def shortest_run_min(
    power_w: float, volume_l: float, differential_k: float, capacity_j_l_k: float = SEAWATER_J_L_K
) -> float:
    """Run time at next to no load: the compressor's shortest."""
    return heat_between_j(volume_l, differential_k, capacity_j_l_k) / positive("power", power_w) / 60


def flow_l_h(power_w: float, drop_k: float, capacity_j_l_k: float = SEAWATER_J_L_K) -> float:
    """Flow that carries a heat with a drop of temperature through the machine."""
    return not_negative("power", power_w) * 3600 / (positive("temperature drop", drop_k) * capacity_j_l_k)


def condenser_w(power_w: float, cop: float) -> float:
    """Heat rejected at the condenser; in the room it returns as load. COP 1 to 8."""
    return not_negative("power", power_w) * (1 + 1 / within("COP", cop, 1, 8))


def energy_kwh(heat_kwh: float, cop: float) -> float:
    """Electricity to move a heat."""
    return not_negative("heat", heat_kwh) / within("COP", cop, 1, 8)


def derated_w(nameplate_w: float, derating: float) -> float:
    """Capacity left at the real condensing air: nameplate × share."""
    return not_negative("capacity", nameplate_w) * share("share of the nameplate", derating)


def pull_down_h(
    *,
    volume_l: float,
    from_c: float,
    to_c: float,
    chiller_w: float,
    gain_w: float = 0.0,
    capacity_j_l_k: float = SEAWATER_J_L_K,
) -> float:
    """Hours to cool the water against a steady gain; refuses a chiller that cannot."""
    if to_c > from_c:
        raise ScienceError("Cooling ends below where it starts.", "start_c")
    spare_w = positive("chiller capacity", chiller_w) - gain_w
    if spare_w <= 0:
        raise ScienceError("The chiller is no larger than the gain: it never gets there.", "chiller_w")
    return positive("volume", volume_l) * capacity_j_l_k * (from_c - to_c) / spare_w / 3600
