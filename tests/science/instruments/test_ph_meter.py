import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.instruments import ph_meter
from tests.science.published import published


@pytest.mark.source("ISO 23496 / handbooks (from memory): ideal slope 58.17 mV at 20 °C, 59.16 mV at 25 °C")
@pytest.mark.parametrize(("temp_c", "slope"), [(0, 54.20), (20, 58.17), (25, 59.16), (30, 60.15)])
def test_ideal_slope(temp_c: float, slope: float) -> None:
    assert ph_meter.ideal_slope_mv(temp_c) == pytest.approx(slope, abs=0.005)


@pytest.mark.source(
    "IUPAC 2002 (Buck et al., from memory): phthalate 4.005, phosphate 6.865, borax 9.180, carbonate 10.012"
)
@pytest.mark.parametrize(("name", "ph"), [("4.01", 4.005), ("6.86", 6.865), ("9.18", 9.180), ("10.01", 10.012)])
def test_buffers_at_25(name: str, ph: float) -> None:
    assert ph_meter.buffer_ph(name, 25) == pytest.approx(ph, abs=0.001)


@pytest.mark.source("common practice: the technical buffer 7.00 shows 7.02 at 20 °C")
def test_technical_buffer() -> None:
    assert ph_meter.buffer_ph("7.00", 20) == pytest.approx(7.02)
    assert ph_meter.buffer_ph("7.00", 22.5) == pytest.approx(7.01)


@pytest.mark.source("Nernst equation: an electrode made of a slope and an offset gives both back")
@given(slope_pct=st.floats(85, 103), offset=st.floats(-30, 30), temp_c=st.floats(15, 30), sample=st.floats(7.5, 9.0))
def test_electrode_is_found_again(slope_pct: float, offset: float, temp_c: float, sample: float) -> None:
    slope = ph_meter.ideal_slope_mv(temp_c) * slope_pct / 100
    first, second = ph_meter.buffer_ph("7.00", temp_c), ph_meter.buffer_ph("10.01", temp_c)
    cell = ph_meter.electrode(
        first_ph=first,
        first_mv=offset - slope * (first - 7),
        second_ph=second,
        second_mv=offset - slope * (second - 7),
        temp_c=temp_c,
    )
    assert cell.slope_pct == pytest.approx(slope_pct)
    assert cell.offset_mv == pytest.approx(offset, abs=1e-9)
    assert ph_meter.ph_from_mv(cell, offset - slope * (sample - 7), temp_c) == pytest.approx(sample)


@pytest.mark.source("Takahashi et al. 1982: NBS reading above the total scale at S 35, 25 °C")
def test_reading_comes_onto_the_total_scale() -> None:
    value = published("pH-nbs-total")
    found = ph_meter.measure(reading=8.2, scale="nbs", salinity=35, temp_c=25)
    assert 8.2 - found.value == pytest.approx(value["expected"], abs=value["tolerance"])
    assert found.sd == pytest.approx((0.05**2 + 0.02**2 + 0.01**2 / 12) ** 0.5, rel=1e-3)


@pytest.mark.source("Dickson 2007: a Tris seawater buffer puts the meter on the total scale")
def test_total_reading_stays() -> None:
    found = ph_meter.measure(reading=8.05, scale="total", salinity=35, temp_c=25)
    assert found.value == pytest.approx(8.05)
    assert found.sd < 0.03  # no junction between two seawaters


def test_ph_meter_refuses() -> None:
    with pytest.raises(OutOfRange, match="swapped"):
        ph_meter.electrode(first_ph=7, first_mv=-177, second_ph=10, second_mv=0, temp_c=25)
    with pytest.raises(ScienceError, match="1 pH apart"):
        ph_meter.electrode(first_ph=7, first_mv=0, second_ph=6.86, second_mv=8, temp_c=25)
    with pytest.raises(ScienceError, match="buffer"):
        ph_meter.buffer_ph("8.00", 25)
    with pytest.raises(OutOfRange, match="buffer temperature"):
        ph_meter.buffer_ph("7.00", 50)
    with pytest.raises(ScienceError):
        ph_meter.measure(reading=float("nan"), scale="nbs", salinity=35, temp_c=25)
    with pytest.raises(ScienceError):
        ph_meter.measure(reading=8.2, scale="celsius", salinity=35, temp_c=25)
