"""Moist air against the ASHRAE tables and the real-gas library CoolProp."""

import math

import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.plant import air
from tests.science.published import published


@pytest.mark.source("ASHRAE Handbook Fundamentals 2017 ch. 1 table 3 (saturation pressure)")
def test_saturation_pressure() -> None:
    entry = published("psat-25")
    assert air.saturation_pressure_pa(entry["inputs"]["t_C"]) == pytest.approx(
        entry["expected"], abs=entry["tolerance"]
    )


@pytest.mark.source("CoolProp: saturation of water (IAPWS-95)")
@pytest.mark.parametrize("temp_c", [0.01, 5, 15, 25, 30, 40, 60, 90])
def test_saturation_pressure_over_water(temp_c: float) -> None:
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(
        PropsSI("P", "T", temp_c + 273.15, "Q", 1, "Water"), rel=3e-4
    )


@pytest.mark.source("ASHRAE Handbook Fundamentals 2017 ch. 1 table 3, over ice (from memory)")
@pytest.mark.parametrize(("temp_c", "pa"), [(-10, 259.9), (-20, 103.24), (-40, 12.84)])
def test_saturation_pressure_over_ice(temp_c: float, pa: float) -> None:
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(pa, rel=1e-3)


@pytest.mark.source("ASHRAE Handbook Fundamentals 2017 ch. 1 table 2 (saturated moist air)")
def test_saturated_humidity_ratio() -> None:
    entry = published("ws-25")
    ratio = air.humidity_ratio(air.saturation_pressure_pa(entry["inputs"]["t_C"]), entry["inputs"]["p_Pa"])
    assert ratio == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("ASHRAE Handbook Fundamentals 2017 ch. 1 example 1")
def test_wet_bulb_example() -> None:
    ratio_entry, volume_entry = published("psy-ex1-w"), published("psy-ex1-v")
    given_ = ratio_entry["inputs"]
    ratio = air.ratio_from_wet_bulb(given_["tdb_C"], given_["twb_C"], given_["p_Pa"])
    assert ratio == pytest.approx(ratio_entry["expected"], abs=ratio_entry["tolerance"])
    volume = air.volume_m3_kg(given_["tdb_C"], ratio, given_["p_Pa"])
    assert volume == pytest.approx(volume_entry["expected"], abs=volume_entry["tolerance"])
    assert air.enthalpy_kj_kg(given_["tdb_C"], ratio) == pytest.approx(56.7, abs=0.4)
    assert air.dew_point_c(air.vapour_pressure_pa(ratio)) == pytest.approx(7.0, abs=0.8)
    assert air.humidity_pct(given_["tdb_C"], ratio) == pytest.approx(14, abs=0.6)


@pytest.mark.source("CoolProp: humid air (ASHRAE RP-1485)")
@pytest.mark.parametrize(
    ("temp_c", "humidity"), [(-10, 80), (5, 80), (20, 50), (22, 60), (25, 100), (30, 60), (40, 30)]
)
@pytest.mark.parametrize("pressure", [101325.0, 84556.0])
def test_moist_air(temp_c: float, humidity: float, pressure: float) -> None:
    found = air.moist_air(temp_c=temp_c, humidity_pct=humidity, pressure_pa=pressure)
    state = ("T", temp_c + 273.15, "R", humidity / 100, "P", pressure)
    assert found.humidity_ratio == pytest.approx(HAPropsSI("W", *state), rel=2e-3)
    assert found.volume_m3_kg == pytest.approx(HAPropsSI("V", *state), rel=1e-3)
    assert found.enthalpy_kj_kg == pytest.approx(HAPropsSI("H", *state) / 1000, abs=0.2)
    assert found.dew_point_c == pytest.approx(HAPropsSI("D", *state) - 273.15, abs=0.02)
    assert found.dry_air_kg_m3 == pytest.approx(1 / HAPropsSI("V", *state), rel=1e-3)


@pytest.mark.source("CoolProp: humid air (ASHRAE RP-1485)")
@pytest.mark.parametrize(("temp_c", "humidity"), [(20, 50), (25, 80), (35, 40), (40, 15)])
def test_wet_bulb(temp_c: float, humidity: float) -> None:
    found = air.moist_air(temp_c=temp_c, humidity_pct=humidity)
    expected = HAPropsSI("B", "T", temp_c + 273.15, "R", humidity / 100, "P", 101325) - 273.15
    assert air.wet_bulb_c(temp_c, found.humidity_ratio) == pytest.approx(expected, abs=0.1)


@pytest.mark.source("ICAO standard atmosphere (ISO 2533), from memory")
@pytest.mark.parametrize(("altitude_m", "pa"), [(0, 101325), (1000, 89874), (2000, 79495), (3000, 70108)])
def test_pressure(altitude_m: float, pa: float) -> None:
    assert air.pressure_pa(altitude_m) == pytest.approx(pa, rel=2e-4)


@given(st.floats(0, 50), st.floats(5, 99))
def test_inverses(temp_c: float, humidity: float) -> None:
    found = air.moist_air(temp_c=temp_c, humidity_pct=humidity)
    assert air.vapour_pressure_pa(found.humidity_ratio) == pytest.approx(found.vapour_pa, rel=1e-9)
    assert air.humidity_pct(temp_c, found.humidity_ratio) == pytest.approx(humidity, rel=1e-6)
    assert air.saturation_pressure_pa(found.dew_point_c) == pytest.approx(found.vapour_pa, rel=1e-5)
    assert found.dew_point_c <= temp_c + 1e-6


@given(st.floats(5, 45), st.floats(0, 1))
def test_wet_bulb_is_the_inverse(wet_bulb: float, share: float) -> None:
    dry_bulb = wet_bulb + share * min(wet_bulb, 10)
    ratio = air.ratio_from_wet_bulb(dry_bulb, wet_bulb)
    assert air.wet_bulb_c(dry_bulb, ratio) == pytest.approx(wet_bulb, abs=1e-3)


def test_refusals() -> None:
    with pytest.raises(ScienceError):
        air.saturation_pressure_pa(math.nan)
    for humidity in (0, -5, 101, math.inf):
        with pytest.raises(ScienceError):
            air.moist_air(temp_c=20, humidity_pct=humidity)
    with pytest.raises(OutOfRange, match="altitude"):
        air.pressure_pa(9000)
    with pytest.raises(OutOfRange, match="warmer"):
        air.ratio_from_wet_bulb(20, 21)
    with pytest.raises(OutOfRange, match="impossible"):
        air.ratio_from_wet_bulb(60, 10)
    with pytest.raises(OutOfRange, match="below 0"):
        air.wet_bulb_c(5, 0.0001)
    with pytest.raises(OutOfRange, match="dew point"):
        air.dew_point_c(0.0)
