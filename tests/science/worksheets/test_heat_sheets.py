"""The sheets of heat, air and failures as somebody types into them, in US and metric units."""

from dataclasses import replace
from typing import Any

import pytest

from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import BarChart, Input
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import sentences
from tests.science.worksheets.typical import TYPICAL

NAMES = (
    "heat-balance", "chiller-size", "chiller-cycling", "heater-size", "exchanger-on-building-water", "evaporation",
    "dehumidifier", "condensation-check", "temperature-after-failure",
)  # fmt: skip
SHEETS = {name: worksheet(name) for name in NAMES}
TYPED = {name: TYPICAL[name] for name in NAMES}


def values(name: str, **typed: str) -> dict[str, Any]:
    return dict(run.run(SHEETS[name], {**TYPED[name], **typed}).values)


@pytest.mark.parametrize("name", SHEETS)
def test_refuses_what_is_no_quantity(name: str) -> None:
    sheet = SHEETS[name]
    for item in sheet.inputs:
        if isinstance(item, Input):
            for text in ("nan", "-1e99", "1e99", "12 parsecs"):
                with pytest.raises(BadInput) as refused:
                    run.run(sheet, {**TYPED[name], item.name: text})
                assert item.key in refused.value.errors


@pytest.mark.source("Units: the same inputs in US and metric units give the same answer")
def test_units_do_not_matter() -> None:
    metric = run.run(
        SHEETS["heat-balance"],
        {"volume": "6056.66 L", "surface": "4.45935 m2", "wall": "8.36127 m2", "submerged_pump": "300 W",
         "external_pump": "2729.71 Btu/h", "lamp": "1.5 kW", "other": "110", "temp": "25.8 C", "room": "23.3 C"},
    )  # fmt: skip
    us = values("heat-balance", temp="78.44 F", room="73.94 F")
    assert us["worst_gain_w"] == pytest.approx(metric.values["worst_gain_w"], rel=1e-4)


@pytest.mark.source("First law: gains of the bars add up to the net of the hour")
def test_bars_of_the_heat_balance() -> None:
    answer = run.run(SHEETS["heat-balance"], TYPED["heat-balance"])
    bars = answer.charts[0]
    assert isinstance(bars, BarChart)
    assert sum(value for _name, value in bars.bars) == pytest.approx(answer.values["worst_gain_w"], abs=5)
    assert min(value for _name, value in bars.bars) < 0 < max(value for _name, value in bars.bars)


def test_night_room_and_sun_move_the_worst_hour() -> None:
    plain = values("heat-balance")
    sunny = values("heat-balance", sunlit_m2="2", room_night="16 C")
    assert sunny["worst_gain_w"] > plain["worst_gain_w"]
    assert sunny["least_gain_w"] < plain["least_gain_w"]


@pytest.mark.source("By hand: 2000 W × 1.25 ÷ 0.9 = 2778 W = 0.790 tons; common practice")
def test_chiller_size() -> None:
    found = values("chiller-size")
    assert found["size_w"] == pytest.approx(2000 * 1.25 / 0.9)
    assert found["size_tons"] == pytest.approx(0.790, abs=1e-3)
    assert found["condenser_w"] == pytest.approx(2500 * 4 / 3)
    assert found["flow_l_h"] == pytest.approx(2500 * 3600 / 4092 / 1.5)


def test_chiller_there_is_judged() -> None:
    small = run.run(SHEETS["chiller-size"], {**TYPED["chiller-size"], "chiller": "2000"})
    assert "too small" in sentences(small)
    assert "is enough" in sentences(run.run(SHEETS["chiller-size"], {**TYPED["chiller-size"], "chiller": "2 ton"}))


@pytest.mark.source("By hand: 3517 W on 606 L and 1 °F starts 2.30 times an hour; common practice at most 6")
def test_chiller_cycling() -> None:
    found = values("chiller-cycling", volume="606 L", mixed="100 %", differential="1 degF")
    assert found["worst_starts_per_h"] == pytest.approx(3516.85 * 3600 / (4 * 606 * 4092 * 5 / 9), rel=1e-4)
    assert found["run_min"] == pytest.approx(found["rest_min"])
    wild = run.run(SHEETS["chiller-cycling"], {"chiller": "5 ton", "volume": "200 gal"})
    assert "too large" in sentences(wild)
    calm = run.run(SHEETS["chiller-cycling"], TYPED["chiller-cycling"])
    assert "Leave the differential" in sentences(calm)
    needed = values("chiller-cycling", volume="500 L", differential="0.2 K")["needed_differential_k"]
    again = values("chiller-cycling", volume="500 L", differential=f"{needed} K")
    assert again["worst_starts_per_h"] <= 6
    assert again["shortest_run_min"] >= 5


@pytest.mark.source("Common practice: two heaters or more, 25 % over the loss")
def test_heater_size() -> None:
    found = values("heater-size", units="3")
    assert found["total_w"] == pytest.approx(1.25 * found["loss_w"])
    assert found["unit_w"] == pytest.approx(found["total_w"] / 3)
    assert found["heat_up_h"] > 6057 * 4092 * 7.8 / found["total_w"] / 3600  # longer than without losses
    warm = run.run(SHEETS["heater-size"], {**TYPED["heater-size"], "room": "28 C", "steady": "3000"})
    assert "No heater is needed" in sentences(warm)
    with pytest.raises(BadInput, match="above the set point"):
        values("heater-size", limit="20 C")


@pytest.mark.source("Kays & London by hand: 5 kW at 10 °C supply through 4 gal/min")
def test_exchanger() -> None:
    import math

    found = values("exchanger-on-building-water", fouling="0")
    chilled, tank = 4 * 3.785411784 * 60 * 4190 / 3600, 20 * 3.785411784 * 60 * 4092 / 3600
    effect, ratio = 5000 / (chilled * 15.8), chilled / tank
    ntu = math.log((1 - effect * ratio) / (1 - effect)) / (1 - ratio)
    assert found["ua_w_k"] == pytest.approx(ntu * chilled, rel=1e-4)
    assert found["duty_w"] == pytest.approx(5000, rel=1e-4)
    assert found["chilled_flow_l_h"] == pytest.approx(4 * 3.785411784 * 60, rel=1e-3)
    assert found["log_mean_k"] * found["ua_w_k"] == pytest.approx(5000, rel=1e-3)


def test_exchanger_there_is_judged() -> None:
    small = run.run(SHEETS["exchanger-on-building-water"], {**TYPED["exchanger-on-building-water"], "ua": "100"})
    assert "too small" in sentences(small)
    assert small.values["chilled_flow_l_h"] is None
    with pytest.raises(BadInput, match="more flow"):
        values("exchanger-on-building-water", heat="90 kW")


@pytest.mark.source("Common practice: a cold chilled line drips in a room of 60 % humidity")
def test_exchanger_lines_drip() -> None:
    wet = run.run(
        SHEETS["exchanger-on-building-water"], {**TYPED["exchanger-on-building-water"], "room_humidity": "60"}
    )
    assert "below the dew point" in sentences(wet)
    assert wet.values["insulation_mm"] > 0  # type: ignore[operator]


@pytest.mark.source("Shah 2014 evaluated apart: 3.6 m² at 25.5 °C in a room of 22 °C, 50 %: 13.8 L/day, 389 W")
def test_evaporation() -> None:
    found = values("evaporation", temp="25.5 C", room="22 C")
    assert found["evaporation_l_day"] == pytest.approx(13.8, abs=0.2)
    assert found["latent_w"] == pytest.approx(389, abs=4)
    metered = values("evaporation", temp="25.5 C", room="22 C", metered="20 L/day")
    assert metered["evaporation_l_day"] == 20
    assert metered["factor"] == pytest.approx(20 / found["calculated_l_day"])
    covered = values("evaporation", temp="25.5 C", room="22 C", lid="50 %")
    assert covered["evaporation_l_day"] == pytest.approx(found["evaporation_l_day"] / 2)


@pytest.mark.source("Mass balance: in a tight room all that evaporates must be taken out")
def test_dehumidifier() -> None:
    found = values("dehumidifier", evaporation="20 L/day")
    assert found["surplus_l_day"] == pytest.approx(20)
    assert found["nameplate_l_day"] == pytest.approx(20 * 1.25 / 0.6)
    assert found["alone_pct"] == 100
    winter = run.run(SHEETS["dehumidifier"], {**TYPED["dehumidifier"], "fresh": "600 cfm", "outdoor": "0 C"})
    assert "No dehumidifier is needed" in sentences(winter)


@pytest.mark.source("Psychrometric chart: 74 °F and 65 % has its dew point at 61.4 °F (from memory)")
def test_condensation() -> None:
    wet = values("condensation-check")
    assert wet["verdict"] == "wet"
    assert wet["dew_point_c"] == pytest.approx((61.4 - 32) / 1.8, abs=0.2)
    dry = values("condensation-check", insulation=f"{wet['insulation_mm'] + 0.1} mm")
    assert (dry["verdict"], dry["spare_k"] > 1) == ("dry", True)
    assert values("condensation-check", room_humidity=f"{wet['driest_pct'] - 0.5:.1f}")["verdict"] == "dry"


@pytest.mark.source("Energy balance: lamps and lids bring the limit nearer, fans put it off")
def test_failure_of_the_chiller() -> None:
    lit = values("temperature-after-failure", room_after="90 F", lid="50")
    dark = values("temperature-after-failure", room_after="90 F", lid="50", lamp="0")
    assert lit["hours"] < dark["hours"]
    assert lit["best_hours"] is None or lit["best_hours"] > lit["hours"]
    assert lit["limit_c"] == 28.9


@pytest.mark.source("Energy balance: a cold room after a power cut cools the water to the low limit")
def test_failure_of_the_power() -> None:
    answer = run.run(
        SHEETS["temperature-after-failure"],
        {**TYPED["temperature-after-failure"], "fails": "power", "room_after": "40 F", "fails_at": "22:30"},
    )
    assert answer.values["limit_c"] == 22.2
    assert "lids on" in sentences(replace(answer, listings=()))
    assert "oxygen fails long before" in sentences(answer)
    assert "of the next day" in sentences(answer)


def test_limits_must_enclose_the_water() -> None:
    with pytest.raises(BadInput) as refused:
        values("temperature-after-failure", temp="30 C")
    assert "high_c" in refused.value.errors
    with pytest.raises(BadInput) as refused:
        values("temperature-after-failure", temp="20 C")
    assert "low_c" in refused.value.errors
