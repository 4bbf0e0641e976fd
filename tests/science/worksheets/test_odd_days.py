"""Water sheets on odd days: at the target already, away too long, a test too rough, carbon in a hurry."""

import pytest

from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences

CARBON = {"volume": "800", "nitrate": "40", "phosphate": "0.3"}


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


def test_a_level_at_its_target_needs_no_changes() -> None:
    words = sentences(worked("water-change", volume="10000", nitrate="10", change="1000", target="10"))
    assert "at the target already" in words
    assert "0 changes" not in words


def test_top_off_away_too_long_is_still_planned() -> None:
    answer = worked("top-off", volume="800", evaporation="12", days_away="60")
    assert number(answer, "reservoir_needed_l") == pytest.approx(12 * 63)
    assert answer.values["missed_salinity"] is None
    assert "more than half the water" in sentences(answer)


@pytest.mark.source("JCGM 100 by hand: a rise of 0.1 with readings of 0.05, four each, is 35 % uncertain")
def test_a_tracer_that_hardly_shows_is_flagged() -> None:
    typed = {"volume": "10000", "alkalinity": "2.6", "mass": "500"}
    assert "tells little" in sentences(worked("net-volume-by-tracer", **typed, after="2.7"))
    assert "tells little" not in sentences(worked("net-volume-by-tracer", **typed, after="3.15"))
    assert "tells little" in sentences(worked("net-volume-by-salinity", fresh="60", before="35", after="34.8"))


@pytest.mark.source("common practice: nitrate down by at most a fifth a week")
def test_carbon_in_a_hurry_is_flagged() -> None:
    assert "more than a fifth" in sentences(worked("carbon-dosing", **CARBON, weeks="14"))
    assert "more than a fifth" not in sentences(worked("carbon-dosing", **CARBON))


def test_carbon_beyond_the_goal_is_taken_back_to_it() -> None:
    answer = worked("carbon-dosing", **CARBON, now="60")
    words = sentences(answer)
    assert "and no more" in words
    assert "by a quarter each week to" not in words
    assert number(answer, "first_ml_day") == pytest.approx(number(answer, "goal_ml_day"))


def test_no_carbon_below_the_target() -> None:
    typed = {"volume": "10000", "nitrate": "2", "phosphate": "0.1", "load": "5"}
    assert "dose nothing" in sentences(worked("carbon-dosing", **typed))


def test_exports_that_contradict_the_readings_are_named() -> None:
    typed = {"volume": "10000", "nitrate": "18", "feed": "120", "earlier": "22", "algae": "1000", "ethanol": "20"}
    with pytest.raises(BadInput, match="exports"):
        worked("nitrate-balance", **typed)
