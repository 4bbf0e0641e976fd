"""The sheets of chiller, exchanger and cold surfaces on plant of 5 to 20 kW, each sum checked from outside."""

import re
from math import log

import pytest

from servicedesk.science.worksheets import telling
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences

BUILDING = {"heat": "15 kW", "supply": "47 F", "summer_supply": "55 F", "tank": "60 gpm", "chilled": "12 gpm",
            "room": "75 F", "room_humidity": "60", "pipe": "2.375 in"}  # fmt: skip
LOAD = {"worst_gain": "12 kW", "volume": "6000 gal"}


def sum_of(answer: Answer, label: str) -> tuple[str, float]:
    """The sum of a step with its numbers, and its result."""
    line = next(line for line in answer.steps if line.label == label)
    return telling.sum_text(line), line.result.value


@pytest.mark.source("ht: effectiveness-NTU and LMTD of a counterflow exchanger of 15 kW on 55 °F water")
def test_exchanger_of_15_kw_against_ht() -> None:
    import ht

    found = run(worksheet("exchanger-on-building-water"), BUILDING)
    gallon = 3.785411784 / 60
    other = ht.effectiveness_NTU_method(  # type: ignore[no-untyped-call]
        mh=60 * gallon, mc=12 * gallon, Cph=4092, Cpc=4190, subtype="counterflow", Thi=25.8, Tci=(55 - 32) / 1.8,
        UA=number(found, "ua_w_k") / 1.25,
    )  # fmt: skip
    assert number(found, "duty_w") == pytest.approx(other["Q"], rel=1e-6)
    assert number(found, "tank_out_c") == pytest.approx(other["Tho"], abs=1e-6)
    assert number(found, "chilled_out_c") == pytest.approx(other["Tco"], abs=1e-6)
    mean = ht.LMTD(Thi=25.8, Tho=other["Tho"], Tci=(55 - 32) / 1.8, Tco=other["Tco"])
    assert sum_of(found, "Log-mean difference")[1] == pytest.approx(mean, rel=1e-6)


@pytest.mark.parametrize("kind", ["counterflow", "coil"])
@pytest.mark.source("Incropera ch. 11: the log-mean check follows from the four temperatures alone")
def test_the_log_mean_check_is_a_check(kind: str) -> None:
    """From the numbers as printed, so that somebody can repeat it on paper."""
    found = run(worksheet("exchanger-on-building-water"), {**BUILDING, "kind": kind, "ua": "1100"})
    text, mean = sum_of(found, "Log-mean difference")
    cold_end, warm_end = (float(part) for part in re.findall(r"(\d+\.\d+) °C", text)[:2])
    assert mean == pytest.approx((cold_end - warm_end) / log(cold_end / warm_end), rel=2e-3)
    assert sum_of(found, "The same heat by it")[1] == pytest.approx(number(found, "duty_w"), rel=1e-6)


@pytest.mark.source("Kays & London: no more than the smaller heat capacity rate carries")
def test_the_flow_that_is_too_small_is_the_one_that_is_blamed() -> None:
    with pytest.raises(BadInput) as refused:
        run(worksheet("exchanger-on-building-water"), {**BUILDING, "tank": "1 gpm"})
    assert set(refused.value.errors) == {"tank_l_h"}
    with pytest.raises(BadInput) as refused:
        run(worksheet("exchanger-on-building-water"), {**BUILDING, "chilled": "1 gpm"})
    assert set(refused.value.errors) == {"chilled_l_h"}


@pytest.mark.source("common practice: closed-cell pipe insulation is sold in 9, 13, 19, 25 mm: ⅜, ½, ¾, 1 inch")
def test_insulation_is_told_as_it_is_sold() -> None:
    found = run(worksheet("exchanger-on-building-water"), BUILDING)
    assert "9 mm (⅜ in)" in sentences(found)
    humid = run(worksheet("exchanger-on-building-water"), {**BUILDING, "room_humidity": "80"})
    assert "19 mm (¾ in)" in sentences(humid)


@pytest.mark.source("CoolProp: density and heat capacity of air that warms by 10 °C")
def test_air_of_the_plant_room() -> None:
    from CoolProp.CoolProp import PropsSI

    found = run(worksheet("chiller-size"), {**LOAD, "condenser": "plant"})
    air_j_m3_k = PropsSI("D", "T", 293.15, "P", 101325, "Air") * PropsSI("C", "T", 293.15, "P", 101325, "Air")
    vent = sum_of(found, "Air through the plant room")[1]
    assert vent == pytest.approx(number(found, "condenser_w") * 3600 / air_j_m3_k / 10, rel=0.005)


def test_a_chiller_without_margin_is_sized_and_warned_of() -> None:
    found = run(worksheet("chiller-size"), {**LOAD, "margin": "0"})
    assert found.values["pull_down_h"] is None
    assert "stays as warm" in sentences(found)


@pytest.mark.source("By hand: 2400 L × 4092 × 5/9 °C over 20 kW is a run of 4.5 min, with 3.3 starts an hour")
def test_the_reason_for_a_wider_differential_is_told() -> None:
    found = run(worksheet("chiller-cycling"), {"chiller": "20 kW", "volume": "3000 L", "differential": "1 degF"})
    assert "4.55 min" in sentences(found)
    text, result = sum_of(found, "Heat within the differential")
    assert "0.56 °C" in text
    assert result == pytest.approx(2400 * 4092 * 0.56 / 3.6e6, rel=0.01)


@pytest.mark.source("Incropera ch. 3: an insulated pipe by its two resistances, from the numbers as printed")
def test_the_cold_pipe_can_be_checked_on_paper() -> None:
    cold = {"behind": "47 F", "surface": "pipe", "pipe": "2.375 in", "insulation": "3", "room": "75 F"}
    text, surface = sum_of(run(worksheet("condensation-check"), cold), "Surface of the pipe")
    found = re.search(r"(\d+\.\d+) °C − \(\S+ °C − (\S+) °C\) × (\S+) ÷ \((\S+) \+", text)
    assert found
    room, fluid, outside, inside = map(float, found.groups())
    assert surface == pytest.approx(room - (room - fluid) * outside / (inside + outside), abs=0.03)
    bare, outer = 0.0603, 0.0663
    by_hand = 23.889 - (23.889 - 8.333) * (1 / (outer / 2 * 8)) / (log(outer / bare) / 0.033 + 1 / (outer / 2 * 8))
    assert surface == pytest.approx(by_hand, abs=0.02)


@pytest.mark.source("Energy balance: an endless exchanger brings the smaller flow to the other's temperature")
def test_an_exchanger_far_too_large_still_answers() -> None:
    found = run(worksheet("exchanger-on-building-water"), {"heat": "5 kW", "supply": "12 C", "tank": "3000",
                                                           "chilled": "2000", "ua": "90000"})  # fmt: skip
    assert number(found, "chilled_out_c") == pytest.approx(25.8, abs=0.01)
    assert number(found, "duty_w") == pytest.approx(2000 * 4190 / 3600 * 13.8, rel=1e-3)


@pytest.mark.source("By hand: 15 kW on 0.8 × 1000 L at 5/9 °C starts 7.4 times an hour, on 18 000 L hardly ever")
def test_a_chiller_too_large_for_its_water_is_told_before_it_is_bought() -> None:
    small = sentences(run(worksheet("chiller-size"), {**LOAD, "volume": "1000 L"}))
    assert "starts up to 7.42 times an hour" in small
    assert "starts up to" not in sentences(run(worksheet("chiller-size"), LOAD))


def test_kilowatts_typed_as_watts_are_asked_about() -> None:
    assert "is unusual" in sentences(run(worksheet("chiller-size"), {**LOAD, "worst_gain": "12"}))
    assert "Gain of the worst hour" not in sentences(run(worksheet("chiller-size"), LOAD))
