"""Worksheets of consumption: the sum can be followed by hand, and what cannot be is refused."""

import pytest

from servicedesk.science.worksheets import run, telling
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences

TYPED = {"volume": "10000", "first": "2.9", "second": "2.9", "days": "7"}


def worked(**over: str) -> Answer:
    return run.run(worksheet("alkalinity-demand"), {**TYPED, **over})


@pytest.mark.source("mass balance by hand: 900 meq a day into 10 000 L over 7.1 and 0.6 days")
@pytest.mark.parametrize("days", ["7.1", "0.6"])
def test_a_steady_supply_counts_for_the_whole_time(days: str) -> None:
    assert number(worked(days=days, supplied="900"), "used_meq_l_day") == pytest.approx(0.09, abs=1e-9)


@pytest.mark.source("mass balance by hand: 30 % changed for water of 3.4 meq/L on day 3 of 7")
def test_a_water_change_takes_its_share_of_the_use_with_it() -> None:
    """2.9 → 0.7 × (2.9 − 3 D) + 0.3 × 3.4 − 4 D = 2.9, so D = (3.05 − 2.9) ÷ (0.7 × 3 + 4)."""
    answer = worked(changes="3 30 3.4")
    assert number(answer, "used_meq_l_day") == pytest.approx(0.15 / 6.1)
    steps = {line.label: line.result.value for line in answer.steps}
    assert steps["Second reading had nothing been used"] == pytest.approx(3.05)
    assert steps["Days that count"] == pytest.approx(6.1)
    used = next(line for line in answer.steps if line.label == "Used a day")
    assert telling.sum_text(used) == "(3.05 meq/L − 2.90 meq/L) ÷ 6.10 days"


def test_an_addition_after_the_second_reading_is_refused() -> None:
    with pytest.raises(BadInput, match="outside the 7 days"):
        worked(additions="2 0.2; 9 0.3")


def test_all_water_changed_at_the_end_leaves_nothing_to_tell() -> None:
    with pytest.raises(BadInput, match="nothing is left"):
        worked(changes="7 100 3.4")


def test_a_use_that_cannot_be_changes_no_supply() -> None:
    words = sentences(worked(second="3.8", supplied="900"))
    assert "Change nothing on this" in words
    assert "Lower the steady supply" not in words


@pytest.mark.source(
    "Mass balance by hand: calcium that only followed a fall of the salinity from 35 to 34 was not used"
)
def test_a_fall_of_the_salinity_is_no_use() -> None:
    typed = {"volume": "10000", "first": "420", "second": str(420 * 34 / 35), "days": "7"}
    sheet = worksheet("calcium-demand")
    assert number(run.run(sheet, typed), "used_mg_l_day") == pytest.approx(420 / 35 / 7)
    both = {**typed, "first_salinity": "35", "second_salinity": "34"}
    assert number(run.run(sheet, both), "used_mg_l_day") == pytest.approx(0, abs=1e-9)
    with pytest.raises(BadInput) as refused:
        run.run(sheet, {**typed, "first_salinity": "35"})
    assert "second_salinity" in refused.value.errors
