import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import ph_scales
from tests.science.published import published


@pytest.mark.source("Takahashi et al. 1982: NBS above total scale at S 35, 25 °C")
def test_a_meter_set_in_fresh_buffers_reads_above_the_total_scale() -> None:
    value = published("pH-nbs-total")
    assert ph_scales.above_total("nbs", 35, 25) == pytest.approx(value["expected"], abs=value["tolerance"])
    assert ph_scales.activity_coefficient(35, 25) == pytest.approx(0.7134, abs=1e-3)


@pytest.mark.source("PyCO2SYS: conversion between pH scales")
@pytest.mark.parametrize(("salinity", "temp_c"), [(30.0, 20.0), (35.0, 25.0), (38.0, 28.0)])
def test_scales_agree_with_an_independent_code(salinity: float, temp_c: float) -> None:
    import PyCO2SYS

    result = PyCO2SYS.sys(
        par1=2500, par2=8.05, par1_type=1, par2_type=3, salinity=salinity, temperature=temp_c,
        opt_k_carbonic=10, opt_total_borate=2, opt_pH_scale=1,
    )  # fmt: skip
    assert ph_scales.from_total(8.05, "free", salinity, temp_c) == pytest.approx(float(result["pH_free"]), abs=2e-3)
    assert ph_scales.from_total(8.05, "sws", salinity, temp_c) == pytest.approx(float(result["pH_sws"]), abs=5e-3)
    assert ph_scales.from_total(8.05, "nbs", salinity, temp_c) == pytest.approx(float(result["pH_nbs"]), abs=5e-3)


@given(st.floats(6, 9), st.sampled_from(sorted(ph_scales.SCALES)), st.floats(20, 42), st.floats(5, 34))
def test_there_and_back_is_the_same_ph(ph: float, scale: str, salinity: float, temp_c: float) -> None:
    total = ph_scales.to_total(ph, scale, salinity, temp_c)
    assert ph_scales.from_total(total, scale, salinity, temp_c) == pytest.approx(ph, abs=1e-9)


def test_an_unknown_scale_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ScienceError, match="total"):
        ph_scales.to_total(8.1, "german", 35, 25)
