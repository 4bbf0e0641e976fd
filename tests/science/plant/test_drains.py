from math import pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import drains
from tests.science.published import published

L_H = 3.6e6


@pytest.mark.source("Kindsvater & Carter 1957; fluids manual")
def test_contracted_weir_published() -> None:
    entry = published("weir-kc")
    given_ = entry["inputs"]
    found = drains.weir_contracted_l_h(head_m=given_["h1_m"], crest_m=given_["h2_m"], width_m=given_["b_m"])
    assert found / L_H == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Rehbock; value printed in the fluids manual")
def test_full_width_weir_published() -> None:
    found = drains.weir_full_width_l_h(head_m=0.3, crest_m=0.4, width_m=2)
    assert found / L_H == pytest.approx(0.6486856330601333, rel=1e-9)


@pytest.mark.source("Ackers full-width weir (fluids) as an independent correlation, within 4 %")
@pytest.mark.parametrize("head_m", [0.03, 0.05, 0.1])
def test_full_width_weir_against_another_correlation(head_m: float) -> None:
    from fluids.open_flow import Q_weir_rectangular_full_Ackers

    found = drains.weir_full_width_l_h(head_m=head_m, crest_m=0.5, width_m=1.0) / L_H
    assert found == pytest.approx(Q_weir_rectangular_full_Ackers(head_m, 0.5, 1.0), rel=0.04)


@pytest.mark.source("Francis formula, US units 3.33·L·H^1.5 ft³/s for a suppressed weir (from memory)")
def test_francis_against_its_us_form() -> None:
    feet, head_ft = 2.0, 0.25
    cubic_m_s = 3.33 * feet * head_ft**1.5 * 0.3048**3
    found = drains.weir_francis_l_h(head_m=head_ft * 0.3048, width_m=feet * 0.3048, contractions=0) / L_H
    assert found == pytest.approx(cubic_m_s, rel=0.002)
    contracted = drains.weir_francis_l_h(head_m=head_ft * 0.3048, width_m=feet * 0.3048)
    assert contracted / L_H == pytest.approx(cubic_m_s * (1 - 0.2 * head_ft / feet), rel=0.002)


def test_comb_passes_its_open_share() -> None:
    whole = drains.weir_full_width_l_h(head_m=0.02, crest_m=0.6, width_m=1)
    assert drains.weir_full_width_l_h(head_m=0.02, crest_m=0.6, width_m=1, open_share=0.5) == pytest.approx(whole / 2)


@given(st.floats(500, 60000), st.floats(0.4, 1.0))
def test_weir_head_is_the_inverse(flow: float, open_share: float) -> None:
    head = drains.weir_head_m(flow_l_h=flow, crest_m=0.6, width_m=1.0, open_share=open_share)
    back = drains.weir_full_width_l_h(head_m=head, crest_m=0.6, width_m=1.0, open_share=open_share)
    assert back == pytest.approx(flow, rel=1e-3) or head == 0


@given(st.floats(100, 20000))
def test_notch_head_is_the_inverse(flow: float) -> None:
    head = drains.notch_head_m(flow_l_h=flow, width_m=0.4)
    assert drains.weir_francis_l_h(head_m=head, width_m=0.4) == pytest.approx(flow, rel=1e-4)


@pytest.mark.source("Weir round the rim 1.84πD·h^1.5 and orifice 0.6·A·√2gh (Francis, Torricelli), by hand")
def test_standpipe_governed_by_the_smaller() -> None:
    shallow = drains.standpipe_l_h(bore_mm=50, head_m=0.005) / L_H
    deep = drains.standpipe_l_h(bore_mm=50, head_m=0.1) / L_H
    assert shallow == pytest.approx(1.84 * pi * 0.05 * 0.005**1.5, rel=1e-6)
    assert deep == pytest.approx(0.6 * pi / 4 * 0.05**2 * sqrt(2 * 9.80665 * 0.1), rel=1e-6)


@pytest.mark.source("Torricelli with ΣK: A·√(2gH/(1+ΣK)), by hand")
def test_siphon_without_length() -> None:
    found = drains.siphon_l_h(bore_mm=50, drop_m=1.0, length_m=0, k=1.5, viscosity_m2_s=1e-6) / L_H
    assert found == pytest.approx(pi / 4 * 0.05**2 * sqrt(2 * 9.80665 / 2.5), rel=1e-6)


@pytest.mark.source("fluids: friction of the straight part, put back into the energy balance")
def test_siphon_balances_energy() -> None:
    import fluids

    found = drains.siphon_l_h(bore_mm=45, drop_m=0.9, length_m=2.5, k=2.3, viscosity_m2_s=1e-6) / L_H
    velocity = found / (pi / 4 * 0.045**2)
    factor = fluids.friction_factor(Re=velocity * 0.045 / 1e-6, eD=1.5e-6 / 0.045)
    assert (1 + 2.3 + factor * 2.5 / 0.045) * velocity**2 / 2 / 9.80665 == pytest.approx(0.9, rel=1e-5)


@pytest.mark.source("Wyly & Eaton 1961, NBS Monograph 31: 27.8 r^(5/3) d^(8/3) (from memory)")
def test_stack_published() -> None:
    entry = published("stack")
    found = drains.stack_l_h(bore_mm=entry["inputs"]["d_inch"] * 25.4, fill_share=entry["inputs"]["r"])
    assert found / 227.12470704 == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Inverse of Kindsvater & Carter's published weir")
def test_the_head_of_a_narrow_notch_is_the_inverse() -> None:
    flow = drains.weir_contracted_l_h(head_m=0.08, crest_m=0.5, width_m=0.3)
    assert drains.contracted_head_m(flow_l_h=flow, crest_m=0.5, width_m=0.3) == pytest.approx(0.08, abs=1e-6)
    assert drains.contracted_head_m(flow_l_h=0, crest_m=0.5, width_m=0.3) == 0
    with pytest.raises(ScienceError, match="far too narrow"):
        drains.contracted_head_m(flow_l_h=5e6, crest_m=0.5, width_m=0.2)


@pytest.mark.source("Manning; fluids manual")
def test_manning_published() -> None:
    entry = published("manning")
    given_ = entry["inputs"]
    found = drains.manning_velocity_m_s(hydraulic_radius_m=given_["Rh_m"], slope=given_["slope"], n=given_["n"])
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Manning in a circular pipe: half full has R = D/4 and half the full flow (Chow, from memory)")
def test_near_level_half_full_is_half_of_full() -> None:
    half = drains.near_level_l_h(bore_mm=100, slope=0.01)
    assert half == pytest.approx(drains.near_level_l_h(bore_mm=100, slope=0.01, fill_share=1.0) / 2, rel=1e-9)
    by_hand = pi / 8 * 0.1**2 * 0.025 ** (2 / 3) * 0.1 / 0.010 * L_H
    assert half == pytest.approx(by_hand, rel=1e-9)


@given(st.floats(0.001, 0.19), st.floats(1.01, 2))
def test_more_head_passes_more(head: float, more: float) -> None:
    low, high = (drains.standpipe_l_h(bore_mm=50, head_m=h) for h in (head, head * more))
    assert high > low


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -0.01, 3.0])
def test_refuses_impossible_heads(bad: float) -> None:
    with pytest.raises(ScienceError):
        drains.weir_full_width_l_h(head_m=bad, crest_m=0.5, width_m=1)
    with pytest.raises(ScienceError):
        drains.standpipe_l_h(bore_mm=50, head_m=bad)


def test_refuses_what_the_correlations_do_not_cover() -> None:
    with pytest.raises(ScienceError):
        drains.stack_l_h(bore_mm=50, fill_share=0.5)
    with pytest.raises(ScienceError):
        drains.weir_contracted_l_h(head_m=0.02, crest_m=0.5, width_m=0.05)
    with pytest.raises(ScienceError):
        drains.weir_francis_l_h(head_m=0.2, width_m=0.3)
    with pytest.raises(ScienceError):
        drains.weir_francis_l_h(head_m=0.02, width_m=0.3, contractions=3)
    with pytest.raises(ScienceError, match="far too narrow"):
        drains.notch_head_m(flow_l_h=1e6, width_m=0.1)
    with pytest.raises(ScienceError, match="far too short"):
        drains.weir_head_m(flow_l_h=1e7, crest_m=0.3, width_m=0.2)
    with pytest.raises(ScienceError):
        drains.siphon_l_h(bore_mm=50, drop_m=-1, length_m=1, k=1, viscosity_m2_s=1e-6)
