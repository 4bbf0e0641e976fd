"""The printed sums of heat and evaporation: from the numbers as shown, somebody finds the same result on paper."""

import re

import pytest

from servicedesk.science.worksheets import telling
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.run import run
from tests.science.worksheets.trying import number, sentences

HALL = {"volume": "6000 gal", "surface": "14 m2", "wall": "60 m2", "submerged_pump": "900", "external_pump": "2200",
        "other": "300", "lamp": "6000", "temp": "78 F", "room": "76 F", "room_night": "70 F", "people": "40",
        "sunlit": "4 m2", "change": "200", "new_water": "18", "top_off": "12", "panel": "75 mm",
        "lid": "20"}  # fmt: skip


def sum_of(answer: Answer, label: str) -> tuple[list[float], float]:
    """The numbers of a step's printed sum, in order, and its result."""
    line = next(line for line in answer.steps if line.label.startswith(label))
    text = telling.sum_text(line).replace("\u202f", "").replace("−", "-")
    return [float(part) for part in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text)], line.result.value


@pytest.mark.source("Sums by hand: visitors of 75 and 55 W (ASHRAE Fundamentals, from memory), pumps, lamps, tank")
def test_load_of_the_room() -> None:
    answer = run(worksheet("heat-balance"), HALL)
    (pumps, pump_share, lamps, lamp_share, people, each, to_water) = (
        part for part in sum_of(answer, "Room, dry heat")[0] if part != 1
    )
    by_hand = pumps * (1 - pump_share / 100) + lamps * (1 - lamp_share / 100) + people * each + to_water
    assert number(answer, "room_sensible_w") == pytest.approx(by_hand, rel=2e-3)
    (people, each, evaporation), moisture = sum_of(answer, "Room, moisture")
    assert moisture == pytest.approx(people * each + evaporation, rel=2e-3)


@pytest.mark.source("TEOS-10 by hand: litres of fresh and salt water warmed to the tank")
def test_feed_water() -> None:
    answer = run(worksheet("heat-balance"), HALL)
    shown, watts = sum_of(answer, "Top-off and new water")
    top_off, fresh, top_off_c, water_c, _, new, salt, new_c, _, _ = shown
    by_hand = (top_off * fresh * (top_off_c - water_c) + new * salt * (new_c - water_c)) / 86400
    assert watts == pytest.approx(by_hand, rel=5e-3)
    assert fresh == pytest.approx(4180, rel=2e-3)
    assert salt == pytest.approx(4092, rel=2e-3)


@pytest.mark.source("CoolProp: humid air over water of 25.8 °C and in a room of 23.3 °C and 50 %")
def test_terms_of_shah() -> None:
    from CoolProp.HumidAirProp import HAPropsSI

    answer = run(worksheet("evaporation"), {"surface": "14", "salinity": "0"})
    _, at_water, in_room, _, moist_at_water, moist_in_room, *_ = sum_of(answer, "Shah, the air that rises")[0]
    at = ("T", 273.15 + 25.8, "P", 101325, "R", 1.0)
    room = ("T", 273.15 + 23.3, "P", 101325, "R", 0.5)
    assert at_water == pytest.approx(1 / HAPropsSI("Vda", *at), rel=1e-3)
    assert in_room == pytest.approx(1 / HAPropsSI("Vda", *room), rel=1e-3)
    assert moist_at_water == pytest.approx(HAPropsSI("W", *at), rel=2e-3)
    assert moist_in_room == pytest.approx(HAPropsSI("W", *room), rel=2e-3)
    natural = 35 * at_water * (in_room - at_water) ** (1 / 3) * (moist_at_water - moist_in_room)
    assert number(answer, "calculated_l_day") == pytest.approx(natural * 14 * 24 / 0.997, rel=5e-3)


def test_no_sum_of_shah_outside_his_range() -> None:
    wet = run(worksheet("evaporation"), {"surface": "14", "room": "32", "room_humidity": "95", "temp": "20"})
    assert not any(line.label.startswith("Shah") for line in wet.steps)


@pytest.mark.source("TEOS-10 by hand: 20 000 L × 1.0231 kg/L × 3999 J/kg·K is 22.7 kWh for a kelvin")
def test_heat_capacity() -> None:
    answer = run(worksheet("heater-size"), {"volume": "20000", "surface": "12", "wall": "50"})
    (litres, density, heat, *_), kwh = sum_of(answer, "Heat that warms")
    assert kwh == pytest.approx(litres * density * heat / 3.6e6, rel=1e-3)
    assert kwh == pytest.approx(22.7, abs=0.1)


def test_a_dry_hall_needs_no_dehumidifier() -> None:
    dry = run(worksheet("dehumidifier"), {"surface": "14", "evaporation": "0"})
    assert dry.values["alone_pct"] is None
    assert "Nothing that is typed moistens the room" in sentences(dry)
    assert "wet" not in sentences(dry)


@pytest.mark.source("common practice: no occupied room is held at 8 % of humidity")
def test_no_room_is_asked_to_be_drier_than_a_room_can_be() -> None:
    frost = {"behind": "-25", "surface": "window", "window_u": "5.7"}
    assert "better glazing" in sentences(run(worksheet("condensation-check"), frost))


@pytest.mark.source("ASHRAE Natatoriums: stated for 0.05 to 0.15 m/s; Shah 2014: tested from 28 to 98 % of humidity")
@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("heat-balance", {"volume": "3000", "surface": "4", "wall": "12"}),
        ("heater-size", {"volume": "3000", "surface": "4", "wall": "12"}),
        ("dehumidifier", {"surface": "4"}),
        ("evaporation", {"surface": "4"}),
        ("temperature-after-failure", {"volume": "3000", "surface": "4", "wall": "12"}),
    ],
)
def test_evaporation_beyond_its_formulas_is_named(name: str, typed: dict[str, str]) -> None:
    told = sentences(run(worksheet(name), {**typed, "air": "2", "room_humidity": "24"}))
    assert "0.05 to 0.15 m/s" in told
    assert "28 to 98 %" in told
