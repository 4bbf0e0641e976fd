import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import assert_same_in_us_units, number, sentences
from tests.science.worksheets.typical import TYPICAL

SIZES, TRACER, SALT = (TYPICAL[f"net-volume-{way}"] for way in ("from-sizes", "by-tracer", "by-salinity"))


@pytest.mark.source("Geometry by hand: 1040 + 216 + 19.6 − 100 − 20 L")
def test_sizes() -> None:
    found = run(worksheet("net-volume-from-sizes"), SIZES).values
    assert found["net_volume_l"] == pytest.approx(1040 + 216 + 19.635 - 120, abs=0.01)
    assert found["displaced_l"] == pytest.approx(120)


@pytest.mark.source("Geometry by hand: π/4·1²·0.5 m³ and 1.5·√3·0.25·0.5 m³")
def test_round_and_six_sided() -> None:
    round_tank = run(worksheet("net-volume-from-sizes"), {"shape": "cylinder", "length": "1", "depth": "0.5"})
    assert round_tank.values["net_volume_l"] == pytest.approx(392.7, abs=0.1)
    six = run(worksheet("net-volume-from-sizes"), {"shape": "hexagon", "length": "0.5", "depth": "0.5"})
    assert six.values["net_volume_l"] == pytest.approx(324.8, abs=0.1)


def test_asks_for_the_width_of_a_box_only() -> None:
    with pytest.raises(BadInput) as refused:
        run(worksheet("net-volume-from-sizes"), {"length": "2", "depth": "0.5"})
    assert "width_m" in refused.value.errors


def test_half_a_sump_is_refused() -> None:
    with pytest.raises(BadInput) as refused:
        run(worksheet("net-volume-from-sizes"), {**SIZES, "sump_width": ""})
    assert "sump_length_m" in refused.value.errors


@pytest.mark.source("Mass balance by hand: 80 g × 0.99 ÷ 84.006 g/mol is 942.8 meq, over 0.45 meq/L 2095 L")
def test_tracer() -> None:
    found = run(worksheet("net-volume-by-tracer"), TRACER)
    assert found.values["volume_found_l"] == pytest.approx(942.8 / 0.45, rel=1e-3)
    assert 2000 < number(found, "combined_l") < 2095
    assert "Set the net volume" in sentences(found)


def test_tracer_plans_before_it_measures() -> None:
    found = run(worksheet("net-volume-by-tracer"), {"volume": "2000", "alkalinity": "2.7"})
    assert found.values["volume_found_l"] is None
    assert "Weigh 75" in sentences(found)


def test_dose_planned_gives_the_error_wanted() -> None:
    plan = number(run(worksheet("net-volume-by-tracer"), {"volume": "2000", "alkalinity": "2.7"}), "dose_g")
    after = 2.7 + plan * 0.99 / 84.006 * 1000 / 2000
    found = run(worksheet("net-volume-by-tracer"), {**TRACER, "mass": f"{plan}", "after": f"{after}"})
    assert number(found, "error_l") / number(found, "volume_found_l") == pytest.approx(0.08, abs=0.001)


@pytest.mark.source(
    "Mass balance by hand: 80 L × 35 ÷ 1.4 is 2000 L when it replaced, × 33.6 ÷ 1.4 is 1920 L when added"
)
def test_salinity() -> None:
    assert run(worksheet("net-volume-by-salinity"), SALT).values["volume_found_l"] == pytest.approx(2000)
    added = run(worksheet("net-volume-by-salinity"), {**SALT, "way": "added"}).values
    assert added["volume_found_l"] == pytest.approx(1920)


def test_warns_of_a_contradiction() -> None:
    assert "one of them is wrong" in sentences(run(worksheet("net-volume-by-salinity"), {**SALT, "volume": "8000"}))


def test_us_units() -> None:
    us = {"length": "78.7402 in", "width": "2.62467 ft", "depth": "25.5906 in", "sump_length": "3.93701 ft",
          "sump_width": "1.9685 ft", "sump_depth": "11.811 in", "rock": "462.97 lb", "sand": "119.05 lb",
          "pipes": "1.9685in 32.8084ft"}  # fmt: skip
    assert_same_in_us_units(worksheet("net-volume-from-sizes"), SIZES, us)
    us = {"volume": "528.344 gal", "alkalinity": "7.5705 dKH", "mass": "2.82192 oz", "after": "8.83223 dKH"}
    assert_same_in_us_units(worksheet("net-volume-by-tracer"), TRACER, us)


@pytest.mark.parametrize("after", ["2.6", "2.71", "nan"])
def test_refuses_a_rise_that_is_none(after: str) -> None:
    with pytest.raises(BadInput):
        run(worksheet("net-volume-by-tracer"), {**TRACER, "after": after})
