import pytest

from servicedesk.science.guard import OutOfRange
from servicedesk.science.plant import pumps
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import LineChart
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import assert_same_in_us_units, number, sentences
from tests.science.worksheets.typical import TYPICAL

PUMP = TYPICAL["pump-working-point"]
SHEET = worksheet("pump-working-point")


@pytest.mark.source("Munson section 12.4: the head of the pump equals lift and losses, from the sheet of the pipe")
def test_working_point_agrees_with_the_pipe_sheet() -> None:
    found = run(SHEET, PUMP)
    flow, head = number(found, "flow_l_h"), number(found, "head_m")
    pipe = run(worksheet("pipe-loss"), {"flow": f"{flow}", "bore": "40", "length": "4", "elbows_90": "4"})
    assert head == pytest.approx(1.5 + number(pipe, "head_m"), rel=1e-4)
    assert head == pytest.approx(5 - (flow - 5000) * 5 / 9000, rel=1e-4)


def test_speed_for_a_wanted_flow_gives_it() -> None:
    speed = run(SHEET, {**PUMP, "wanted": "5000"}).values["speed_needed_pct"]
    assert run(SHEET, {**PUMP, "speed": f"{speed}"}).values["flow_l_h"] == pytest.approx(5000, rel=1e-3)


def test_chart_shows_pump_plumbing_and_point() -> None:
    (chart,) = run(SHEET, PUMP).charts
    assert isinstance(chart, LineChart)
    assert [curve.name for curve in chart.curves] == ["Pump", "Plumbing", "Working point"]


def test_says_what_to_set() -> None:
    assert "of full speed" in sentences(run(SHEET, {**PUMP, "wanted": "5000"}))
    assert "cannot give" in sentences(run(SHEET, {**PUMP, "wanted": "9500"}))
    assert "No speed" in sentences(run(SHEET, {**PUMP, "wanted": "50000"}))
    assert "check curve and power" in sentences(run(SHEET, {**PUMP, "power": "5"}))


def test_us_units() -> None:
    us = {"curve": "0gal/h 19.685ft; 1320.86gal/h 16.404ft; 3698.41gal/h 0ft", "static": "4.9213 ft",
          "bore": "1.5748 in", "length": "13.1234 ft", "elbows_90": "4"}  # fmt: skip
    assert_same_in_us_units(SHEET, PUMP, us)


@pytest.mark.parametrize("curve", ["", "0 5", "5 0; 6 5000", "0 5; 4000 six", "0 2; 5000 3"])
def test_refuses_bad_curves(curve: str) -> None:
    with pytest.raises(BadInput) as refused:
        run(SHEET, {**PUMP, "curve": curve})
    assert "curve" in refused.value.errors


@pytest.mark.source("Affinity laws by hand: at 90 % the curve ends at 900 L/h with 6.5 m, far from the 4 m asked for")
def test_no_speed_is_told_where_the_typed_curve_ends_too_soon() -> None:
    short = {"curve": "0 8; 1000 8", "static": "4", "bore": "60", "length": "1", "wanted": "900"}
    with pytest.raises(BadInput, match="type the curve further"):
        run(SHEET, short)
    longer = run(SHEET, {**short, "curve": "0 10; 1000 8; 3000 0"})
    speed = number(longer, "speed_needed_pct")
    at_speed = run(SHEET, {**short, "curve": "0 10; 1000 8; 3000 0", "speed": f"{speed}"})
    assert number(at_speed, "flow_l_h") == pytest.approx(900, rel=1e-3)


@pytest.mark.source("Affinity laws by hand: at 90 % the curve ends at 900 L/h with 6.5 m, far from the 4 m asked for")
def test_the_end_of_a_typed_curve_is_no_working_point() -> None:
    curve = pumps.pump_curve([(0, 10), (1000, 8)])
    with pytest.raises(OutOfRange, match="beyond its last typed point"):
        pumps.speed_for_flow(curve, lambda _flow: 4.0, 900)
