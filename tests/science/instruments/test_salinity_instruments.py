"""Conductivity meter, refractometer and hydrometer."""

from collections.abc import Callable

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.instruments import conductivity, hydrometer, refractometer
from servicedesk.science.water import seawater
from tests.science.published import published

SALINITY = st.floats(20, 40)
TEMP_C = st.floats(10, 34)
BAD = [float("nan"), float("inf"), -5.0]


# Conductivity


@pytest.mark.source("UNESCO Technical Papers in Marine Science 44: PSS-78 check values")
@pytest.mark.parametrize("entry", ["pss78-a", "pss78-c"])
def test_pss_78_check_values(entry: str) -> None:
    value = published(entry)
    given_ = value["inputs"]
    found = conductivity.salinity_from_ratio(given_["R"], given_["t68_C"] / 1.00024, given_["p_dbar"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Culkin & Smith 1980: standard seawater conducts 42.914 mS/cm at 15 °C (IPTS-68)")
def test_standard_seawater() -> None:
    value = published("cond-35-15")
    temp_c = value["inputs"]["t68_C"] / 1.00024
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == conductivity.STANDARD_MS_CM
    assert conductivity.salinity(value["expected"], temp_c) == pytest.approx(35, abs=1e-3)
    assert seawater.conductivity_ms_cm(35, temp_c) == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("gsw (TEOS-10 toolbox) SP_from_C as an independent library")
@given(salinity=SALINITY, temp_c=TEMP_C, coefficient=st.floats(1.5, 2.5), reference=st.sampled_from([20.0, 25.0]))
def test_every_compensation_is_undone(salinity: float, temp_c: float, coefficient: float, reference: float) -> None:
    raw = float(gsw.C_from_SP(salinity, temp_c, 0.0))
    shown = {
        "raw": raw,
        "linear": raw / (1 + coefficient / 100 * (temp_c - reference)),
        "seawater": float(gsw.C_from_SP(salinity, reference, 0.0)),
    }
    for compensation, reading in shown.items():
        found = conductivity.measure(
            reading_ms_cm=reading,
            temp_c=temp_c,
            compensation=compensation,
            reference_c=reference,
            coefficient_pct=coefficient,
        )
        assert found.value == pytest.approx(salinity, abs=2e-6)
        assert 0.1 < found.sd < 1.0
        back = conductivity.raw_ms_cm(
            reading_ms_cm=reading,
            temp_c=temp_c,
            compensation=compensation,
            reference_c=reference,
            coefficient_pct=coefficient,
        )
        assert back == pytest.approx(raw, rel=1e-7)


@pytest.mark.source("JCGM 100:2008 (GUM): errors by simulation of 4000 readings")
def test_error_of_conductivity_by_simulation() -> None:
    draw = np.random.default_rng(7)
    raw = draw.normal(53.07, 0.3, 4000)
    temp = draw.normal(25, 0.2, 4000)
    simulated = float(np.std(gsw.SP_from_C(raw, temp, 0.0)))
    found = conductivity.measure(
        reading_ms_cm=53.07, temp_c=25, resolution_ms_cm=0.0, accuracy_pct=100 * 0.3 / 53.07, temp_sd_c=0.2
    )
    assert found.sd == pytest.approx(simulated, rel=0.05)


@pytest.mark.source("UNESCO 44: salinity follows from the ratio of two conductivities at one temperature")
def test_a_standard_sets_the_cell() -> None:
    factor = conductivity.cell_factor(shown_ms_cm=52.0, standard_ms_cm=seawater.conductivity_ms_cm(35, 25))
    found = conductivity.measure(reading_ms_cm=52.0, temp_c=25, factor=factor)
    assert found.value == pytest.approx(35, abs=1e-6)


@pytest.mark.parametrize("bad", BAD)
def test_conductivity_refuses(bad: float) -> None:
    with pytest.raises(ScienceError):
        conductivity.measure(reading_ms_cm=bad, temp_c=25)
    with pytest.raises(ScienceError):
        conductivity.measure(reading_ms_cm=53, temp_c=bad)
    with pytest.raises(ScienceError):
        conductivity.cell_factor(shown_ms_cm=bad, standard_ms_cm=53)


def test_conductivity_names_what_is_out_of_range() -> None:
    with pytest.raises(OutOfRange, match="salinity by conductivity"):
        conductivity.salinity(0.5, 25)  # fresh water: PSS-78 starts at 2
    with pytest.raises(OutOfRange, match="salinity by conductivity"):
        conductivity.salinity(90, 25)
    with pytest.raises(ScienceError, match="compensation"):
        conductivity.raw_ms_cm(reading_ms_cm=53, temp_c=25, compensation="automatic")


# Refractometer


@pytest.mark.source("Quan & Fry 1995 (from memory): seawater S 35, 20 °C, 589.3 nm")
def test_index_of_seawater() -> None:
    value = published("refr-index")
    found = refractometer.refractive_index(value["inputs"]["SP"], value["inputs"]["t_C"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("CRC Handbook (from memory): index of pure water 1.33299, of NaCl 1 %, 3 %, 5 % by mass at 20 °C")
@pytest.mark.parametrize(("g_kg", "index"), [(0, 1.3330), (10, 1.3347), (30, 1.3383), (50, 1.3418)])
def test_index_of_brine(g_kg: float, index: float) -> None:
    assert refractometer.index_of_reading(g_kg, "brine") == pytest.approx(index, abs=8e-5)  # printed to four decimals


@pytest.mark.source("common practice: natural seawater reads about 36.5 on a sodium chloride refractometer")
def test_seawater_reads_high_on_a_brine_scale() -> None:
    assert refractometer.salinity(reading=36.5, scale="brine") == pytest.approx(35, abs=0.2)


@pytest.mark.source("Quan & Fry 1995: inverse of the published equation")
@given(salinity=SALINITY, temp_c=st.floats(5, 30))
def test_index_and_salinity_are_inverse(salinity: float, temp_c: float) -> None:
    index = refractometer.refractive_index(salinity, temp_c)
    assert refractometer.salinity_from_index(index, temp_c) == pytest.approx(salinity, abs=1e-6)


@pytest.mark.source(
    "common practice: a scale set with a standard of seawater is right at the standard, whatever it shows"
)
@given(shift=st.floats(-3, 3), scale=st.sampled_from(["seawater", "brine"]), temp_c=st.floats(15, 29))
def test_a_standard_takes_the_error_out(shift: float, scale: str, temp_c: float) -> None:
    found = refractometer.measure(
        reading=34 + shift, scale=scale, temp_c=temp_c, standard=35, standard_reading=34 + shift
    )
    assert found.value == pytest.approx(35, abs=1e-6)
    bare = refractometer.measure(reading=34 + shift, scale=scale, temp_sd_c=0.0)
    assert found.sd == pytest.approx(bare.sd * 2**0.5, rel=0.05)  # read twice


@pytest.mark.parametrize("bad", BAD)
def test_refractometer_refuses(bad: float) -> None:
    calls: tuple[Callable[[], object], ...] = (
        lambda: refractometer.salinity(reading=bad),
        lambda: refractometer.salinity(reading=35, temp_c=bad),
        lambda: refractometer.refractive_index(35, 20, bad),
        lambda: refractometer.salinity(reading=bad, scale="brine"),
    )
    for call in calls:
        with pytest.raises(ScienceError):
            call()


def test_refractometer_wants_the_standard_whole() -> None:
    with pytest.raises(ScienceError, match="standard"):
        refractometer.salinity(reading=35, standard=35)
    with pytest.raises(ScienceError, match="scale"):
        refractometer.salinity(reading=35, scale="brix")
    with pytest.raises(OutOfRange, match="no seawater"):
        refractometer.salinity_from_index(1.3450, 20)


# Hydrometer


@pytest.mark.source("EOS-80 and TEOS-10: specific gravity of S 35 at stated temperatures")
@pytest.mark.parametrize("entry", ["sg-1", "sg-3", "sg-5"])
def test_a_reading_at_the_calibration_temperature(entry: str) -> None:
    value = published(entry)
    sample, water = value["inputs"]["t_sample_C"], value["inputs"]["t_water_C"]
    found = hydrometer.salinity(reading=value["expected"], sample_c=sample, calibration_c=sample, water_c=water)
    # 1e-5 of specific gravity is 0.013 of salinity
    assert found == pytest.approx(35, abs=value["tolerance"] * 1340)


@pytest.mark.source("gsw (TEOS-10 toolbox) rho_t_exact as an independent library, glass 2.5e-5 per °C (from memory)")
@given(
    salinity=SALINITY, sample_c=st.floats(15, 32), marked=st.sampled_from([(25.0, 25.0), (15.56, 15.56), (20.0, 4.0)])
)
def test_hydrometer_is_the_inverse_of_density(salinity: float, sample_c: float, marked: tuple[float, float]) -> None:
    calibration_c, water_c = marked
    density = float(gsw.rho_t_exact(salinity * 35.16504 / 35, sample_c, 0))
    reading = density / float(gsw.rho_t_exact(0, water_c, 0)) / (1 - 2.5e-5 * (sample_c - calibration_c))
    found = hydrometer.salinity(reading=reading, sample_c=sample_c, calibration_c=calibration_c, water_c=water_c)
    assert found == pytest.approx(salinity, abs=1e-5)
    assert hydrometer.density_kg_l(
        reading=reading, sample_c=sample_c, calibration_c=calibration_c, water_c=water_c
    ) * 1000 == pytest.approx(density)


@pytest.mark.source("gsw: d(rho)/dS is about 0.75 kg/m³, so 0.0005 of specific gravity is about 0.65 of salinity")
def test_error_of_a_hydrometer() -> None:
    found = hydrometer.measure(
        reading=1.0264, sample_c=25, calibration_c=25, water_c=25, resolution=0.0, reading_sd=0.0005, temp_sd_c=0.0
    )
    assert found.sd == pytest.approx(0.66, abs=0.02)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0, 1.2])
def test_hydrometer_refuses(bad: float) -> None:
    with pytest.raises(ScienceError):
        hydrometer.salinity(reading=bad, sample_c=25, calibration_c=25, water_c=25)


def test_hydrometer_names_a_reading_of_no_seawater() -> None:
    with pytest.raises(OutOfRange, match="no seawater"):
        hydrometer.salinity(reading=0.995, sample_c=25, calibration_c=25, water_c=25)
