from collections.abc import Callable
from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PyCO2SYS.equilibria import p1atm

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import ammonia, ph_scales
from tests.science.published import published

SALINITY = st.floats(20, 40)
TEMP_C = st.floats(10, 32)


@pytest.mark.source("PyCO2SYS as an independent library: ammonium of Clegg & Whitfield 1995, total scale")
@given(salinity=SALINITY, temp_c=TEMP_C)
def test_clegg_and_whitfield(salinity: float, temp_c: float) -> None:
    expected = p1atm.kNH3_TOT_CW95(temp_c + 273.15, salinity)
    assert 10 ** -ammonia.pk_clegg(salinity, temp_c) == pytest.approx(float(expected), rel=1e-9)


@pytest.mark.source("Yao & Millero 1995: ln K total scale at S 35, 25 °C")
def test_yao_and_millero() -> None:
    value = published("nh4-ym95")
    found = -ammonia.pk_yao_millero(value["inputs"]["S"], value["inputs"]["t_C"]) * log(10)
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Bell et al. 2008: pKa of ammonium, temperature in °C")
def test_bell() -> None:
    value = published("nh4-bell")
    found = ammonia.pk_bell(value["inputs"]["S"], value["inputs"]["t_C"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Emerson et al. 1975 table (from memory): un-ionised % at pH 8: 3.82 at 20 °C, 5.38 at 25 °C")
@pytest.mark.parametrize(("temp_c", "percent"), [(20, 3.82), (25, 5.38)])
def test_fresh_water(temp_c: float, percent: float) -> None:
    share = ammonia.toxic_share(ph=8.0, scale="fresh", salinity=0, temp_c=temp_c)
    assert 100 * share == pytest.approx(percent, abs=0.01)
    assert ammonia.pk("fresh", 0, temp_c) == ammonia.pk_emerson(temp_c)


@pytest.mark.source("Computed by two codes: un-ionised share at pH total 8.06, S 35, 25 °C")
def test_share_on_the_total_scale() -> None:
    value = published("nh3-frac")
    given_ = value["inputs"]
    found = ammonia.toxic_share(ph=given_["pH_total"], scale="total", salinity=given_["S"], temp_c=given_["t_C"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Dickson 2007: one water has one share, whichever scale its pH is told on")
@given(ph=st.floats(7.6, 8.6), temp_c=st.floats(18, 30))
def test_scales_agree(ph: float, temp_c: float) -> None:
    total = ammonia.toxic_share(ph=ph, scale="total", salinity=35, temp_c=temp_c)
    free_ph = ph_scales.from_total(ph, "free", 35, temp_c)
    free = ammonia.toxic_share(ph=free_ph, scale="free", salinity=35, temp_c=temp_c)
    assert free == pytest.approx(total, rel=0.08)
    mixed = ammonia.toxic_share(ph=ph, scale="free", salinity=35, temp_c=temp_c)
    assert mixed < 0.9 * total  # a total pH with a free-scale pK: a fifth too little


@pytest.mark.source("molmass: N is 82.24 % of NH3")
def test_toxic_nitrogen() -> None:
    assert ammonia.toxic_mg_l_n(ammonia_mg_l=0.5, share=0.06) == pytest.approx(0.5 * 0.06 * 0.8224, rel=1e-3)


@pytest.mark.source("physics: warmer or more alkaline water holds more NH3")
@given(ph=st.floats(7.5, 8.6), temp_c=st.floats(10, 30))
def test_share_rises_with_ph_and_warmth(ph: float, temp_c: float) -> None:
    def share(at: float, warm: float) -> float:
        return ammonia.toxic_share(ph=at, scale="total", salinity=35, temp_c=warm)

    assert share(ph + 0.1, temp_c) > share(ph, temp_c) < share(ph, temp_c + 1)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_ammonia_refuses(bad: float) -> None:
    calls: tuple[Callable[[], object], ...] = (
        lambda: ammonia.toxic_share(ph=bad, scale="total", salinity=35, temp_c=25),
        lambda: ammonia.toxic_share(ph=8, scale="total", salinity=bad, temp_c=25),
        lambda: ammonia.toxic_mg_l_n(ammonia_mg_l=bad, share=0.1),
    )
    for call in calls:
        with pytest.raises(ScienceError):
            call()


def test_ammonia_refuses_pairs_that_do_not_belong_together() -> None:
    with pytest.raises(ScienceError, match="scale"):
        ammonia.toxic_share(ph=8, scale="", salinity=35, temp_c=25)
    with pytest.raises(ScienceError, match="fresh-water"):
        ammonia.toxic_share(ph=8, scale="fresh", salinity=35, temp_c=25)
    with pytest.raises(OutOfRange, match="water temperature"):
        ammonia.pk_bell(35, 298.15)  # kelvin typed for °C
