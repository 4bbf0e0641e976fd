import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import assert_same_in_us_units, number, sentences
from tests.science.worksheets.typical import TYPICAL

DRAIN, POWER = TYPICAL["drain-capacity"], TYPICAL["power-off-level"]


@pytest.mark.source("Torricelli's mouth of 50 mm under 50 mm of water, 0.6·A·√(2gh), by hand: 4200 L/h")
def test_emergency_drain() -> None:
    assert run(worksheet("drain-capacity"), DRAIN).values["emergency_l_h"] == pytest.approx(4200, rel=0.01)


@pytest.mark.parametrize(
    ("change", "warning"),
    [
        ({"flow": "9000"}, "Do not run the pump"),
        ({"flow": "9000"}, "emergency drain alone carries"),
        ({"freeboard": "8"}, "it floods"),
        ({"drain_bore": "20"}, "main drain carries"),
    ],
)
def test_warns_of_a_flood(change: dict[str, str], warning: str) -> None:
    assert warning in sentences(run(worksheet("drain-capacity"), {**DRAIN, **change}))


@pytest.mark.source("Francis 1.84·(b − 0.2h)·h^1.5 put back by hand: 4000 L/h through 0.3 m")
def test_notch() -> None:
    head = number(run(worksheet("drain-capacity"), {**DRAIN, "weir": "notch", "weir_width": "0.3"}), "weir_head_mm")
    h = head / 1000
    assert 1.84 * (0.3 - 0.2 * h) * h**1.5 * 3.6e6 == pytest.approx(4000, rel=1e-4)


def test_tells_how_to_prove_it_only_when_it_is_safe() -> None:
    assert "Prove it" in sentences(run(worksheet("drain-capacity"), DRAIN))
    assert "Prove it" not in sentences(run(worksheet("drain-capacity"), {**DRAIN, "flow": "9000"}))


@pytest.mark.source("Geometry by hand: 1.6 m² × 45 mm is 72 L into 0.72 m² × 150 mm, 108 L")
def test_power_off() -> None:
    found = run(worksheet("power-off-level"), POWER)
    assert found.values["backflow_l"] == pytest.approx(72)
    assert found.values["spare_l"] == pytest.approx(36)
    assert found.values["mark_mm"] == pytest.approx(100)
    assert found.values["largest_reservoir_l"] == pytest.approx(36)
    assert "at most 36" in sentences(found)


def test_power_off_that_floods() -> None:
    told = sentences(run(worksheet("power-off-level"), {**POWER, "freeboard": "80"}))
    assert "floods the room" in told
    assert "Prove it" not in told


def test_us_units() -> None:
    us = {"flow": "1056.69 gal/h", "weir_width": "1.9685 ft", "freeboard": "2.3622 in", "drain_bore": "1.5748 in",
          "emergency_bore": "1.9685 in"}  # fmt: skip
    assert_same_in_us_units(worksheet("drain-capacity"), DRAIN, us)


def test_refuses_nonsense() -> None:
    with pytest.raises(BadInput):
        run(worksheet("drain-capacity"), {**DRAIN, "flow": "-1"})
    with pytest.raises(BadInput):
        run(worksheet("power-off-level"), {**POWER, "weir_head": "nan"})


@pytest.mark.source("Hydrostatics: the air carries 10.3 m of water, so a full pipe cannot hang much longer")
def test_a_long_full_fall_is_not_believed() -> None:
    told = sentences(run(worksheet("drain-capacity"), {**DRAIN, "drop": "25 m"}))
    assert "column breaks" in told
    assert "typed shorter" in told
    assert "column breaks" not in sentences(run(worksheet("drain-capacity"), DRAIN))


def test_a_tight_rim_and_a_tight_drain_are_told_as_such() -> None:
    head = number(run(worksheet("drain-capacity"), DRAIN), "weir_head_mm")
    assert "a wave" in sentences(run(worksheet("drain-capacity"), {**DRAIN, "freeboard": f"{head + 5}"}))
    full = number(run(worksheet("drain-capacity"), DRAIN), "main_l_h")
    busy = {**DRAIN, "flow": f"{0.95 * full}", "weir_width": "4", "emergency_bore": "100"}
    assert "of what it carries" in sentences(run(worksheet("drain-capacity"), busy))


def test_a_fall_beyond_the_salinity_is_refused() -> None:
    with pytest.raises(BadInput, match="less than the salinity") as refused:
        run(worksheet("power-off-level"), {**POWER, "salinity": "5", "bearable_fall": "5"})
    assert "bearable_fall" in refused.value.errors


@pytest.mark.source("Hydrostatics by hand: 7.5 m² that sink by 625 mm are 4688 L, more than 2.5 m² leave free")
def test_a_sump_is_not_lowered_to_where_no_pump_runs() -> None:
    deep = {"length": "5", "width": "1.5", "weir_head": "25", "outlet_depth": "600", "sump_length": "2.5",
            "sump_width": "1", "freeboard": "300", "volume": "9000"}  # fmt: skip
    found = run(worksheet("power-off-level"), deep)
    assert number(found, "backflow_l") == pytest.approx(4687.5)
    assert "no running level makes room" in sentences(found)
    assert "floods the room" in sentences(found)
    assert "Mark the sump" not in sentences(found)
