from math import exp

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import exchange
from servicedesk.science.water.salinity import salt_kg
from tests.science.published import published


@pytest.mark.source("Series of dilutions, closed form and loop")
def test_series_published() -> None:
    entry = published("wc-series")
    given_ = entry["inputs"]
    found = exchange.after_changes(before=given_["c0"], new=given_["c_new"], share=given_["f"], times=given_["n"])
    assert found[-1] == pytest.approx(entry["expected"], abs=entry["tolerance"])
    assert len(found) == 7


@given(st.floats(2, 100), st.floats(0, 1), st.floats(0.02, 0.6), st.integers(1, 40))
def test_series_has_its_closed_form(before: float, new: float, share: float, times: int) -> None:
    found = exchange.after_changes(before=before, new=new, share=share, times=times)
    assert found[-1] == pytest.approx(new + (before - new) * (1 - share) ** times)


@given(st.floats(10, 100), st.floats(0, 2), st.floats(0.02, 0.6), st.floats(3, 9))
def test_number_to_target_reaches_it(before: float, new: float, share: float, target: float) -> None:
    times = exchange.whole_changes(before=before, new=new, target=target, share=share)
    levels = exchange.after_changes(before=before, new=new, share=share, times=times)
    assert levels[-1] <= target * (1 + 1e-6)
    assert levels[-2] > target * (1 - 1e-6)


@pytest.mark.source("The recursion c ← (c + p)(1 − f) + cn·f, by running it to the target")
@given(st.floats(20, 60), st.floats(0.05, 0.5), st.floats(0.01, 1))
def test_number_to_target_with_input(before: float, share: float, rise: float) -> None:
    target = 1.1 * exchange.settled_after(new=0, input_per_interval=rise, share=share) + 0.1
    assume(before > target)
    times = exchange.whole_changes(before=before, new=0, target=target, share=share, input_per_interval=rise)
    level, count = before, 0
    while level > target * (1 + 1e-9):
        level = exchange.after_change(before=level + (rise if count else 0), new=0, share=share)
        count += 1
    assert times == count


def test_number_to_target_below_the_settled_level_is_refused() -> None:
    with pytest.raises(ScienceError, match="never"):
        exchange.changes_to_target(before=25, new=0, target=10, share=0.15, input_per_interval=3.5)


def test_continuous_with_input_to_target_is_the_inverse() -> None:
    water = exchange.continuous_to_target_l(before=20, new=1, target=10, volume_l=1000, input_per_volume=4)
    back = exchange.level_with_input(
        before=20, new=1, exchanged_l_day=100, input_per_day=0.4, volume_l=1000, days=water / 100
    )
    assert back == pytest.approx(10)


@pytest.mark.source("Washout of a stirred tank, e^(−v/V), by hand and as the limit of many small changes")
def test_continuous_is_the_limit_of_small_changes() -> None:
    found = exchange.after_continuous(before=20, new=1, exchanged_l=500, volume_l=1000)
    assert found == pytest.approx(1 + 19 * exp(-0.5))
    many = exchange.after_changes(before=20, new=1, share=0.5 / 5000, times=5000)
    assert found == pytest.approx(many[-1], rel=1e-3)


@given(st.floats(10, 100), st.floats(0, 2), st.floats(3, 9))
def test_continuous_to_target_is_the_inverse(before: float, new: float, target: float) -> None:
    water = exchange.continuous_to_target_l(before=before, new=new, target=target, volume_l=1000)
    back = exchange.after_continuous(before=before, new=new, exchanged_l=water, volume_l=1000)
    assert back == pytest.approx(target)


@pytest.mark.source("Stirred tank with inflow and source, integrated by scipy.integrate.solve_ivp")
def test_continuous_with_input_against_integration() -> None:
    from scipy.integrate import solve_ivp

    path = solve_ivp(lambda _, c: 0.4 - 50 / 1000 * (c - 1), (0, 30), [20.0], rtol=1e-9, atol=1e-9)
    found = exchange.level_with_input(before=20, new=1, exchanged_l_day=50, input_per_day=0.4, volume_l=1000, days=30)
    assert found == pytest.approx(float(path.y[0][-1]), rel=1e-6)
    still = exchange.level_with_input(before=20, new=1, exchanged_l_day=0, input_per_day=0.4, volume_l=1, days=5)
    assert still == pytest.approx(22)


@pytest.mark.source("Steady state of the recursion c ← (c + p)(1 − f) + cn·f, by iterating it")
@given(st.floats(0, 5), st.floats(0.05, 0.5), st.floats(0.1, 10))
def test_settled_levels(new: float, share: float, rise: float) -> None:
    level = 20.0
    for _ in range(1500):
        level = exchange.after_change(before=level + rise, new=new, share=share)
    after = exchange.settled_after(new=new, input_per_interval=rise, share=share)
    assert after == pytest.approx(level, rel=1e-6)
    assert exchange.settled_before(new=new, input_per_interval=rise, share=share) == pytest.approx(level + rise, 1e-6)


@given(st.floats(0, 2), st.floats(0.1, 4))
def test_share_to_hold_is_the_inverse(new: float, rise: float) -> None:
    share = exchange.share_to_hold(new=new, input_per_interval=rise, hold=10)
    assert exchange.settled_before(new=new, input_per_interval=rise, share=share) == pytest.approx(10)


def test_hauls() -> None:
    three = exchange.haul(2500, 1000)
    assert (three.goes, round(three.each_l, 2)) == (3, 833.33)
    assert exchange.haul(2000, 1000).goes == 2
    assert exchange.haul(0, 1000) == exchange.Haul(0, 0.0)


@pytest.mark.source("TEOS-10 density: 500 kg of seawater at 35, 25 °C are 488.6 L")
def test_van_is_bounded_by_payload_or_tank() -> None:
    found = exchange.van_capacity_l(payload_kg=500, tank_l=1000, salinity=35, temp_c=25)
    assert found == pytest.approx(500 / 1.02334, rel=1e-4)
    assert exchange.van_capacity_l(payload_kg=5000, tank_l=1000, salinity=35, temp_c=25) == 1000


@pytest.mark.source("ρ × S_A (TEOS-10)")
def test_salt_published() -> None:
    entry = published("salt-mass")
    given_ = entry["inputs"]
    found = salt_kg(given_["litres_final"], given_["SP"], given_["t90_C"], 1.0)
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Conservation of mass: fresh water and dry salt weigh what the batch weighs (gsw)")
@given(st.floats(1, 1e5), st.floats(5, 40), st.floats(10, 30))
def test_water_and_salt_make_the_batch(batch: float, salinity: float, temp_c: float) -> None:
    import gsw

    water = exchange.fresh_water_l(batch_l=batch, salinity=salinity, temp_c=temp_c)
    salt = salt_kg(batch, salinity, temp_c, 1.0)
    whole = batch * gsw.rho_t_exact(salinity * 35.16504 / 35, temp_c, 0) / 1000
    assert water * gsw.rho_t_exact(0, temp_c, 0) / 1000 + salt == pytest.approx(whole)


@pytest.mark.parametrize("target", [0.5, 1.0, 25.0])
def test_refuses_a_target_that_cannot_be_reached(target: float) -> None:
    with pytest.raises(ScienceError, match="must lie between"):
        exchange.changes_to_target(before=20, new=1, target=target, share=0.2)


def test_refuses_to_hold_below_the_new_water() -> None:
    with pytest.raises(ScienceError, match="change more often"):
        exchange.share_to_hold(new=5, input_per_interval=2, hold=6)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -0.1, 1.1])
def test_refuses_impossible_shares(bad: float) -> None:
    with pytest.raises(ScienceError):
        exchange.after_change(before=20, new=1, share=bad)


@pytest.mark.parametrize("bad", [float("nan"), -1.0])
def test_refuses_impossible_volumes(bad: float) -> None:
    with pytest.raises(ScienceError):
        salt_kg(bad, 35, 25)
    with pytest.raises(ScienceError):
        exchange.haul(bad, 100)
    with pytest.raises(ScienceError):
        exchange.after_continuous(before=20, new=1, exchanged_l=bad, volume_l=1000)
