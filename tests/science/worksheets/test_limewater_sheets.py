"""Worksheets of limewater: never more than is used, told in rates a pump can be set to."""

import pytest

from servicedesk.science.water import limewater
from servicedesk.science.words import Amount
from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.typed import BadInput
from servicedesk.science.worksheets.water.ph_day import _hourly
from tests.science.worksheets.trying import number, sentences

HOURS = {"volume": "10000", "alkalinity": "2.9", "demand": "0.05", "litres": "20"}


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


@pytest.mark.source("mass balance: limewater for 0.05 meq/L a day in 10 000 L")
def test_no_more_limewater_is_given_than_alkalinity_is_used() -> None:
    answer = worked("limewater-hours", **HOURS | {"litres": "200"})
    most = 0.05 * 10_000 / limewater.limewater_meq_l(22, 0.85)
    assert number(answer, "litres_used_l_day") <= most * (1 + 1e-9)
    assert "all the alkalinity that is used" in sentences(answer)


def test_a_small_pump_is_named_as_the_limit() -> None:
    answer = worked("limewater-hours", **HOURS | {"demand": "0.2", "pump": "0.5", "room_co2": "1500"})
    assert number(answer, "litres_used_l_day") == pytest.approx(12, rel=0.02)
    words = sentences(answer)
    assert "the pump carries no more" in words
    assert "all day round" in words


@pytest.mark.parametrize("litres", ["0.2", "0.5"])
def test_a_small_tank_gets_its_few_tenths_of_a_litre(litres: str) -> None:
    answer = worked("limewater-hours", volume="800", alkalinity="2.9", demand="0.1", litres=litres)
    told = sum(
        ((end.value - start.value) % 24 or 24) * rate.value
        for start, end, rate in answer.listings[0].rows
        if isinstance(start, Amount) and isinstance(end, Amount) and isinstance(rate, Amount)
    )
    assert told == pytest.approx(number(answer, "litres_used_l_day"), rel=0.01)


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(BadInput) as refused:
        worked("limewater-hours", **HOURS | {"band_low": "8.4", "band_high": "8.2"})
    assert "band_high" in refused.value.errors


@pytest.mark.source("by hand: 22:30 to 06:00 at 4 L an hour is 30 L, 2 L of it before 23:00")
def test_half_hours_of_limewater_count() -> None:
    litres = _hourly(((22.5, 6.0, 4.0),))
    assert sum(litres) == pytest.approx(30)
    assert litres[22] == pytest.approx(2)
    assert litres[6] == 0
    assert sum(_hourly(((8.0, 8.0, 1.0),))) == pytest.approx(24)
    assert sum(_hourly(((23.25, 23.75, 2.0),))) == pytest.approx(1)


def test_lime_beyond_the_use_is_flagged_in_a_fit() -> None:
    typed = {"volume": "10000", "alkalinity": "2.9", "readings": "07:00 7.95; 20:00 8.25", "lime": "22:30 06:00 4"}
    assert "one of them is wrong" in sentences(worked("ph-over-the-day", **typed, demand="0.05"))
    assert "one of them is wrong" not in sentences(worked("ph-over-the-day", **typed, demand="0.2"))


def test_no_top_off_means_no_limewater() -> None:
    answer = worked("limewater-share", volume="10000", evaporation="0", demand="0.1")
    assert "Give no limewater" in sentences(answer)


@pytest.mark.source("stoichiometry: 37.05 g of calcium hydroxide an equivalent")
def test_the_powder_is_that_of_saturated_water() -> None:
    answer = worked("limewater-share", volume="10000", evaporation="40", demand="1", lime_temp="25")
    assert number(answer, "powder_g_day") == pytest.approx(40 * 40.67 * 37.046 / 1000, rel=1e-3)


@pytest.mark.source("mass balance: carbon dioxide of the reactor can only lower the pH of the day")
def test_the_carbon_dioxide_of_the_reactor_presses_the_ph() -> None:
    plain, pressed = (
        worked("limewater-hours", **HOURS | {"litres": "0", "reactor_co2": grams}) for grams in ("0", "20")
    )
    drop = number(plain, "lowest_ph") - number(pressed, "lowest_ph")
    assert 0.01 < drop < 0.1
