from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import pipes, viscosity
from tests.science.published import published

WATER_20_C = 1.004e-6


@pytest.mark.source("Colebrook equation; fluids manual")
def test_friction_factor_published() -> None:
    entry = published("colebrook")
    found = pipes.friction_factor(entry["inputs"]["Re"], entry["inputs"]["eD"])
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Hagen–Poiseuille: 64/Re in laminar flow (Munson ch. 8)")
def test_laminar_friction() -> None:
    assert pipes.friction_factor(1000, 1e-4) == pytest.approx(0.064)


@pytest.mark.source("Swamee & Jain 1976, explicit friction factor, within 3 % over this grid")
@pytest.mark.parametrize("number", [5e3, 2e4, 1e5, 1e6, 1e7])
@pytest.mark.parametrize("roughness", [1e-6, 1e-5, 1e-4, 1e-3])
def test_friction_against_swamee_jain(number: float, roughness: float) -> None:
    from math import log10

    explicit = 0.25 / log10(roughness / 3.7 + 5.74 / number**0.9) ** 2
    assert pipes.friction_factor(number, roughness) == pytest.approx(explicit, rel=0.03)


@given(st.floats(4e3, 1e8), st.floats(0, 0.05))
@pytest.mark.source("Colebrook equation put back into itself")
def test_friction_solves_colebrook(number: float, roughness: float) -> None:
    from math import log10, sqrt

    factor = pipes.friction_factor(number, roughness)
    right = -2 * log10(roughness / 3.7 + 2.51 / (number * sqrt(factor)))
    assert 1 / sqrt(factor) == pytest.approx(right, rel=1e-6)


@pytest.mark.source("ITTC 7.5-02-01-03 Fresh water and seawater properties (from memory)")
@pytest.mark.parametrize(
    ("salinity", "temp_c", "dynamic", "kinematic"),
    [
        (0, 20, 1.002e-3, 1.0034e-6),
        (0, 25, 0.890e-3, 0.8927e-6),
        (35, 15, 1.220e-3, 1.1892e-6),
        (35, 20, 1.077e-3, 1.0508e-6),
        (35, 25, 0.959e-3, 0.9375e-6),
    ],
)
def test_viscosity(salinity: float, temp_c: float, dynamic: float, kinematic: float) -> None:
    assert viscosity.dynamic_viscosity_pa_s(salinity, temp_c) == pytest.approx(dynamic, rel=0.005)
    assert viscosity.kinematic_viscosity_m2_s(salinity, temp_c) == pytest.approx(kinematic, rel=0.005)


@pytest.mark.source("CoolProp: viscosity of pure water")
@pytest.mark.parametrize("temp_c", [5, 15, 25, 35])
def test_fresh_viscosity_against_coolprop(temp_c: float) -> None:
    from CoolProp.CoolProp import PropsSI

    expected = PropsSI("V", "T", temp_c + 273.15, "P", 101325, "Water")
    assert viscosity.dynamic_viscosity_pa_s(0, temp_c) == pytest.approx(expected, rel=0.005)


@pytest.mark.source("Continuity: a metre of pipe a second, by hand")
def test_velocity_and_its_inverses() -> None:
    litres_an_hour = pi / 4 * 0.05**2 * 3600 * 1000
    assert pipes.bore_area_m2(50) == pytest.approx(1.9635e-3, rel=1e-4)
    assert pipes.velocity_m_s(litres_an_hour, 50) == pytest.approx(1)
    assert pipes.flow_l_h(1, 50) == pytest.approx(litres_an_hour)
    assert pipes.bore_for_velocity_mm(litres_an_hour, 1) == pytest.approx(50)


@pytest.mark.source("fluids: Reynolds number and head of a fitting")
def test_reynolds_and_fittings_against_fluids() -> None:
    import fluids

    assert pipes.reynolds(velocity=1.5, bore_mm=50, viscosity_m2_s=1e-6) == pytest.approx(
        fluids.Reynolds(V=1.5, D=0.05, nu=1e-6)
    )
    found = pipes.pipe_loss(flow_l_h=10000, bore_mm=50, length_m=0, k=3, viscosity_m2_s=1e-6)
    assert found.fittings_m == pytest.approx(fluids.head_from_K(K=3, V=found.velocity_m_s))


@pytest.mark.source("fluids: pressure drop of straight pipe (dP_from_K with K_from_f)")
def test_straight_pipe_against_fluids() -> None:
    import fluids

    found = pipes.pipe_loss(flow_l_h=12000, bore_mm=45, length_m=12, k=0, viscosity_m2_s=WATER_20_C)
    velocity = 12 / 3600 / (pi / 4 * 0.045**2)
    factor = fluids.friction_factor(Re=fluids.Reynolds(V=velocity, D=0.045, nu=WATER_20_C), eD=1.5e-6 / 0.045)
    loss_pa = fluids.dP_from_K(K=fluids.K_from_f(fd=factor, L=12, D=0.045), rho=998.2, V=velocity)
    assert pipes.pressure_kpa(found.total_m, 0.9982) == pytest.approx(loss_pa / 1000, rel=1e-4)


@pytest.mark.source("Hazen–Williams, US units: 4.52 Q^1.852/(C^1.852 d^4.8704) psi per ft (NFPA 13, from memory)")
def test_hazen_williams_against_its_us_form() -> None:
    gallons_min, bore_in = 50.0, 2.0
    psi_per_ft = 4.52 * gallons_min**1.852 / (150**1.852 * bore_in**4.8704)
    metres = psi_per_ft * 6.894757 / 9.80665 / 0.3048  # of water, per metre of pipe
    found = pipes.hazen_williams_m(flow_l_h=gallons_min * 227.1247, bore_mm=50.8, length_m=1)
    assert found == pytest.approx(metres, rel=0.005)


@pytest.mark.source("Darcy–Weisbach beside Hazen–Williams for smooth plastic, common practice within 10 %")
@pytest.mark.parametrize(("flow", "bore"), [(5000, 40), (10000, 50), (30000, 80), (100000, 150)])
def test_both_formulas_agree(flow: float, bore: float) -> None:
    darcy = pipes.pipe_loss(flow_l_h=flow, bore_mm=bore, length_m=10, k=0, viscosity_m2_s=WATER_20_C)
    assert pipes.hazen_williams_m(flow_l_h=flow, bore_mm=bore, length_m=10) == pytest.approx(darcy.total_m, rel=0.1)


@pytest.mark.source("Munson, Fundamentals of Fluid Mechanics, table 8.2 loss coefficients, low and high (from memory)")
@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        ("elbow_90", 0.3, 1.5), ("sweep_90", 0.2, 0.7), ("elbow_45", 0.2, 0.4), ("tee_run", 0.2, 0.9),
        ("tee_branch", 1.0, 2.0), ("union", 0.08, 0.08), ("gate_valve", 0.15, 0.26), ("ball_valve", 0.05, 0.05),
        ("swing_check", 2.0, 2.5), ("entry", 0.5, 0.5), ("exit", 1.0, 1.0),
    ],
)  # fmt: skip
def test_loss_coefficients_lie_in_the_published_spread(kind: str, low: float, high: float) -> None:
    assert low <= pipes.fittings_k({kind: 1}) <= high


@pytest.mark.source("Geometry by hand: 10 m of 50 mm bore hold 19.6 L")
def test_plumbing_volume() -> None:
    assert pipes.plumbing_volume_l(((50, 10), (25, 4))) == pytest.approx(19.635 + 1.963, abs=0.01)


@pytest.mark.source("Hydrostatics: 1 m of fresh water at 4 °C is 9.80638 kPa (NIST SP 811, metre of water)")
def test_pressure_of_a_metre() -> None:
    assert pipes.pressure_kpa(1, 0.999972) == pytest.approx(9.80638, rel=1e-5)


@given(st.floats(100, 1e5), st.floats(1.05, 3))
def test_more_flow_loses_more(flow: float, more: float) -> None:
    low, high = (
        pipes.pipe_loss(flow_l_h=q, bore_mm=50, length_m=10, k=5, viscosity_m2_s=1e-6) for q in (flow, flow * more)
    )
    assert high.total_m > low.total_m


def test_no_flow_loses_nothing() -> None:
    assert pipes.pipe_loss(flow_l_h=0, bore_mm=50, length_m=10, k=5, viscosity_m2_s=1e-6).total_m == 0


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_refuses_impossible_flow(bad: float) -> None:
    with pytest.raises(ScienceError):
        pipes.velocity_m_s(bad, 50)


@pytest.mark.parametrize("bad", [float("nan"), 0.0, -50.0])
def test_refuses_impossible_bore(bad: float) -> None:
    with pytest.raises(ScienceError):
        pipes.velocity_m_s(1000, bad)


def test_refuses_unknown_fitting() -> None:
    with pytest.raises(ScienceError, match="known"):
        pipes.fittings_k({"bathtub": 1})


def test_refuses_water_outside_the_correlation() -> None:
    with pytest.raises(ScienceError):
        viscosity.dynamic_viscosity_pa_s(35, 60)
