import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import molar
from servicedesk.science.water.day import settled_day
from servicedesk.science.water.limewater import (
    Timetable,
    best_timetable,
    greatest_delivery_meq_day,
    limewater_meq_l,
    practical,
    windows,
)
from tests.science.published import published
from tests.science.water.test_day import a_day

BAND = (8.0, 8.4)


@pytest.mark.source("Bates, Bower & Smith 1956, NBS J. Res. 56:305: saturated calcium hydroxide at 25 °C")
def test_saturated_limewater_at_25_degrees() -> None:
    value = published("lime-25")
    assert limewater_meq_l(25, 1.0) / 2000 == pytest.approx(value["expected"], abs=value["tolerance"])
    assert limewater_meq_l(25, 1.0) / 2000 * molar.CAOH2 == pytest.approx(1.504, abs=0.02)


@pytest.mark.source("PHREEQC (Pitzer, heat of dissolution, scaled to Bates et al.): limewater from 10 to 30 °C")
@pytest.mark.parametrize(("temp_c", "expected"), [(10, 45.5), (15, 44.0), (20, 42.4), (30, 38.8)])
def test_cold_limewater_is_stronger(temp_c: float, expected: float) -> None:
    assert limewater_meq_l(temp_c, 1.0) == pytest.approx(expected, rel=0.005)


@pytest.mark.source("handbook columns (1.73 g/L at 20 °C, from memory) are too strong and are not used")
def test_our_strength_lies_below_the_common_handbook_column() -> None:
    assert limewater_meq_l(20, 1.0) / 2000 * molar.CAOH2 < 0.95 * 1.73


def test_evaporation_bounds_what_limewater_brings() -> None:
    assert greatest_delivery_meq_day(50, 40.0) == 2000
    with pytest.raises(ScienceError):
        greatest_delivery_meq_day(-1, 40)
    with pytest.raises(ScienceError):
        greatest_delivery_meq_day(50, math.nan)
    with pytest.raises(ScienceError):
        limewater_meq_l(60)


@pytest.fixture(scope="module")
def found() -> Timetable:
    return best_timetable(a_day(), litres_day=50, pump_l_h=12, band=BAND)


@pytest.mark.source("linear programme around the settled day: the swing of the worked example falls by about a third")
def test_the_found_hours_narrow_the_swing_by_about_a_third(found: Timetable) -> None:
    even = settled_day(a_day(limewater_l=(50 / 24,) * 24))
    swing = even.highest[1] - even.lowest[1]
    assert found.swing < 0.75 * swing
    assert found.total_l == pytest.approx(50, abs=0.01)


def test_lime_is_given_in_the_dark(found: Timetable) -> None:
    by_day = sum(found.litres[11:19])
    assert by_day < 0.05 * found.total_l


def test_no_other_window_of_the_same_litres_is_flatter(found: Timetable) -> None:
    for start in range(24):
        for length in (6, 8, 10, 12):
            hours = {(start + hour) % 24 for hour in range(length)}
            litres = tuple(50 / length if hour in hours else 0.0 for hour in range(24))
            if max(litres) <= max(found.litres) + 0.01:
                course = settled_day(a_day(limewater_l=litres))
                assert course.highest[1] - course.lowest[1] > found.swing - 0.004


def test_no_hour_gives_more_than_the_pump_or_lifts_the_ph_too_fast(found: Timetable) -> None:
    assert max(found.litres) <= 12
    limed, plain = found.course, settled_day(a_day())
    for hour in range(24):
        rise = (limed.ph_at(hour + 0.99) - limed.ph_at(hour)) - (plain.ph_at(hour + 0.99) - plain.ph_at(hour))
        assert rise < 0.06


def test_a_low_band_gets_less_lime_when_it_may() -> None:
    low = best_timetable(a_day(), litres_day=50, pump_l_h=12, band=(7.9, 8.15), use_all=False)
    assert low.total_l < 40
    assert low.outside((7.9, 8.15)) < 0.01


@given(st.lists(st.sampled_from([0.0, 2.5, 5.0]), min_size=24, max_size=24))
def test_windows_hold_the_litres_of_the_hours(litres: list[float]) -> None:
    total = sum(((end - start) % 24 or 24) * rate for start, end, rate in windows(litres))
    assert total == pytest.approx(sum(litres))


@given(st.lists(st.floats(0, 9), min_size=24, max_size=24))
def test_a_timetable_made_practical_keeps_its_litres(litres: list[float]) -> None:
    assert sum(practical(litres)) == pytest.approx(sum(litres), abs=1e-6)
    assert len(windows(practical(litres))) <= len(windows(litres))
