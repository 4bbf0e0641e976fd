import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import LIFTING, MAINS
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from servicedesk.science.worksheets.water.reverse_osmosis import UNWATCHED
from tests.science.worksheets.trying import assert_same_in_us_units, number, sentences
from tests.science.worksheets.typical import TYPICAL

SUPPLY, FILL = TYPICAL["ro-supply"], TYPICAL["first-fill"]


@pytest.mark.source("By hand: 62.86 L a day at 25 % is 188.6 L of reject; factor 0.626 at 10 °C, 389.5 of 414 kPa")
def test_supply() -> None:
    found = run(worksheet("ro-supply"), SUPPLY).values
    assert found["need_l_day"] == pytest.approx(20 + 300 / 7)
    assert found["reject_l_day"] == pytest.approx(3 * (20 + 300 / 7))
    assert found["production_l_day"] == pytest.approx(700 * 0.6257 * 389.5 / 414, rel=1e-3)
    assert found["storage_l"] == pytest.approx(300)


def test_says_when_the_membranes_are_too_small() -> None:
    assert "add membranes" in sentences(run(worksheet("ro-supply"), {**SUPPLY, "rated": "50"}))


@pytest.mark.source("TEOS-10 by hand: 8000 L hold 8186.7 kg less 287.9 kg of salt, 7922 L of water at 997.05 kg/m³")
def test_first_fill() -> None:
    found = run(worksheet("first-fill"), {**FILL, "dry": "100"})
    assert found.values["ro_water_l"] == pytest.approx(7922, abs=1)
    assert found.values["salt_kg"] == pytest.approx(287.9, abs=0.1)
    assert found.values["reject_l"] == pytest.approx(3 * 7922, abs=3)
    assert found.values["batches"] == 8
    assert len(found.listings[0].rows) == 8
    assert LIFTING in worksheet("first-fill").cautions


def test_water_in_store_shortens_the_fill() -> None:
    whole = number(run(worksheet("first-fill"), FILL), "ro_d")
    assert number(run(worksheet("first-fill"), {**FILL, "stored": "4000"}), "ro_d") < whole
    assert run(worksheet("first-fill"), {**FILL, "stored": "9000"}).values["ro_d"] == 0


def test_colder_main_takes_longer() -> None:
    days = [number(run(worksheet("first-fill"), {**FILL, "feed_temp": f"{t}"}), "ro_d") for t in (20, 12, 4)]
    assert days == sorted(days)


def test_us_units() -> None:
    us = {"volume": "2113.38 gal", "mixing": "264.173 gal", "rated": "264.172 gal/day", "feed_temp": "42.8 °F"}
    assert_same_in_us_units(worksheet("first-fill"), FILL, us)


@pytest.mark.parametrize("change", [{"feed": "100", "tds": "5000"}, {"rated": "-5"}, {"recovery": "95"}])
def test_refuses(change: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        run(worksheet("ro-supply"), {**SUPPLY, **change})


@pytest.mark.parametrize("name", ["ro-supply", "first-fill"])
def test_cautions_of_a_unit_that_runs_unwatched(name: str) -> None:
    assert {UNWATCHED, MAINS} <= set(worksheet(name).cautions)


def test_resin_is_told_in_whole_days() -> None:
    found = run(worksheet("ro-supply"), SUPPLY)
    assert f"every {int(number(found, 'resin_d'))} days" in sentences(found)
