"""Instruments on a bad day: no second weighing, a wrong unit, the wrong scale."""

import pytest

from servicedesk.science.instruments import ph_meter
from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences

BUFFERS = {"first_mv": "-3", "second_mv": "-172"}


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


@pytest.mark.source("Dickson, Sabine & Christian 2007, SOP 6a: pH 8.0936 of Tris buffer at S 35, 25 °C (from memory)")
def test_the_tris_buffer_of_the_guide() -> None:
    assert ph_meter.tris_ph_total(35, 25) == pytest.approx(8.0936, abs=1e-3)
    assert ph_meter.tris_ph_total(35, 20) > ph_meter.tris_ph_total(35, 25) > ph_meter.tris_ph_total(35, 30)


def test_a_tris_reading_puts_the_tank_on_the_total_scale_without_the_junction() -> None:
    nbs = worked("ph-meter-check", **BUFFERS, ph="8.15")
    tris = worked("ph-meter-check", **BUFFERS, ph="8.15", tris_reading="8.21", temp="25")
    assert number(tris, "ph_total") == pytest.approx(8.15 + 8.0936 - 8.21, abs=2e-3)
    assert number(tris, "sd") < 0.5 * number(nbs, "sd")


def test_millivolts_against_fresh_buffers_are_no_total_scale() -> None:
    with pytest.raises(BadInput) as refused:
        worked("ph-meter-check", **BUFFERS, sample_mv="-60", buffers_are="total")
    assert "buffers_are" in refused.value.errors


@pytest.mark.source("Nernst by hand: 7 + (−3 + 60) ÷ 56.1 mV per pH at the temperature of the buffers")
def test_the_ph_of_millivolts_is_shown_as_a_sum() -> None:
    answer = worked("ph-meter-check", **BUFFERS, sample_mv="-60", temp="25")
    found = next(line for line in answer.steps if line.label.startswith("pH of the tank"))
    assert found.result.value == pytest.approx(7 + 57 / (169 / 3.012), abs=0.002)


def test_one_weighing_tells_what_is_left() -> None:
    answer = worked("co2-cylinder", gross="14.2", tare="9.8")
    assert number(answer, "left_kg") == pytest.approx(4.4)
    assert answer.values["days_left"] is None
    assert "next weighing" in sentences(answer)
    assert "Change the cylinder today" in sentences(worked("co2-cylinder", gross="10.2", tare="9.8"))


@pytest.mark.source("JCGM 100: two weighings of ± 0.058 kg 14 days apart leave ± 5.8 g a day")
def test_a_use_the_scale_cannot_tell_is_flagged() -> None:
    assert "5.83 g/day" in sentences(worked("co2-cylinder", gross="14.2", tare="9.8", earlier="14.5"))
    assert "only sure to" not in sentences(worked("co2-cylinder", gross="12.2", tare="9.8", earlier="14.5"))


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("conductivity-reading", {"reading": "5.3", "temp": "25"}),
        ("refractometer-reading", {"reading": "12"}),
        ("hydrometer-reading", {"reading": "1.012", "sample": "25"}),
    ],
)
def test_a_salinity_no_reef_has_is_flagged(name: str, typed: dict[str, str]) -> None:
    assert "no reef" in sentences(worked(name, **typed))


def test_a_titration_of_the_wrong_sample_is_flagged() -> None:
    typed = {"titrant": "1.05", "strength": "0.01", "parameter": "calcium"}
    assert "unusual for a reef" in sentences(worked("titration-reading", **typed, sample="10"))
    assert "unusual for a reef" not in sentences(worked("titration-reading", **typed, sample="1"))
    assert "unusual for a reef" in sentences(worked("kit-reading", reads="calcium mg_L", reading="42"))
