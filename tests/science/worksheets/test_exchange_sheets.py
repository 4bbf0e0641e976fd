from math import exp

import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import LIFTING, LineChart
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.published import published
from tests.science.worksheets.trying import assert_same_in_us_units, sentences
from tests.science.worksheets.typical import TYPICAL

CHANGE, TOP_OFF = TYPICAL["water-change"], TYPICAL["top-off"]


@pytest.mark.source("Series of dilutions, closed form and loop")
def test_series_published() -> None:
    entry = published("wc-series")
    found = run(worksheet("water-change"), CHANGE).values["level_after_mg_l"]
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("Washout of a stirred tank e^(−v/V), by hand")
def test_continuous() -> None:
    found = run(worksheet("water-change"), {**CHANGE, "way": "continuous"}).values["level_after_mg_l"]
    assert found == pytest.approx(1 + 19 * exp(-1.2))


@pytest.mark.source("Series by hand: 20 → 16.2 → 13.16 → 10.73 → 8.78, four changes to 9 mg/L")
def test_number_to_a_target() -> None:
    found = run(worksheet("water-change"), {**CHANGE, "target": "9"})
    assert found.values["changes_needed"] == 4
    assert "4 changes" in sentences(found)


def test_says_when_the_target_is_never_reached() -> None:
    found = run(worksheet("water-change"), {**CHANGE, "new": "0", "target": "10", "rise": "1"})
    assert found.values["changes_needed"] is None
    told = sentences(found)
    assert "never reach the target" in told
    assert "Change at least 700 L" in told


@pytest.mark.source("ρ × S_A (TEOS-10): 200 L at 35, 25 °C hold 7.197 kg of dry salt")
def test_salt_and_loads() -> None:
    typed = {**CHANGE, "change": "400", "mixing": "200", "van": "150", "payload": "500", "dry": "100"}
    found = run(worksheet("water-change"), typed)
    assert found.values["salt_kg"] == pytest.approx(7.197, abs=0.001)
    assert "2 batches" in sentences(found)
    assert "3 van loads" in sentences(found)
    assert LIFTING in worksheet("water-change").cautions


def test_chart_ends_where_the_answer_does() -> None:
    for way in ("batch", "continuous"):
        found = run(worksheet("water-change"), {**CHANGE, "way": way, "rise": "0.3"})
        (chart,) = found.charts
        assert isinstance(chart, LineChart)
        assert chart.curves[0].y[-1] == found.values["level_after_mg_l"]


@pytest.mark.source("By hand: 20 L a day × 10 days; 2000 × 1 ÷ 34; 35 × 2000 ÷ 1860")
def test_top_off() -> None:
    found = run(worksheet("top-off"), TOP_OFF).values
    assert found["reservoir_needed_l"] == pytest.approx(200)
    assert found["largest_l"] == pytest.approx(58.82, abs=0.01)
    assert found["missed_salinity"] == pytest.approx(37.634, abs=0.001)


def test_top_off_by_season_takes_the_worst() -> None:
    found = run(worksheet("top-off"), {**TOP_OFF, "months": "15; 16; 26; 18"})
    assert found.values["worst_l_day"] == 26
    assert len(found.listings[0].rows) == 12


def test_top_off_warns_of_a_stuck_valve() -> None:
    assert "A stuck valve" in sentences(run(worksheet("top-off"), {**TOP_OFF, "reservoir": "200"}))


def test_us_units() -> None:
    us = {**CHANGE, "volume": "264.172 gal", "change": "52.8344 gal", "nitrate": "4.51779 mg/L NO₃-N"}
    assert_same_in_us_units(worksheet("water-change"), CHANGE, us)
    assert_same_in_us_units(worksheet("top-off"), TOP_OFF, {"volume": "528.344 gal", "evaporation": "5.28344 gal/day"})


@pytest.mark.parametrize("change", [{"change": "2000"}, {"target": "30"}, {"target": "0.5"}, {"nitrate": "nan"}])
def test_refuses(change: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        run(worksheet("water-change"), {**CHANGE, **change})


def test_refuses_five_seasons() -> None:
    with pytest.raises(BadInput, match="twelve months"):
        run(worksheet("top-off"), {**TOP_OFF, "months": "1;2;3;4;5"})
