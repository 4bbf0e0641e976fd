import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import MAINS
from servicedesk.science.worksheets.plant.asked import GENERATOR
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import sentences
from tests.science.worksheets.typical import TYPICAL

LOAD, STANDBY = TYPICAL["electrical-load"], TYPICAL["standby-power"]


@pytest.mark.source("Sums by hand; NEC 210.20(A), 80 % of 20 A × 120 V × 0.9 is 1728 W")
def test_load() -> None:
    found = run(worksheet("electrical-load"), LOAD)
    assert found.values["power_w"] == pytest.approx(2160)
    assert found.values["current_a"] == pytest.approx(2160 / 120 / 0.9)
    assert found.values["limit_w"] == pytest.approx(1728)
    assert found.values["energy_kwh_day"] == pytest.approx((180 * 24 + 1000 * 8 + 900 * 10 + 80 * 24) / 1000)
    assert found.values["circuits"] == 2
    assert found.values["flow_kept"] == "yes"
    assert len(found.listings[0].rows) == 2
    assert MAINS in worksheet("electrical-load").cautions


def test_warns_when_one_trip_stops_the_flow() -> None:
    assert "stops all flow" in sentences(run(worksheet("electrical-load"), {"loads": "flow 200; heat 500"}))


@pytest.mark.source("Energy by hand: 70 W × 8 h ÷ 0.85 ÷ 0.8 is 823.5 Wh")
def test_standby() -> None:
    found = run(worksheet("standby-power"), STANDBY)
    assert found.values["battery_needed_wh"] == pytest.approx(823.5, abs=0.1)
    assert found.values["lasts_h"] == pytest.approx(500 * 0.8 * 0.85 / 70)
    assert "lasts 4.86 h, not 8" in sentences(found)


@pytest.mark.parametrize(
    "loads", ["", "flow", "flow nan", "flow -5", "pump 100", "heat 3000", "flow 100 25", "flow 100 8 9"]
)
def test_refuses_bad_lines(loads: str) -> None:
    with pytest.raises(BadInput) as refused:
        run(worksheet("electrical-load"), {"loads": loads})
    assert "loads" in refused.value.errors


def test_refuses_nothing_on_standby() -> None:
    with pytest.raises(BadInput, match="Nothing is to run"):
        run(worksheet("standby-power"), {"flow": "0"})


@pytest.mark.source("Three-phase power by hand: 30 A × 480 V × √3 × 0.9 × 80 % is 17 958 W")
def test_three_phases() -> None:
    supply = {"voltage": "480", "phases": "3", "breaker": "30"}
    found = run(worksheet("electrical-load"), {"loads": "cooling 6500 14; flow 1100; flow 1100", **supply})
    assert found.values["limit_w"] == pytest.approx(17958, abs=1)
    assert found.values["current_a"] == pytest.approx(8700 / 480 / 0.9 / 3**0.5)
    assert "three phases" in sentences(found)


def test_a_machine_too_large_for_one_phase_is_told_of_three() -> None:
    with pytest.raises(BadInput, match="three phases"):
        run(worksheet("electrical-load"), {"loads": "cooling 6500"})


@pytest.mark.source("common practice: generators outdoors behind a transfer switch, batteries ventilated")
def test_cautions_of_standby_power() -> None:
    cautions = " ".join(worksheet("standby-power").cautions)
    assert "exhaust kills" in cautions
    assert "transfer switch" in cautions
    assert "hydrogen" in cautions
    assert GENERATOR in worksheet("temperature-after-failure").cautions
    assert "start of the largest pump" in sentences(run(worksheet("standby-power"), STANDBY))
