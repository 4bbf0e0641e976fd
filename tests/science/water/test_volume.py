from math import pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import volume
from servicedesk.science.water.volume import Estimate


@pytest.mark.source("NIST SP 811: 1 ft³ = 28.316847 L; a box of 4 × 2 × 2 ft holds 16 ft³")
def test_box() -> None:
    feet = 0.3048
    assert volume.box_l(length_m=4 * feet, width_m=2 * feet, depth_m=2 * feet) == pytest.approx(
        16 * 28.316847, rel=1e-7
    )


@pytest.mark.source("Geometry: cylinder πr²h, hexagon (3√3/2)·a²·h, by hand")
def test_cylinder_and_hexagon() -> None:
    assert volume.cylinder_l(diameter_m=2, depth_m=1) == pytest.approx(1000 * pi)
    assert volume.hexagon_l(side_m=1, depth_m=1) == pytest.approx(2598.076, abs=0.001)


@pytest.mark.source("Geometry: the bow of half the length is a half circle; a flat bow is a box")
def test_bow_front_between_box_and_half_circle() -> None:
    flat = volume.bow_front_l(length_m=2, width_m=0.6, bow_m=0, depth_m=0.7)
    assert flat == pytest.approx(volume.box_l(length_m=2, width_m=0.6, depth_m=0.7))
    half = volume.bow_front_l(length_m=2, width_m=0.6, bow_m=1, depth_m=0.7)
    assert half - flat == pytest.approx(pi / 2 * 700)


@pytest.mark.source("Area of a circular segment by numerical integration (scipy)")
@given(st.floats(0.5, 4), st.floats(0.02, 1))
def test_segment_against_integration(chord: float, part: float) -> None:
    from scipy.integrate import quad

    rise = part * chord / 2
    radius = (chord**2 / 4 + rise**2) / (2 * rise)
    area, _ = quad(lambda x: sqrt(max(radius**2 - x**2, 0.0)) - (radius - rise), -chord / 2, chord / 2)
    assert volume.segment_m2(chord_m=chord, rise_m=rise) == pytest.approx(area, rel=1e-5)


@pytest.mark.source(
    "Displacement: apparent density of reef rock 1.8–2.4 kg/L, porosity of sand 0.40–0.45, common practice"
)
def test_displacement() -> None:
    assert volume.rock_l(210, 2.1) == pytest.approx(100)
    assert volume.sand_l(270, 2.7) == pytest.approx(100)
    assert volume.sand_bed_l(100, 0.42) == pytest.approx(58)


def test_net_volume() -> None:
    assert volume.net_volume_l(vessels_l=(2000, 600), plumbing_l=40, displaced_l=140) == pytest.approx(2500)


@pytest.mark.source("Mass balance by hand: 1000 meq that raise alkalinity by 0.5 meq/L are in 2000 L")
def test_tracer_volume() -> None:
    found = volume.tracer_volume(dose=1000, before=2.5, after=3.0, reading_error=0.05, repeats=3, dose_error_share=0)
    assert found.volume_l == pytest.approx(2000)
    assert found.error_pct == pytest.approx(100 * sqrt(2 / 3) * 0.05 / 0.5)


@pytest.mark.source("Error propagation (JCGM 100) by Monte Carlo with numpy")
def test_tracer_error_against_monte_carlo() -> None:
    import numpy as np

    rng = np.random.default_rng(1)
    before = 2.5 + rng.normal(0, 0.05, (40000, 4)).mean(axis=1)
    after = 4.0 + rng.normal(0, 0.05, (40000, 4)).mean(axis=1)
    dose = 3000 * (1 + rng.normal(0, 0.02, 40000))
    found = volume.tracer_volume(dose=3000, before=2.5, after=4.0, reading_error=0.05, repeats=4, dose_error_share=0.02)
    assert found.error_l == pytest.approx(float((dose / (after - before)).std()), rel=0.03)


@given(st.floats(100, 1e5), st.floats(0.3, 2), st.floats(0, 0.2), st.floats(0, 2))
def test_tracer_finds_the_volume_it_was_dosed_in(true_l: float, rise: float, loss: float, days: float) -> None:
    after = 2.5 + rise - loss * days
    found = volume.tracer_volume(
        dose=rise * true_l, before=2.5, after=after, reading_error=0.02, loss_per_day=loss, days=days
    )
    assert found.volume_l == pytest.approx(true_l, rel=1e-6)


@given(st.floats(500, 1e5), st.floats(0.03, 0.3))
def test_salinity_finds_the_volume_either_way(true_l: float, part: float) -> None:
    fresh = true_l * part
    replaced = volume.salinity_volume(exchanged_l=fresh, before=35, after=35 * (1 - part), reading_error=0.1)
    added = volume.salinity_volume(
        exchanged_l=fresh, before=35, after=35 * true_l / (true_l + fresh), reading_error=0.1, replaced=False
    )
    assert replaced.volume_l == pytest.approx(true_l, rel=1e-6)
    assert added.volume_l == pytest.approx(true_l, rel=1e-6)


def test_dose_for_a_wanted_error() -> None:
    dose = volume.tracer_dose(volume_l=2000, reading_error=0.05, repeats=3, wanted_share=0.04)
    found = volume.tracer_volume(
        dose=dose, before=2.5, after=2.5 + dose / 2000, reading_error=0.05, repeats=3, dose_error_share=0
    )
    assert found.error_pct == pytest.approx(4)


@pytest.mark.source("Inverse-variance mean by numpy.average")
def test_combination_against_numpy() -> None:
    import numpy as np

    found = volume.combine([Estimate(2000, 100), Estimate(2150, 50), Estimate(2050, 80)])
    weights = 1 / np.array([100, 50, 80]) ** 2
    assert found.volume_l == pytest.approx(float(np.average([2000, 2150, 2050], weights=weights)))
    assert found.error_l == pytest.approx(float(weights.sum() ** -0.5))


def test_contradicting_estimates_are_refused() -> None:
    with pytest.raises(ScienceError, match="contradict"):
        volume.combine([Estimate(2000, 20), Estimate(3000, 20)])


def test_nothing_to_combine() -> None:
    with pytest.raises(ScienceError):
        volume.combine([])


def test_a_rise_lost_in_the_error_is_refused() -> None:
    with pytest.raises(ScienceError, match="lost in the error"):
        volume.tracer_volume(dose=100, before=2.5, after=2.52, reading_error=0.05)
    with pytest.raises(ScienceError, match="lost in the error"):
        volume.salinity_volume(exchanged_l=10, before=35, after=34.9, reading_error=0.1)


def test_no_rise_and_no_fall_are_refused() -> None:
    with pytest.raises(ScienceError, match="no rise"):
        volume.tracer_volume(dose=100, before=2.5, after=2.4, reading_error=0.05)
    with pytest.raises(ScienceError, match="no fall"):
        volume.salinity_volume(exchanged_l=10, before=35, after=35.5, reading_error=0.1)


def test_rock_without_water_is_refused() -> None:
    with pytest.raises(ScienceError, match="no water is left"):
        volume.net_volume_l(vessels_l=(100,), displaced_l=200)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_refuses_impossible_sizes(bad: float) -> None:
    with pytest.raises(ScienceError):
        volume.box_l(length_m=bad, width_m=1, depth_m=1)
    with pytest.raises(ScienceError):
        volume.cylinder_l(diameter_m=bad, depth_m=1)
    with pytest.raises(ScienceError):
        volume.hexagon_l(side_m=bad, depth_m=1)
    with pytest.raises(ScienceError):
        volume.rock_l(bad)


def test_refuses_a_bow_deeper_than_a_half_circle() -> None:
    with pytest.raises(ScienceError):
        volume.bow_front_l(length_m=1, width_m=0.5, bow_m=0.6, depth_m=0.5)
