"""Worksheets of salinity and of a dose's effect: the days are listed and add up."""

import pytest

from servicedesk.science.words import Amount
from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from tests.science.worksheets.trying import number, sentences


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


def _column(answer: Answer, place: int) -> list[float]:
    return [cell.value for row in answer.listings[0].rows if isinstance(cell := row[place], Amount)]


@pytest.mark.source("mass balance by hand: swaps of 10 000 L from 37.5 to 35 in thirds, each at its own salinity")
def test_the_exchange_of_each_day_leads_to_the_target() -> None:
    answer = worked("salinity-correction", volume="10000", salinity="37.5", target_salinity="35")
    salinity = 37.5
    for litres, then in zip(_column(answer, 1), _column(answer, 2), strict=True):
        salinity *= 1 - litres / 10_000
        assert salinity == pytest.approx(then)
    assert salinity == pytest.approx(35)
    assert sum(_column(answer, 1)) == pytest.approx(number(answer, "exchange_l"))


def test_the_salt_of_each_day_adds_up_and_dissolves() -> None:
    answer = worked("salinity-correction", volume="10000", salinity="33", target_salinity="35")
    assert sum(_column(answer, 1)) == pytest.approx(number(answer, "salt_g"))
    assert answer.steps[2].result.value - answer.steps[1].result.value == pytest.approx(number(answer, "salt_g") / 1000)
    assert "111 L" in sentences(answer)


def test_a_salinity_no_reef_has_is_flagged() -> None:
    assert "unusual" in sentences(worked("salinity-correction", volume="800", salinity="24"))


@pytest.mark.source("common practice: 0.2 meq/L at once as bicarbonate, 0.1 as carbonate, 0.05 as hydroxide")
@pytest.mark.parametrize(("chemical", "most"), [("bicarbonate", 0.2), ("carbonate", 0.1), ("hydroxide", 0.05)])
def test_no_single_dose_beyond_the_usual_step_is_advised(chemical: str, most: float) -> None:
    answer = worked("ph-after-a-dose", alkalinity="2.7", ph="8.18", rise="0.5", chemical=chemical)
    assert number(answer, "advised_meq_l") == pytest.approx(most)
    assert "Give at most" in sentences(answer)


@pytest.mark.source("Moras et al. 2022, Biogeosciences 19:3537: runaway precipitation above 7")
def test_water_above_the_guard_gets_no_dose() -> None:
    answer = worked("ph-after-a-dose", alkalinity="3.6", ph="8.45", rise="0.2", calcium="480")
    assert number(answer, "advised_meq_l") == 0
    assert "give nothing at once" in sentences(answer)
