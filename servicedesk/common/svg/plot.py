"""Plots of a worksheet's answer: curves over an axis, and bars with signs."""

from collections.abc import Sequence
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from servicedesk.common.svg import draw
from servicedesk.common.svg.draw import Scale
from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.worksheets.declare import BarChart, Curve, LineChart
from servicedesk.science.worksheets.telling import UnitOf, amount_text, clock_text, number_text

WIDTH, LEFT, RIGHT, TOP, PLOT, AXIS = 720.0, 64.0, 30.0, 34.0, 230.0, 46.0
DASHES = (None, "7 4", "2 4", "10 4 2 4", "1 3")
BAR, BAR_LEFT, BAR_RIGHT = 30.0, 210.0, 110.0
LEGEND, GAP = 20.0, 14.0


def chart_drawing(chart: dict[str, Any]) -> SafeString:
    """A chart as ``worksheets.record`` keeps it, in the units in which it was told."""
    told_in: dict[str, str] = chart.get("units", {})

    def unit_of(quantity: str) -> str:
        return told_in.get(quantity, "")

    if chart["kind"] == "bars":
        bars = tuple((str(name), float(value)) for name, value in chart["bars"])
        return bar_chart(BarChart(chart["title"], chart["quantity"], bars, chart["total"]), unit_of)
    curves = tuple(Curve(row["name"], row["x"], row["y"], row["points_only"]) for row in chart["curves"])
    limits = tuple((str(name), float(value)) for name, value in chart["limits"])
    axes = (chart["x_label"], chart["x_quantity"], chart["y_label"], chart["y_quantity"])
    return line_chart(LineChart(chart["title"], *axes, curves, limits), unit_of)


def line_chart(chart: LineChart, unit_of: UnitOf) -> SafeString:
    """Curves told apart by dash and name; measured points as rings; limits as named lines."""
    x_unit, y_unit = unit_of(chart.x_quantity), unit_of(chart.y_quantity)
    curves = [_shown(curve, chart, x_unit, y_unit) for curve in chart.curves]
    limits = [(name, _number(chart.y_quantity, value, y_unit)) for name, value in chart.limits]
    xs = [x for curve in curves for x in curve.x]
    ys = [y for curve in curves for y in curve.y] + [value for _, value in limits]
    if not xs:
        return _drawn(f"{chart.title}: nothing to draw", TOP, [])
    room = (max(ys) - min(ys)) * 0.08 or 1.0
    legend = _legend(curves)
    top = TOP + LEGEND * len(legend) + (GAP if legend else 0.0)
    x_at = draw.scale(min(xs), max(xs), LEFT, WIDTH - RIGHT)
    y_at = draw.scale(min(ys) - room, max(ys) + room, top + PLOT, top)
    parts = [
        *_axes(chart, x_unit, y_unit, (min(xs), max(xs)), (min(ys) - room, max(ys) + room), x_at, y_at, top),
        *_limits(limits, y_at),
    ]
    for index, curve in enumerate(curves):
        parts += _curve(curve, index, x_at, y_at)
    for row, (index, name, points_only) in enumerate(legend):
        parts += _legend_row(name, index, TOP + row * LEGEND - 6, points_only=points_only)
    parts.append(draw.text(chart.title, 0, 15, size=14, font_weight="bold", class_="name"))
    words = f"{chart.title}. {_spoken(chart, unit_of)}"
    return _drawn(words, top + PLOT + AXIS, parts)


def bar_chart(chart: BarChart, unit_of: UnitOf) -> SafeString:
    """Bars from a zero line, gains to the right, losses to the left, each with its amount; the sum below."""
    unit = unit_of(chart.quantity)
    bars = list(chart.bars)
    if chart.total:
        bars.append((chart.total, sum(value for _, value in chart.bars)))
    values = [value for _, value in bars]
    x_at = draw.scale(min(0.0, *values), max(0.0, *values), BAR_LEFT, WIDTH - BAR_RIGHT)
    parts = [draw.text(chart.title, 0, 15, size=14, font_weight="bold", class_="name")]
    for index, (name, value) in enumerate(bars):
        is_total = bool(chart.total) and index == len(bars) - 1
        parts += _bar(name, value, amount_text(chart.quantity, value, unit), TOP + index * BAR, x_at, is_total=is_total)
    height = TOP + len(bars) * BAR + 8
    parts.append(
        draw.element("line", x1=x_at(0), x2=x_at(0), y1=TOP - 4, y2=height - 6, stroke=draw.INK, class_="line")
    )
    words = "; ".join(f"{name} {amount_text(chart.quantity, value, unit)}" for name, value in bars)
    return _drawn(f"{chart.title}: {words}", height, parts)


def _drawn(words: str, height: float, parts: Sequence[str]) -> SafeString:
    return mark_safe(draw.drawing(words, WIDTH, height, "".join(parts), "plot"))  # noqa: S308 - every text is escaped in draw


def _number(quantity: str, value: float, unit: str) -> float:
    return units.from_canonical(quantity, value, unit or QUANTITIES[quantity][0].key)


def _shown(curve: Curve, chart: LineChart, x_unit: str, y_unit: str) -> Curve:
    """The curve in the reader's units."""
    return Curve(
        curve.name,
        [_number(chart.x_quantity, x, x_unit) for x in curve.x],
        [_number(chart.y_quantity, y, y_unit) for y in curve.y],
        curve.points_only,
    )


def _axes(
    chart: LineChart,
    x_unit: str,
    y_unit: str,
    x_range: tuple[float, float],
    y_range: tuple[float, float],
    x_at: Scale,
    y_at: Scale,
    top: float,
) -> list[str]:
    parts = []
    for tick in draw.nice_ticks(*y_range, count=5):
        y = y_at(tick)
        parts.append(
            draw.element(
                "line", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y, stroke=draw.FAINT, stroke_width=0.7, class_="grid"
            )
        )
        parts.append(draw.text(number_text(tick), LEFT - 8, y + 4, anchor="end", fill=draw.SOFT, class_="label"))
    is_clock = chart.x_quantity == "clock"
    for tick in range(0, 25, 3) if is_clock else draw.nice_ticks(*x_range, count=8):
        x = x_at(tick)
        parts.append(
            draw.element("line", x1=x, x2=x, y1=top, y2=top + PLOT, stroke=draw.FAINT, stroke_width=0.5, class_="grid")
        )
        words = (clock_text(tick) if tick < 24 else "24:00") if is_clock else number_text(tick)
        parts.append(draw.text(words, x, top + PLOT + 18, anchor="middle", fill=draw.SOFT, class_="label"))
    parts.append(
        draw.text(_titled(chart.y_label, chart.y_quantity, y_unit), 0, top - 8, fill=draw.SOFT, class_="label")
    )
    x_title = chart.x_label if is_clock else _titled(chart.x_label, chart.x_quantity, x_unit)
    parts.append(draw.text(x_title, WIDTH - RIGHT, top + PLOT + 38, anchor="end", fill=draw.SOFT, class_="label"))
    return parts


def _titled(label: str, quantity: str, unit: str) -> str:
    found = units.unit_of(quantity, unit or QUANTITIES[quantity][0].key).label
    return f"{label}, {found}" if found and found.lower() not in label.lower() else label


def _limits(limits: Sequence[tuple[str, float]], y_at: Scale) -> list[str]:
    parts = []
    for name, value in limits:
        y = y_at(value)
        parts.append(
            draw.element("line", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y, stroke=draw.EDGE, stroke_width=1.4,
                         stroke_dasharray="1 3", class_="limit")
        )  # fmt: skip
        parts.append(draw.text(name, WIDTH - RIGHT, y - 4, anchor="end", size=11, fill=draw.EDGE, class_="label"))
    return parts


def _curve(curve: Curve, index: int, x_at: Scale, y_at: Scale) -> list[str]:
    points = [(x_at(x), y_at(y)) for x, y in zip(curve.x, curve.y, strict=True)]
    if curve.points_only:
        return [
            draw.element("circle", cx=x, cy=y, r=5.0, fill="#ffffff", stroke=draw.INK, stroke_width=2.0, class_="point")
            for x, y in points
        ]
    line = " ".join(f"{draw.number(x)},{draw.number(y)}" for x, y in points)
    return [
        draw.element("polyline", points=line, fill="none", stroke=draw.INK, stroke_width=2.0 if index == 0 else 1.5,
                     stroke_dasharray=DASHES[index % len(DASHES)], class_="line")
    ]  # fmt: skip


def _legend(curves: Sequence[Curve]) -> list[tuple[int, str, bool]]:
    """What needs a name: every named curve when there is more than one."""
    named = [(index, curve.name, curve.points_only) for index, curve in enumerate(curves) if curve.name]
    return named if len(curves) > 1 else []


def _legend_row(name: str, index: int, y: float, *, points_only: bool) -> list[str]:
    if points_only:
        mark = draw.element("circle", cx=LEFT + 18, cy=y + 4, r=5.0, fill="#ffffff", stroke=draw.INK, stroke_width=2.0,
                            class_="point")  # fmt: skip
    else:
        mark = draw.element("line", x1=LEFT, x2=LEFT + 36, y1=y + 4, y2=y + 4, stroke=draw.INK,
                            stroke_width=2.0 if index == 0 else 1.5, stroke_dasharray=DASHES[index % len(DASHES)],
                            class_="line")  # fmt: skip
    return [mark, draw.text(name, LEFT + 44, y + 8, size=12, class_="label")]


def _bar(name: str, value: float, words: str, y: float, x_at: Scale, *, is_total: bool) -> list[str]:
    start, end = sorted((x_at(0), x_at(value)))
    bold = "bold" if is_total else None
    return [
        draw.text(name, 0, y + BAR / 2 + 4, size=13, font_weight=bold, class_="name"),
        draw.element("rect", x=start, y=y + 5, width=max(end - start, 1.5), height=BAR - 10,
                     fill=draw.INK if is_total else draw.GOOD, stroke=draw.EDGE, class_="total" if is_total else "bar"),
        draw.text(words, max(end, x_at(0)) + 6, y + BAR / 2 + 4, size=12, font_weight=bold, class_="label"),
    ]  # fmt: skip


def _spoken(chart: LineChart, unit_of: UnitOf) -> str:
    """The curves in words, for who cannot see them."""
    said = []
    for curve in chart.curves:
        if curve.name and not curve.points_only:
            low, high = (
                amount_text(chart.y_quantity, value, unit_of(chart.y_quantity))
                for value in (min(curve.y), max(curve.y))
            )
            said.append(f"{curve.name}: {chart.y_label} from {low} to {high}")
    return "; ".join(said)
