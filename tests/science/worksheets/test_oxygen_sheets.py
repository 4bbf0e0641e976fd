import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import short_name
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import (
    assert_same_in_us_units,
    number,
    sentences,
)
from tests.science.worksheets.typical import TYPICAL

DAY, STOP = TYPICAL["oxygen-budget"], TYPICAL["oxygen-after-flow-stops"]


@pytest.mark.parametrize("name", TYPICAL)
def test_short_names_are_unique(name: str) -> None:
    names = [short_name(item.key) for item in worksheet(name).inputs]
    assert len(set(names)) == len(names)


@pytest.mark.source("NIST SP 811: the same system typed in US units")
def test_us_units() -> None:
    us_day = {"volume": "1320.86 gal", "fish": "17.637 lb", "feed": "2.11644 oz/day", "temp": "77.9 F"}
    assert_same_in_us_units(worksheet("oxygen-budget"), DAY, us_day)
    us_stop = {"volume": "1320.86 gal", "fish": "17.637 lb", "surface": "53.82 ft2", "temp": "77.9 F"}
    assert_same_in_us_units(worksheet("oxygen-after-flow-stops"), STOP, us_stop)


@pytest.mark.source("Garcia & Gordon 1992: saturation at S 35, 25 °C is 6.77 mg/L")
def test_saturation() -> None:
    found = run(worksheet("oxygen-budget"), {**DAY, "temp": "25", "salinity": "35"})
    assert found.values["saturation_mg_l"] == pytest.approx(6.77, abs=0.005)


@pytest.mark.source("mass balance by hand: 8 kg × 300 mg/kg/h + 5000 L × 0.2 mg/L/h + nitrification 0.473 g/h")
def test_use_by_night() -> None:
    nitrification = 0.092 * 0.45 * 60 * 4.569 / 24
    assert run(worksheet("oxygen-budget"), DAY).values["use_g_h"] == pytest.approx(2.4 + 1.0 + nitrification, rel=1e-3)


@pytest.mark.source("mass balance: a reading before lights on is given back as the day's lowest")
def test_a_reading_at_dawn_is_given_back() -> None:
    found = run(worksheet("oxygen-budget"), {**DAY, "dawn": "4.6"})
    assert found.values["lowest_mg_l"] == pytest.approx(4.6, abs=0.05)
    assert number(found, "lowest_clock") == pytest.approx(10, abs=0.5)  # as the lights come on
    assert "more air" in sentences(found)
    assert "Danger" in sentences(run(worksheet("oxygen-budget"), {**DAY, "dawn": "3.5"}))
    with pytest.raises(BadInput) as refused:
        run(worksheet("oxygen-budget"), {**DAY, "dawn": "9"})
    assert "dawn_mg_l" in refused.value.errors


@pytest.mark.source("closed form (C0 − Cmin) V / R: a bound from below on the time with some exchange")
def test_hours_after_the_flow_stops() -> None:
    found = run(worksheet("oxygen-after-flow-stops"), {**STOP, "oxygen": "6.4"})
    assert found.values["sealed_h"] == pytest.approx((6.4 - 4.0) * 5000 / 3400, rel=1e-3)
    assert number(found, "sealed_h") < number(found, "limit_h") < 1.2 * number(found, "sealed_h")
    assert number(found, "warn_h") < number(found, "limit_h")


@pytest.mark.source("physics: enough emergency air holds the water above the limit")
def test_emergency_air_holds_it() -> None:
    alone = run(worksheet("oxygen-after-flow-stops"), STOP)
    needed = next(line.terms["needed"] for line in alone.do if "needed" in line.terms)
    assert not isinstance(needed, str)
    aired = run(worksheet("oxygen-after-flow-stops"), {**STOP, "air": f"{needed.value * 1.02:.4f}"})
    assert aired.values["limit_h"] is None
    assert "does not fall" in sentences(aired)
    late = run(worksheet("oxygen-after-flow-stops"), {**STOP, "oxygen": "3.5"})
    assert "aerate at once" in sentences(late)


def test_refuses_more_fish_than_water() -> None:
    with pytest.raises(BadInput, match="check units"):
        run(worksheet("oxygen-after-flow-stops"), {**STOP, "volume": "20"})
