import re

import pytest

from servicedesk.common.svg.plot import bar_chart, chart_drawing, line_chart
from servicedesk.science.worksheets.declare import BarChart, Curve, LineChart


def metric(_quantity: str) -> str:
    return ""


def us(quantity: str) -> str:
    return {"temperature": "degF", "volume": "gal"}.get(quantity, "")


def a_chart(*curves: Curve, limits: tuple[tuple[str, float], ...] = ()) -> LineChart:
    return LineChart("Warming <b>", "Time", "hours", "Water", "temperature", curves, limits)


def test_texts_are_escaped_and_told_to_who_cannot_see() -> None:
    drawn = line_chart(a_chart(Curve("a & b", [0, 1], [20, 25])), metric)
    assert "<b>" not in drawn
    assert "Warming &lt;b&gt;" in drawn
    assert "a &amp; b: Water from 20.0 °C to 25.0 °C" in drawn


def test_the_axis_speaks_the_readers_unit() -> None:
    drawn = line_chart(a_chart(Curve("water", [0, 1], [20, 25])), us)
    assert "Water, °F" in drawn
    ticks = {float(text) for text in re.findall(r'text-anchor="end"[^>]*>(\d+)<', drawn)}
    assert min(ticks) >= 67
    assert max(ticks) <= 78


@pytest.mark.parametrize(("x", "y"), [([0.0], [20.0]), ([0.0, 1.0], [20.0, 20.0]), ([2.0, 2.0], [1.0, 5.0])])
def test_a_single_point_or_a_flat_line_is_drawn(x: list[float], y: list[float]) -> None:
    drawn = line_chart(a_chart(Curve("water", x, y)), metric)
    assert "NaN" not in drawn
    assert "inf" not in drawn


def test_a_chart_without_points_says_so() -> None:
    assert "nothing to draw" in line_chart(a_chart(), metric)


def test_curves_are_told_apart_by_dash_and_points_by_rings() -> None:
    drawn = line_chart(
        a_chart(
            Curve("one", [0, 1], [20, 21]),
            Curve("two", [0, 1], [21, 22]),
            Curve("read", [0.5], [21], points_only=True),
            limits=(("too warm", 28.0),),
        ),
        metric,
    )
    assert drawn.count("stroke-dasharray") >= 2
    assert "<circle" in drawn
    for word in ("one", "two", "read", "too warm"):
        assert f">{word}<" in drawn


def test_losses_lie_left_of_the_line_and_the_sum_is_told() -> None:
    drawn = bar_chart(BarChart("Heat", "power", (("pumps", 300.0), ("evaporation", -500.0)), total="Net"), metric)
    assert "−200 W" in drawn
    starts = [float(x) for x in re.findall(r'<rect x="([\d.]+)"', drawn)]
    assert starts[1] < starts[0]


def test_a_kept_chart_is_drawn_in_the_units_it_was_told_in() -> None:
    kept = {
        "kind": "bars", "units": {"volume": "gal"}, "title": "Water", "quantity": "volume",
        "bars": [["sump", 378.5411784]], "total": "",
    }  # fmt: skip
    assert "100 gal" in chart_drawing(kept)
