from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import pumps

CURVE = pumps.pump_curve([(0, 6), (5000, 5), (10000, 3), (14000, 0)])


def quadratic(static_m: float, k: float) -> pumps.System:
    return lambda q: static_m + k * q**2


@pytest.mark.source("Munson, Fundamentals of Fluid Mechanics, section 12.4: pump curve meets system curve, by algebra")
def test_working_point_of_a_straight_curve() -> None:
    """6 − 4e-4·Q = 2 + 2e-8·Q²: Q = (−4e-4 + √(1.6e-7 + 3.2e-7))/4e-8."""
    straight = pumps.pump_curve([(0, 6), (15000, 0)])
    found = pumps.working_point(straight, quadratic(2, 2e-8))
    expected = (-4e-4 + sqrt(1.6e-7 + 4 * 2e-8 * 4)) / (4e-8)
    assert found.flow_l_h == pytest.approx(expected, rel=1e-6)
    assert found.head_m == pytest.approx(6 - 4e-4 * expected, rel=1e-6)


@given(st.floats(0, 5), st.floats(1e-9, 1e-6))
def test_working_point_lies_on_both_curves(static_m: float, k: float) -> None:
    found = pumps.working_point(CURVE, quadratic(static_m, k))
    assert found.head_m == pytest.approx(static_m + k * found.flow_l_h**2, rel=1e-4, abs=1e-4)


@given(st.floats(0, 2.4), st.floats(0.1, 2))
def test_higher_lift_gives_less_flow(static_m: float, more: float) -> None:
    low = pumps.working_point(CURVE, quadratic(static_m, 1e-8))
    assert pumps.working_point(CURVE, quadratic(static_m + more, 1e-8)).flow_l_h < low.flow_l_h


def test_points_in_any_order() -> None:
    assert pumps.pump_curve([(14000, 0), (0, 6), (10000, 3), (5000, 5)]) == CURVE


@pytest.mark.source("Affinity laws, Munson section 12.5: Q ∝ n, H ∝ n², P ∝ n³")
def test_affinity() -> None:
    assert pumps.affinity(flow_l_h=10000, head_m=4, power_w=200, speed_share=0.5) == pytest.approx((5000, 1, 25))
    half = CURVE.at_speed(0.5)
    assert half.head_m(2500) == pytest.approx(CURVE.head_m(5000) / 4)


@given(st.floats(2000, 9000))
def test_speed_for_flow_gives_that_flow(wanted: float) -> None:
    system = quadratic(1.0, 1e-8)
    speed = pumps.speed_for_flow(CURVE, system, wanted)
    assert pumps.working_point(CURVE.at_speed(speed), system).flow_l_h == pytest.approx(wanted, rel=1e-3)


@pytest.mark.source("Continuity: by hand")
def test_turnover_and_inverse() -> None:
    assert pumps.turnover_per_h(12000, 3000) == pytest.approx(4)
    assert pumps.flow_for_turnover_l_h(4, 3000) == pytest.approx(12000)


@pytest.mark.source("Hydraulic power ρgQH: 1 m³/h of fresh water through 1 m is 2.724 W (pump handbooks: Q·H/367 kW)")
def test_hydraulic_power() -> None:
    found = pumps.hydraulic_power_w(flow_l_h=1000, head_m=1, density_kg_l=1.0)
    assert found == pytest.approx(1000 / 367, rel=0.001)


def test_refuses_what_the_pump_cannot_lift() -> None:
    with pytest.raises(ScienceError, match="no flow"):
        pumps.working_point(CURVE, quadratic(7, 0))


def test_refuses_to_run_off_the_typed_curve() -> None:
    with pytest.raises(ScienceError, match="beyond the last typed point"):
        pumps.working_point(pumps.pump_curve([(0, 6), (5000, 5)]), quadratic(1, 1e-9))


@pytest.mark.parametrize(
    "points", [[(0, 5)], [(0, 3), (1000, 4)], [(0, 5), (0, 4)], [(0, 5), (1000, -1)], [(-5, 6), (1000, 1)]]
)
def test_refuses_impossible_curves(points: list[tuple[float, float]]) -> None:
    with pytest.raises(ScienceError):
        pumps.pump_curve(points)


def test_refuses_flow_beyond_any_speed() -> None:
    with pytest.raises(ScienceError, match="No speed"):
        pumps.speed_for_flow(CURVE, quadratic(1, 1e-8), 40000)


def test_refuses_nan() -> None:
    with pytest.raises(ScienceError):
        pumps.pump_curve([(0, 5), (1000, float("nan"))])
    with pytest.raises(ScienceError):
        pumps.turnover_per_h(float("nan"), 1000)
    with pytest.raises(ScienceError):
        pumps.turnover_per_h(100, 0)
