"""History: readings of several parameters over time, with additions, settings and visits on one time axis."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from html import escape

from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe

from servicedesk.common.svg import draw
from servicedesk.common.svg.draw import Scale

WIDTH, LEFT, RIGHT, PANEL, GAP, AXIS, EVENTS = 960.0, 64.0, 16.0, 132.0, 26.0, 34.0, 22.0
KINDS = {"visit": "V", "dose": "D", "water_change": "W", "setting": "S"}


@dataclass(frozen=True, slots=True)
class Panel:
    """A parameter in display units: band and readings (time, value, sd)."""

    name: str
    unit: str
    readings: Sequence[tuple[datetime, float, float]]
    low: float | None = None
    high: float | None = None
    digits: int = 1


@dataclass(frozen=True, slots=True)
class Event:
    """Something on the time axis: ``kind`` is visit, dose, water_change or setting."""

    at: datetime
    kind: str
    words: str


def history_chart(
    title: str, panels: Sequence[Panel], events: Sequence[Event], start: datetime, end: datetime
) -> SafeString:
    """Panels stacked over one time axis; events as lettered marks with their words as tool tips."""
    kinds = [kind for kind in KINDS if any(event.kind == kind for event in events)]
    height = len(panels) * (PANEL + GAP) + len(kinds) * EVENTS + AXIS
    x_at = draw.scale(start.timestamp(), end.timestamp(), LEFT, WIDTH - RIGHT)
    parts: list[str] = []
    for index, panel in enumerate(panels):
        parts += _panel(panel, index * (PANEL + GAP) + 18, x_at)
    top = len(panels) * (PANEL + GAP)
    for row, kind in enumerate(kinds):
        parts += _events(kind, [event for event in events if event.kind == kind], top + row * EVENTS + 12, x_at)
    parts += _time_axis(start, end, height - AXIS + 6, x_at)
    return mark_safe(draw.drawing(title, WIDTH, height, "".join(parts), "history"))  # noqa: S308 - every text is escaped in draw


def _panel(panel: Panel, top: float, x_at: Scale) -> list[str]:
    values = [value for _, value, _ in panel.readings]
    values += [edge for edge in (panel.low, panel.high) if edge is not None]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    room = (high - low) * 0.12 or 1.0
    y_at = draw.scale(low - room, high + room, top + PANEL, top)
    parts = [
        draw.text(
            f"{panel.name}, {panel.unit}" if panel.unit else panel.name,
            LEFT,
            top - 6,
            size=13,
            font_weight="bold",
            class_="name",
        )
    ]
    if panel.low is not None and panel.high is not None:
        parts.append(
            draw.element(
                "rect",
                x=LEFT,
                y=y_at(panel.high),
                width=WIDTH - LEFT - RIGHT,
                height=y_at(panel.low) - y_at(panel.high),
                fill=draw.GOOD,
                class_="band",
            )
        )
    for tick in draw.nice_ticks(low - room, high + room):
        parts.append(
            draw.element(
                "line",
                x1=LEFT,
                x2=WIDTH - RIGHT,
                y1=y_at(tick),
                y2=y_at(tick),
                stroke=draw.FAINT,
                stroke_width=0.7,
                class_="grid",
            )
        )
        parts.append(
            draw.text(
                f"{tick:.{panel.digits}f}",
                LEFT - 8,
                y_at(tick) + 4,
                anchor="end",
                fill=draw.SOFT,
                class_="label",
            )
        )
    points = [(x_at(at.timestamp()), y_at(value)) for at, value, _ in panel.readings]
    if len(points) > 1:
        line = " ".join(f"{draw.number(x)},{draw.number(y)}" for x, y in points)
        parts.append(
            draw.element("polyline", points=line, fill="none", stroke=draw.SOFT, stroke_width=1.2, class_="line")
        )
    for index, (at, value, sd) in enumerate(panel.readings):
        x = x_at(at.timestamp())
        if sd:
            parts.append(
                draw.element(
                    "line",
                    x1=x,
                    x2=x,
                    y1=y_at(value - sd),
                    y2=y_at(value + sd),
                    stroke=draw.INK,
                    stroke_width=1,
                    class_="error",
                )
            )
        parts.append(draw.marker(x, y_at(value), 3.6, _state(panel, value), newest=index == len(panel.readings) - 1))
    return parts


def _state(panel: Panel, value: float) -> str:
    if panel.low is not None and value < panel.low:
        return "low"
    return "high" if panel.high is not None and value > panel.high else "in"


def _events(kind: str, events: Sequence[Event], y: float, x_at: Scale) -> list[str]:
    parts = []
    for event in events:
        tip = draw.element("title", escape(event.words))
        mark = draw.text(KINDS[kind], x_at(event.at.timestamp()), y + 4, size=12, anchor="middle", font_weight="bold")
        parts.append(draw.element("g", tip + mark, class_=f"event {kind}"))
    return parts


def _time_axis(start: datetime, end: datetime, y: float, x_at: Scale) -> list[str]:
    days = max((end - start).days, 1)
    step = next((step for step in (1, 2, 7, 14, 30, 61, 91) if days / step <= 9), 182)
    parts = [
        draw.element("line", x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y, stroke=draw.INK, stroke_width=1, class_="axis")
    ]
    at = start.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    while at <= end:
        x = x_at(at.timestamp())
        parts.append(draw.element("line", x1=x, x2=x, y1=y, y2=y + 5, stroke=draw.INK, stroke_width=1, class_="axis"))
        parts.append(draw.text(date_format(at, "j M"), x, y + 19, anchor="middle", fill=draw.SOFT, class_="label"))
        at += timedelta(days=step)
    return parts
