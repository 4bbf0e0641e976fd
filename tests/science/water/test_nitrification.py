from collections.abc import Callable
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import nitrification
from tests.science.published import published


@pytest.mark.source("Stoichiometry (molmass): 7.14 mg CaCO3 per mg N, no growth")
def test_alkalinity_per_nitrogen() -> None:
    value = published("nitrif-alk")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == nitrification.CACO3_MG_PER_MG_N
    assert nitrification.alkalinity_meq_day(1.0) * 50.0435 / 1000 == pytest.approx(value["expected"], abs=0.01)


@pytest.mark.source("EPA 625/4-73-004a nitrogen control (from memory): 4.57 g oxygen per g N")
def test_oxygen_per_nitrogen() -> None:
    assert nitrification.oxygen_g_day(10.0) == pytest.approx(45.7, abs=0.05)


@pytest.mark.source(
    "Ebeling, Timmons & Bisogni 2006 (from memory): with growth 7.05 g alkalinity and 4.18 g oxygen per g N"
)
def test_with_growth() -> None:
    assert nitrification.alkalinity_meq_day(1.0, growth=True) * 50.0435 / 1000 == pytest.approx(7.05, abs=0.005)
    assert nitrification.oxygen_g_day(1.0, growth=True) == pytest.approx(4.18)


@pytest.mark.source("Timmons & Ebeling handbook (from memory): TAN = 0.092 × feed × protein")
def test_ammonia_from_feed() -> None:
    assert nitrification.ammonia_g_day(1000, 0.45) == pytest.approx(41.4)


@pytest.mark.source("common practice: surface = load ÷ rate, 0.1 to 0.5 g N/m² a day")
def test_surface_and_media() -> None:
    area = nitrification.biofilter_area_m2(6.0, 0.3)
    assert area == pytest.approx(20)
    assert nitrification.media_l(area, 0.5) == pytest.approx(40)


@pytest.mark.source("common practice: a new biofilter takes about four to six weeks")
def test_start_up_takes_weeks() -> None:
    assert 21 < nitrification.startup_days() < 42


@pytest.mark.source("Verhulst's logistic law: inverse, and doubling while small")
@given(share=st.floats(0.05, 0.99), doubling=st.floats(0.5, 5))
def test_start_up_is_logistic(share: float, doubling: float) -> None:
    days = nitrification.startup_days(share, doubling_d=doubling)
    assert nitrification.started_share(days, doubling_d=doubling) == pytest.approx(share)
    early = nitrification.started_share(doubling, start_share=1e-5, doubling_d=doubling)
    assert early == pytest.approx(2e-5, rel=1e-3)


@pytest.mark.source("mass balance")
def test_days_of_alkalinity() -> None:
    days = nitrification.days_of_alkalinity(volume_l=1000, alkalinity_meq_l=2.8, least_meq_l=2.3, use_meq_day=50)
    assert days == pytest.approx(10)
    still = nitrification.days_of_alkalinity(volume_l=1000, alkalinity_meq_l=2.8, least_meq_l=2.3, use_meq_day=0)
    assert still == inf


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_nitrification_refuses(bad: float) -> None:
    calls: tuple[Callable[[], object], ...] = (
        lambda: nitrification.alkalinity_meq_day(bad),
        lambda: nitrification.oxygen_g_day(bad),
        lambda: nitrification.ammonia_g_day(bad, 0.4),
        lambda: nitrification.biofilter_area_m2(5, bad),
        lambda: nitrification.media_l(bad, 0.5),
        lambda: nitrification.startup_days(0.9, doubling_d=bad),
        lambda: nitrification.started_share(bad),
    )
    for call in calls:
        with pytest.raises(ScienceError):
            call()
    with pytest.raises(OutOfRange, match="already under"):
        nitrification.days_of_alkalinity(volume_l=1000, alkalinity_meq_l=2, least_meq_l=2.3, use_meq_day=50)
