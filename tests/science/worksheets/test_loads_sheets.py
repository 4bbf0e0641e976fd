import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import LIFTING, STRUCTURE
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import assert_same_in_us_units, number, sentences
from tests.science.worksheets.typical import TYPICAL

TANK = TYPICAL["weight-and-floor-load"]
SHEET = worksheet("weight-and-floor-load")


@pytest.mark.source("Weights by hand: 1040 L less 71.4 L of rock at 1.0233 kg/L, acrylic 1.19 kg/L")
def test_weight() -> None:
    found = run(SHEET, TANK).values
    water = (1040 - 150 / 2.1) * 1.02334
    panels = (2 * 2.8 * 0.7 + 1.6) * 19 * 1.19
    assert found["water_kg"] == pytest.approx(water, rel=1e-4)
    assert found["empty_kg"] == pytest.approx(panels)
    assert found["total_kg"] == pytest.approx(water + panels + 150, rel=1e-4)
    assert found["floor_kpa"] == pytest.approx((water + panels + 150) * 9.80665 / 1000 / 1.6, rel=1e-4)


@pytest.mark.source("By hand: a sump of 400 L at 1.02334 kg/L; four feet share the weight, each on 80 × 80 mm")
def test_sump_and_feet() -> None:
    plain, found = run(SHEET, TANK).values, run(SHEET, {**TANK, "sump": "400", "feet": "4", "foot": "80"})
    total = number(found, "total_kg")
    assert isinstance(plain["total_kg"], float)
    assert total - plain["total_kg"] == pytest.approx(400 * 1.02334, rel=1e-4)
    assert found.values["foot_kn"] == pytest.approx(total * 9.80665 / 1000 / 4)
    assert found.values["foot_kpa"] == pytest.approx(total * 9.80665 / 1000 / 4 / 0.08**2)
    assert "two feet" in sentences(found)
    assert plain["foot_kn"] is None


def test_warns_of_floor_and_panels() -> None:
    told = sentences(run(SHEET, {**TANK, "thickness": "8", "material": "glass", "allowed": "50 psf"}))
    assert "the engineer has signed" in told
    assert "braces" in told
    assert {STRUCTURE, LIFTING} <= set(SHEET.cautions)


def test_tells_no_stress_outside_the_theory() -> None:
    found = run(SHEET, {**TANK, "length": "20"})
    assert found.values["stress_mpa"] is None
    assert "such proportions" in sentences(found)


def test_us_units() -> None:
    us = {"length": "6.5617 ft", "width": "31.496 in", "height": "27.559 in", "depth": "25.591 in",
          "thickness": "0.74803 in", "rock": "330.69 lb"}  # fmt: skip
    assert_same_in_us_units(SHEET, TANK, us)


@pytest.mark.parametrize(
    ("change", "field"), [({"depth": "0.8"}, "depth_m"), ({"rock": "9000"}, "rock_kg"), ({"length": "-2"}, "length_m")]
)
def test_refuses(change: dict[str, str], field: str) -> None:
    with pytest.raises(BadInput) as refused:
        run(SHEET, {**TANK, **change})
    assert field in refused.value.errors


@pytest.mark.source("Hydrostatics by hand, ½ρg·b·h² of the longest panel, whichever way the tank is typed")
def test_the_longest_panel_is_judged_whichever_way_round_it_is_typed() -> None:
    along, across = run(SHEET, TANK).values, run(SHEET, {**TANK, "length": "0.8", "width": "2"}).values
    assert across["force_kn"] == pytest.approx(0.5 * 1.02334 * 9.80665 * 2 * 0.65**2, rel=1e-4)
    assert across["stress_mpa"] == pytest.approx(along["stress_mpa"])
    assert across["bulge_mm"] == pytest.approx(along["bulge_mm"])
