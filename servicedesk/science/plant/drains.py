"""Overflows and drains: weirs, standpipes, siphons, stacks and near-level pipes.

The weirs are correlations for wider and deeper flow than an aquarium's: below 30 mm of head they are an
indication (surface tension), to be proved with the pump running. Sources: Francis, Kindsvater & Carter 1957,
Wyly & Eaton 1961, Manning, hydrostatics.
"""

from math import acos, pi, sin, sqrt

from servicedesk.science.constants import G_M_S2, L_H_PER_M3_S
from servicedesk.science.guard import ScienceError, not_negative, positive, share, within
from servicedesk.science.plant.pipes import bore_area_m2, pipe_loss
from servicedesk.science.quantities import GAL_US_L, IN_M

GPM_L_H = GAL_US_L * 60
WEIR_EXACT_FROM_M = 0.03
STACK_FILL = 7 / 24
NEAR_LEVEL_FILL = 0.5
MANNING_PLASTIC = 0.010
ORIFICE = 0.6
STANDPIPE_WEIR = 1.84
SIPHON_NOISE_M_S = 2.5
HEAD_LIMIT_M = 0.75


def weir_full_width_l_h(*, head_m: float, crest_m: float, width_m: float, open_share: float = 1.0) -> float:
    """Flow over a weir as wide as its channel (Rehbock), over the open part of a toothed comb.

    ``crest_m``: height of the crest above the channel's floor. Head 0 to 0.75 m and no more than the crest's height.
    """
    from fluids.open_flow import Q_weir_rectangular_full_Rehbock

    head = within("head", head_m, 0.0, min(HEAD_LIMIT_M, positive("height of the crest", crest_m)), "head")
    if head == 0:
        return 0.0
    full = Q_weir_rectangular_full_Rehbock(head, crest_m, positive("width", width_m))
    return float(full) * L_H_PER_M3_S * share("open share of the comb", open_share)


def weir_contracted_l_h(*, head_m: float, crest_m: float, width_m: float) -> float:
    """Flow through a notch much narrower than the wall it is cut in (Kindsvater & Carter).

    Holds for a notch of at most a fifth of the wall, wider than 0.15 m, head below twice the crest's height.
    """
    from fluids.open_flow import Q_weir_rectangular_Kindsvater_Carter

    head = within("head", head_m, 0.0, min(HEAD_LIMIT_M, 2 * positive("height of the crest", crest_m)), "head")
    width = within("width", width_m, 0.15, 20.0, "size")
    return float(Q_weir_rectangular_Kindsvater_Carter(head, crest_m, width)) * L_H_PER_M3_S if head else 0.0


def weir_francis_l_h(*, head_m: float, width_m: float, contractions: int = 2) -> float:
    """Flow through a sharp notch with 0, 1 or 2 free sides, 1.84·(b − 0.1·n·h)·h^1.5 (Francis); head below b/3."""
    if contractions not in (0, 1, 2):
        raise ScienceError("A notch has 0, 1 or 2 contracted sides.", "contractions")
    head = within("head", head_m, 0.0, positive("width", width_m) / 3, "head")
    return float(1.84 * (width_m - 0.1 * contractions * head) * head**1.5 * L_H_PER_M3_S)


def weir_head_m(*, flow_l_h: float, crest_m: float, width_m: float, open_share: float = 1.0) -> float:
    """Head that a flow needs over a full-width weir or comb: inverse of ``weir_full_width_l_h``."""
    from scipy.optimize import brentq

    def spare(head: float) -> float:
        passes = weir_full_width_l_h(head_m=head, crest_m=crest_m, width_m=width_m, open_share=open_share)
        return passes - flow_l_h

    if not_negative("flow", flow_l_h) == 0:
        return 0.0
    most = min(HEAD_LIMIT_M, crest_m)
    if spare(most) < 0:
        raise ScienceError("The weir is far too short for this flow.", "weir_width_m")
    return float(brentq(spare, 0.0, most, xtol=1e-9)) if spare(1e-9) < 0 else 0.0


def notch_head_m(*, flow_l_h: float, width_m: float) -> float:
    """Head that a flow needs through a notch in a wider wall: inverse of ``weir_francis_l_h`` with both sides free."""
    from scipy.optimize import brentq

    if not_negative("flow", flow_l_h) == 0:
        return 0.0
    most = positive("width", width_m) / 3
    if weir_francis_l_h(head_m=most, width_m=width_m) < flow_l_h:
        raise ScienceError("The notch is far too narrow for this flow.", "weir_width_m")
    return float(brentq(lambda head: weir_francis_l_h(head_m=head, width_m=width_m) - flow_l_h, 0.0, most, xtol=1e-9))


def contracted_head_m(*, flow_l_h: float, crest_m: float, width_m: float) -> float:
    """Head that a flow needs through a narrow notch: inverse of ``weir_contracted_l_h``."""
    from scipy.optimize import brentq

    if not_negative("flow", flow_l_h) == 0:
        return 0.0

    def spare(head: float) -> float:
        return weir_contracted_l_h(head_m=head, crest_m=crest_m, width_m=width_m) - flow_l_h

    most = min(HEAD_LIMIT_M, 2 * crest_m)
    if spare(most) < 0:
        raise ScienceError("The notch is far too narrow for this flow.", "weir_width_m")
    return float(brentq(spare, 0.0, most, xtol=1e-9))


def standpipe_l_h(*, bore_mm: float, head_m: float) -> float:
    """Open standpipe with its rim ``head_m`` under the surface: weir round the rim or orifice, the smaller governs."""
    bore_m = positive("bore", bore_mm) / 1000
    head = within("head", head_m, 0.0, 2.0, "head")
    over_rim = STANDPIPE_WEIR * pi * bore_m * head**1.5
    through = ORIFICE * bore_area_m2(bore_mm) * sqrt(2 * G_M_S2 * head)
    return float(min(over_rim, through) * L_H_PER_M3_S)


def siphon_l_h(*, bore_mm: float, drop_m: float, length_m: float, k: float, viscosity_m2_s: float) -> float:
    """A pipe running full from surface to surface or open end, ``drop_m`` lower: losses and exit use up the drop.

    ``k`` holds the fittings and the entry; one velocity head for the exit is added here.
    """
    from scipy.optimize import brentq

    drop = within("drop", positive("drop", drop_m), 0.0, 30.0, "head")

    def spare_m(flow: float) -> float:
        loss = pipe_loss(flow_l_h=flow, bore_mm=bore_mm, length_m=length_m, k=k + 1.0, viscosity_m2_s=viscosity_m2_s)
        return drop - loss.total_m

    free_fall = bore_area_m2(bore_mm) * sqrt(2 * G_M_S2 * drop) * L_H_PER_M3_S
    return float(brentq(spare_m, free_fall * 1e-6, free_fall * 1.001, xtol=1e-6))


def stack_l_h(*, bore_mm: float, fill_share: float = STACK_FILL) -> float:
    """Capacity of a vertical stack with air in its core, 27.8·r^(5/3)·d^(8/3) gal/min; r up to 7/24 (Wyly & Eaton).

    >>> round(stack_l_h(bore_mm=76.2))
    15163
    """
    r = within("share of the pipe filled", fill_share, 0.0, STACK_FILL + 1e-9)
    d_in = within("bore", bore_mm, 15.0, 400.0, "bore") / 1000 / IN_M
    return float(27.8 * r ** (5 / 3) * d_in ** (8 / 3)) * GPM_L_H


def manning_velocity_m_s(*, hydraulic_radius_m: float, slope: float, n: float = MANNING_PLASTIC) -> float:
    """Mean velocity of uniform open flow, R^(2/3)·√S/n."""
    from fluids.open_flow import V_Manning

    within("roughness", n, 0.005, 0.2)
    return float(V_Manning(positive("hydraulic radius", hydraulic_radius_m), within("slope", slope, 0.0, 1.0), n))


def near_level_l_h(
    *, bore_mm: float, slope: float, fill_share: float = NEAR_LEVEL_FILL, n: float = MANNING_PLASTIC
) -> float:
    """A sloping pipe partly full (Manning); ``fill_share`` depth over bore, common practice at most a half."""
    depth = within("share of the pipe filled", fill_share, 0.01, 1.0)
    bore_m = positive("bore", bore_mm) / 1000
    angle = 2 * acos(1 - 2 * depth)
    area = bore_m**2 / 8 * (angle - sin(angle))
    radius = area / (bore_m * angle / 2)
    return manning_velocity_m_s(hydraulic_radius_m=radius, slope=slope, n=n) * area * L_H_PER_M3_S
