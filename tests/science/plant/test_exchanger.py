import math
from typing import Any

import ht as untyped_ht
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.plant import exchanger
from tests.science.published import published

ht: Any = untyped_ht


@pytest.mark.source("Kays & London; manual of the library ht")
def test_counterflow() -> None:
    entry = published("entu-counter")
    found = exchanger.counterflow_effectiveness(entry["inputs"]["NTU"], entry["inputs"]["Cr"])
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Library ht: effectiveness and transfer units, to 0.1 %")
@given(st.floats(0.01, 12), st.floats(0.01, 0.99))
def test_counterflow_against_ht(ntu: float, ratio: float) -> None:
    found = exchanger.counterflow_effectiveness(ntu, ratio)
    assert found == pytest.approx(ht.effectiveness_from_NTU(ntu, ratio, subtype="counterflow"), rel=1e-3)
    if found < 0.99:
        assert exchanger.counterflow_ntu(found, ratio) == pytest.approx(ntu, rel=1e-4)
        assert exchanger.counterflow_ntu(found, ratio) == pytest.approx(
            ht.NTU_from_effectiveness(found, ratio, subtype="counterflow"), rel=1e-3
        )


@pytest.mark.source("Library ht: effectiveness of a boiler or condenser (Cr = 0) and of equal streams")
@pytest.mark.parametrize("ntu", [0.1, 1, 3, 8])
def test_coil_and_equal_streams(ntu: float) -> None:
    assert exchanger.coil_effectiveness(ntu) == pytest.approx(
        ht.effectiveness_from_NTU(ntu, 0.0, subtype="counterflow")
    )
    equal = exchanger.counterflow_effectiveness(ntu, 1.0)
    assert equal == pytest.approx(ht.effectiveness_from_NTU(ntu, 1.0, subtype="counterflow"), rel=1e-9)
    assert exchanger.counterflow_ntu(equal, 1.0) == pytest.approx(ntu)


@pytest.mark.source("Incropera & DeWitt example 11.1 (from memory)")
def test_incropera_oil_cooler() -> None:
    entry = published("incropera-11-1")
    given_ = entry["inputs"]
    heat = given_["m_hot"] * given_["cp_hot"] * (given_["Thi"] - given_["Tho"])
    cold_out = given_["Tci"] + heat / (given_["m_cold"] * given_["cp_cold"])
    found = exchanger.log_mean_k(
        hot_in_c=given_["Thi"], hot_out_c=given_["Tho"], cold_in_c=given_["Tci"], cold_out_c=cold_out
    )
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])
    assert found == pytest.approx(ht.LMTD(given_["Thi"], given_["Tho"], given_["Tci"], cold_out))


@pytest.mark.source("Incropera & DeWitt example 11.3 (from memory)")
def test_incropera_cross_flow() -> None:
    entry = published("incropera-11-3")
    given_ = entry["inputs"]
    water = given_["m_water"] * given_["cp_water"]
    heat = water * (given_["Tco"] - given_["Tci"])
    gas = heat / (given_["Thi"] - given_["Tho"])
    effect = heat / (gas * (given_["Thi"] - given_["Tci"]))
    area = exchanger.crossflow_ntu(effect, gas / water) * gas / given_["U"]
    assert area == pytest.approx(entry["expected"], abs=entry["tolerance"])


flows = st.floats(100, 20_000)


@pytest.mark.source("LMTD against ε-NTU: both must give the same heat; library ht.effectiveness_NTU_method")
@given(st.floats(50, 3000), flows, flows, st.floats(20, 30), st.floats(5, 15))
def test_duty_agrees_with_the_log_mean(ua: float, tank: float, chilled: float, tank_c: float, supply: float) -> None:
    assume(abs(tank - chilled) > 1e-3 * tank)  # the library loses all digits where the streams are all but equal
    found = exchanger.duty(ua_w_k=ua, tank_w_k=tank, chilled_w_k=chilled, tank_c=tank_c, chilled_c=supply)
    oracle = ht.effectiveness_NTU_method(
        mh=tank, mc=chilled, Cph=1.0, Cpc=1.0, Thi=tank_c, Tci=supply, UA=ua, subtype="counterflow"
    )
    assert found.heat_w == pytest.approx(oracle["Q"], rel=1e-3)
    assert found.tank_out_c == pytest.approx(oracle["Tho"], rel=1e-3)
    if found.ntu < 10:
        mean = exchanger.log_mean_k(
            hot_in_c=tank_c, hot_out_c=found.tank_out_c, cold_in_c=supply, cold_out_c=found.chilled_out_c
        )
        assert ua * mean == pytest.approx(found.heat_w, rel=1e-3)
        assert found.log_mean_k == pytest.approx(mean, rel=1e-3)


@pytest.mark.source("Inverse of the duty: conductance and chilled flow that carry it again")
@given(st.floats(50, 3000), flows, flows, st.booleans())
def test_sizing_is_the_inverse(ua: float, tank: float, chilled: float, coil: bool) -> None:
    streams = {"tank_w_k": tank, "tank_c": 25.5, "chilled_c": 9.0}
    found = exchanger.duty(ua_w_k=ua, chilled_w_k=chilled, coil=coil, **streams)
    if found.ntu < 8:
        again = exchanger.ua_for_duty(heat_w=found.heat_w, chilled_w_k=chilled, coil=coil, **streams)
        assert again == pytest.approx(ua, rel=1e-3)
    if found.ntu < 4:
        flow = exchanger.chilled_flow_w_k(heat_w=found.heat_w, ua_w_k=ua, most_w_k=chilled * 3, coil=coil, **streams)
        assert flow == pytest.approx(chilled, rel=5e-3)
    assert exchanger.chilled_flow_w_k(heat_w=1e9, ua_w_k=ua, most_w_k=chilled, coil=coil, **streams) is None


@pytest.mark.source("Definition of Kv and Cv (IEC 60534): Cv = 1.156 Kv")
def test_valve() -> None:
    assert exchanger.valve_kv(1000, 100) == pytest.approx(1)
    assert exchanger.valve_kv(2000, 25) == pytest.approx(4)
    assert exchanger.valve_cv(1) == pytest.approx(1.156, rel=1e-3)


@pytest.mark.source("Heat capacity rate by hand: 3600 L/h of water is 1 kg/s")
def test_flow() -> None:
    assert exchanger.flow_w_k(3600, 4190) == pytest.approx(4190)


@pytest.mark.source("Common practice: titanium and plastics in seawater, never copper")
def test_materials() -> None:
    fit = {item.name.split(",")[0].split()[0]: item.fit for item in exchanger.MATERIALS}
    assert fit["Titanium"] == fit["PVC"] == "good"
    assert fit["Copper"] == "never"


def test_refusals() -> None:
    with pytest.raises(ScienceError, match="colder"):
        exchanger.duty(ua_w_k=100, tank_w_k=1000, chilled_w_k=1000, tank_c=20, chilled_c=21)
    with pytest.raises(ScienceError, match="at the very most"):
        exchanger.ua_for_duty(heat_w=20_000, tank_w_k=1000, chilled_w_k=1000, tank_c=25, chilled_c=10)
    with pytest.raises(OutOfRange, match="cross"):
        exchanger.log_mean_k(hot_in_c=25, hot_out_c=20, cold_in_c=10, cold_out_c=26)
    for bad in (math.nan, -1, math.inf):
        with pytest.raises(ScienceError):
            exchanger.counterflow_effectiveness(bad, 0.5)
        with pytest.raises(ScienceError):
            exchanger.counterflow_effectiveness(1, bad)
