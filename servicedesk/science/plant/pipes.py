"""Flow in full pipes: velocity, friction, head loss and the water they hold.

Darcy–Weisbach with the Colebrook friction factor (package fluids) and one loss coefficient K per fitting;
Hazen–Williams only as a cross-check. Sources: Colebrook 1939, Crane 410, Munson.
"""

from dataclasses import dataclass
from math import pi, sqrt

from servicedesk.science.constants import G_M_S2, L_H_PER_M3_S
from servicedesk.science.guard import ScienceError, not_negative, positive, within

PLASTIC_ROUGHNESS_M = 1.5e-6  # drawn plastic pipe
LAMINAR_LIMIT, TURBULENT_FROM = 2040.0, 4000.0
HAZEN_WILLIAMS_PLASTIC = 150.0

# Loss coefficients on the velocity in the pipe: glued plastic fittings as installed, common practice
# within the published spread; entry and exit are exact enough from theory.
FITTINGS: dict[str, float] = {
    "elbow_90": 0.9,
    "sweep_90": 0.3,
    "elbow_45": 0.4,
    "tee_run": 0.5,
    "tee_branch": 1.5,
    "ball_valve": 0.05,
    "gate_valve": 0.2,
    "union": 0.08,
    "swing_check": 2.5,
    "entry": 0.5,
    "exit": 1.0,
}


@dataclass(frozen=True, slots=True)
class PipeLoss:
    """What a flow loses in one pipe of one bore. Heads in m of the water flowing."""

    velocity_m_s: float
    reynolds: float
    friction_factor: float
    fittings_k: float
    friction_m: float
    fittings_m: float

    @property
    def total_m(self) -> float:
        return self.friction_m + self.fittings_m

    @property
    def between_regimes(self) -> bool:
        """Between laminar and turbulent flow the friction is uncertain by half."""
        return LAMINAR_LIMIT < self.reynolds < TURBULENT_FROM


def bore_area_m2(bore_mm: float) -> float:
    """Cross-section of the true bore."""
    return pi / 4 * (positive("bore", bore_mm) / 1000) ** 2


def velocity_m_s(flow_l_h: float, bore_mm: float) -> float:
    """Mean velocity, m/s.

    >>> round(velocity_m_s(10000, 50), 3)
    1.415
    """
    return not_negative("flow", flow_l_h) / L_H_PER_M3_S / bore_area_m2(bore_mm)


def flow_l_h(velocity: float, bore_mm: float) -> float:
    """The flow at a mean velocity in m/s: inverse of ``velocity_m_s``."""
    return not_negative("velocity", velocity) * bore_area_m2(bore_mm) * L_H_PER_M3_S


def bore_for_velocity_mm(flow: float, velocity: float) -> float:
    """The true bore that carries ``flow`` (L/h) at ``velocity`` (m/s)."""
    return sqrt(not_negative("flow", flow) / L_H_PER_M3_S / positive("velocity", velocity) * 4 / pi) * 1000


def reynolds(*, velocity: float, bore_mm: float, viscosity_m2_s: float) -> float:
    """Reynolds number, no unit."""
    return not_negative("velocity", velocity) * positive("bore", bore_mm) / 1000 / positive("viscosity", viscosity_m2_s)


def friction_factor(reynolds_number: float, relative_roughness: float) -> float:
    """Darcy friction factor: 64/Re up to Re 2040, then Colebrook. Re to 1e8, roughness 0 to 0.05 of the bore.

    >>> round(friction_factor(1e5, 1e-4), 6)
    0.018514
    """
    from fluids.friction import friction_factor as colebrook

    number = within("Reynolds number", positive("Reynolds number", reynolds_number), 0.0, 1e8)
    return float(colebrook(number, within("relative roughness", relative_roughness, 0.0, 0.05)))


def fittings_k(counts: dict[str, float]) -> float:
    """Sum of the loss coefficients of counted fittings; raises for an unknown kind."""
    unknown = sorted(set(counts) - set(FITTINGS))
    if unknown:
        raise ScienceError(f"No loss is known for {', '.join(unknown)}; known: {', '.join(FITTINGS)}.")
    return sum(FITTINGS[kind] * not_negative(kind.replace("_", " "), count) for kind, count in counts.items())


def pipe_loss(
    *,
    flow_l_h: float,
    bore_mm: float,
    length_m: float,
    k: float,
    viscosity_m2_s: float,
    roughness_m: float = PLASTIC_ROUGHNESS_M,
) -> PipeLoss:
    """Head lost by a flow in a full pipe: h = (f·L/D + ΣK)·v²/2g."""
    bore_m = positive("bore", bore_mm) / 1000
    not_negative("length", length_m)
    not_negative("loss coefficient", k)
    velocity = velocity_m_s(flow_l_h, bore_mm)
    number = reynolds(velocity=velocity, bore_mm=bore_mm, viscosity_m2_s=viscosity_m2_s)
    factor = friction_factor(number, roughness_m / bore_m) if number > 0 else 0.0
    velocity_head = velocity**2 / (2 * G_M_S2)
    return PipeLoss(velocity, number, factor, k, factor * length_m / bore_m * velocity_head, k * velocity_head)


def hazen_williams_m(
    *, flow_l_h: float, bore_mm: float, length_m: float, coefficient: float = HAZEN_WILLIAMS_PLASTIC
) -> float:
    """Friction head of the straight pipe by Hazen–Williams: a cross-check for water, 0.3 to 3 m/s."""
    flow_m3_s = not_negative("flow", flow_l_h) / L_H_PER_M3_S
    bore_m = positive("bore", bore_mm) / 1000
    c = within("coefficient", coefficient, 60.0, 160.0)
    return float(10.67 * not_negative("length", length_m) * flow_m3_s**1.852 / (c**1.852 * bore_m**4.8704))


def pressure_kpa(head_m: float, density_kg_l: float) -> float:
    """Pressure of a head of water."""
    return positive("density", density_kg_l) * G_M_S2 * head_m


def plumbing_volume_l(runs: tuple[tuple[float, float], ...]) -> float:
    """Water held by runs of (bore in mm, length in m).

    >>> round(plumbing_volume_l(((50.0, 10.0),)), 2)
    19.63
    """
    return sum(bore_area_m2(bore) * not_negative("length", length) * 1000 for bore, length in runs)
