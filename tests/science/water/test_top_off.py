import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import top_off


@pytest.mark.source("By hand: sum over the days of a common year")
def test_year_from_months() -> None:
    year = top_off.evaporation_year([10, 10, 12, 14, 16, 20, 22, 22, 18, 14, 12, 10])
    assert year.worst_l_day == 22
    assert year.least_l_day == 10
    assert year.whole_l == pytest.approx(10 * 90 + 12 * 61 + 14 * 61 + 16 * 31 + 20 * 30 + 22 * 62 + 18 * 30)
    assert year.mean_l_day == pytest.approx(year.whole_l / 365)


def test_year_from_seasons() -> None:
    year = top_off.evaporation_year([10, 12, 20, 14])
    assert year.monthly_l_day == (10, 10, 12, 12, 12, 20, 20, 20, 14, 14, 14, 10)


@pytest.mark.source("Conservation of salt: S·V stays")
@given(st.floats(100, 1e5), st.floats(20, 40), st.floats(0.001, 0.4))
def test_salt_is_conserved(volume: float, salinity: float, part: float) -> None:
    after = top_off.salinity_after_missed(salinity=salinity, volume_l=volume, evaporated_l=volume * part)
    assert after * volume * (1 - part) == pytest.approx(salinity * volume)
    back = top_off.salinity_after_flood(salinity=after, volume_l=volume * (1 - part), added_l=volume * part)
    assert back == pytest.approx(salinity)


@given(st.floats(500, 1e5), st.floats(0.1, 4), st.floats(1, 100))
def test_days_to_rise_is_the_inverse(volume: float, rise: float, rate: float) -> None:
    days = top_off.days_to_rise(salinity=35, rise=rise, volume_l=volume, evaporation_l_day=rate)
    found = top_off.salinity_after_missed(salinity=35, volume_l=volume, evaporated_l=rate * days)
    assert found == pytest.approx(35 + rise)


@pytest.mark.source("By hand: 2 L of 1000 L at 35 made up with fresh water lower it by 0.07")
def test_rates() -> None:
    assert top_off.salinity_fall_from_skimming(salinity=35, volume_l=1000, wet_l_day=2) == pytest.approx(0.07)
    assert top_off.reservoir_l(evaporation_l_day=20, days=3.5) == pytest.approx(70)


def test_refuses_five_seasons() -> None:
    with pytest.raises(ScienceError, match="twelve months"):
        top_off.evaporation_year([1, 2, 3, 4, 5])


@pytest.mark.parametrize("bad", [float("nan"), -1.0])
def test_refuses_impossible_evaporation(bad: float) -> None:
    with pytest.raises(ScienceError):
        top_off.evaporation_year([bad] * 12)
    with pytest.raises(ScienceError):
        top_off.reservoir_l(evaporation_l_day=bad, days=2)


def test_refuses_a_dry_tank() -> None:
    with pytest.raises(ScienceError):
        top_off.salinity_after_missed(salinity=35, volume_l=1000, evaporated_l=900)


def test_nothing_evaporates() -> None:
    with pytest.raises(ScienceError, match="Nothing evaporates"):
        top_off.days_to_rise(salinity=35, rise=1, volume_l=1000, evaporation_l_day=0)
