import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import backflow


@pytest.mark.source("Geometry by hand: 3 m² sinking 30 mm is 90 L")
def test_backflow() -> None:
    assert backflow.backflow_l(surface_m2=3, drop_m=0.03, pipes_l=12) == pytest.approx(102)


@pytest.mark.source("Geometry by hand: 1.5 m² of sump, 150 mm of room, 225 L")
def test_room_and_spare() -> None:
    found = backflow.power_off(surface_m2=3, drop_m=0.03, pipes_l=12, sump_area_m2=1.5, freeboard_m=0.15)
    assert backflow.free_sump_l(sump_area_m2=1.5, freeboard_m=0.15) == pytest.approx(225)
    assert found.spare_l == pytest.approx(123)


@given(st.floats(1, 1000), st.floats(0.1, 10))
def test_level_needed_just_holds_the_backflow(volume: float, area: float) -> None:
    needed = backflow.largest_running_level_m(sump_area_m2=area, freeboard_m=0.1, backflow=volume)
    assert backflow.free_sump_l(sump_area_m2=area, freeboard_m=needed) == pytest.approx(volume)


@pytest.mark.source("Mass balance by hand: S·V/(V + r)")
@given(st.floats(100, 1e5), st.floats(25, 40), st.floats(0.1, 3))
def test_reservoir_lowers_salinity_by_just_so_much(volume: float, salinity: float, fall: float) -> None:
    reservoir = backflow.reservoir_for_salinity_l(volume_l=volume, salinity=salinity, fall=fall)
    assert salinity * volume / (volume + reservoir) == pytest.approx(salinity - fall)


def test_the_smaller_limit_governs() -> None:
    by_salinity = backflow.reservoir_for_salinity_l(volume_l=3400, salinity=35, fall=1)
    assert by_salinity == pytest.approx(100)
    limits = {"volume_l": 3400, "salinity": 35, "fall": 1}
    assert backflow.largest_reservoir_l(**limits, spare_sump_l=60) == 60
    assert backflow.largest_reservoir_l(**limits, spare_sump_l=500) == pytest.approx(100)
    assert backflow.largest_reservoir_l(**limits, spare_sump_l=-5) == 0


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -0.01])
def test_refuses_impossible_drop(bad: float) -> None:
    with pytest.raises(ScienceError):
        backflow.backflow_l(surface_m2=3, drop_m=bad)


def test_refuses_a_fall_below_fresh_water() -> None:
    with pytest.raises(ScienceError):
        backflow.reservoir_for_salinity_l(volume_l=1000, salinity=35, fall=36)
