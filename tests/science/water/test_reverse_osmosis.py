import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import reverse_osmosis as ro


@pytest.mark.source("Recovery by definition: product over feed, 1:3 is 25 %")
@given(st.floats(0, 1e5), st.floats(0.05, 0.9))
def test_water_balance(product: float, recovery: float) -> None:
    assert ro.feed_l(product, recovery) == pytest.approx(product + ro.reject_l(product, recovery))
    assert ro.reject_l(100, 0.25) == pytest.approx(300)


@pytest.mark.source(
    "Membrane makers' temperature table, 25 °C = 1: 20 °C 0.86, 15 °C 0.74, 10 °C 0.63, 5 °C 0.53 (from memory)"
)
@pytest.mark.parametrize(("temp_c", "factor"), [(25, 1.0), (20, 0.86), (15, 0.735), (10, 0.625), (5, 0.53)])
def test_temperature_factor(temp_c: float, factor: float) -> None:
    assert ro.temperature_factor(temp_c) == pytest.approx(factor, abs=0.015)


@given(st.floats(1, 44), st.floats(0.1, 1))
def test_warmer_gives_more(temp_c: float, more: float) -> None:
    assert ro.temperature_factor(temp_c + more) > ro.temperature_factor(temp_c)


@pytest.mark.source("Osmotic pressure by van 't Hoff: 1000 mg/L NaCl (58.44 g/mol, 2 ions) at 25 °C is 85 kPa")
def test_osmotic_rule_of_thumb() -> None:
    vant_hoff_kpa = 2 * 1000 / 58.44 / 1000 * 8.314462618 * 298.15
    net = ro.net_pressure_kpa(feed_kpa=500, tds_mg_l=1000 * 2 / (1 + 1 / 0.9), recovery=0.1)
    assert 500 - net == pytest.approx(vant_hoff_kpa, rel=0.2)


@pytest.mark.source("By hand: 60 psi (414 kPa), 400 mg/L at recovery 0.25, mean 466.7 mg/L, 32.7 kPa osmotic")
def test_net_pressure_and_production() -> None:
    net = ro.net_pressure_kpa(feed_kpa=414, tds_mg_l=400, recovery=0.25)
    assert net == pytest.approx(414 - 32.67, abs=0.01)
    warm = ro.production_l_day(rated_l_day=1000, rated_kpa=414, temp_c=25, net_kpa=net)
    assert warm == pytest.approx(1000 * net / 414)
    cold = ro.production_l_day(rated_l_day=1000, rated_kpa=414, temp_c=8, net_kpa=net)
    assert cold / warm == pytest.approx(ro.temperature_factor(8))
    assert ro.days_to_make(4000, cold) == pytest.approx(4000 / cold)


def test_product_solids() -> None:
    assert ro.product_tds_mg_l(400, 0.98) == pytest.approx(8)


@pytest.mark.source(
    "Ion balance by hand: 1 L of resin at 0.5 eq/L takes 500 meq; 10 mg/L as CaCO3 and 4.4 mg/L CO2 are 0.3 meq/L"
)
def test_resin_days() -> None:
    found = ro.resin_days(resin_l=1, use_l_day=100, tds_mg_l=10, co2_mg_l=4.4)
    assert found == pytest.approx(500 / (100 * (10 / 50.043 + 4.4 / 44.009)), rel=1e-5)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_refuses_impossible_values(bad: float) -> None:
    with pytest.raises(ScienceError):
        ro.reject_l(bad, 0.25)
    with pytest.raises(ScienceError):
        ro.reject_l(100, bad)
    with pytest.raises(ScienceError):
        ro.temperature_factor(bad)
    with pytest.raises(ScienceError):
        ro.days_to_make(bad, 100)


def test_refuses_salt_water_on_a_tap_membrane() -> None:
    with pytest.raises(ScienceError, match="osmotic"):
        ro.net_pressure_kpa(feed_kpa=400, tds_mg_l=35000, recovery=0.25)


def test_pure_water_uses_no_resin() -> None:
    with pytest.raises(ScienceError, match="no resin"):
        ro.resin_days(resin_l=1, use_l_day=100, tds_mg_l=0)
