"""Small building blocks of our drawings: escaped elements, scales and ticks."""

from collections.abc import Callable
from html import escape
from math import floor, log10
from typing import Any

Scale = Callable[[float], float]

INK, SOFT, FAINT, GOOD, EDGE, ALARM = "#14212b", "#5b6b76", "#c6d0d6", "#cfe9e1", "#2d7f6b", "#a3341f"
FONT = "Atkinson Hyperlegible Next, sans-serif"


def number(value: float) -> str:
    """A coordinate in at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def element(name: str, content: str = "", **attributes: object) -> str:
    """``element("rect", x=1, class_="band")`` → ``<rect x="1" class="band"/>``; content is already safe."""
    parts = []
    for key, value in attributes.items():
        if value is None:
            continue
        text = number(value) if isinstance(value, float) else str(value)
        parts.append(f' {key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    opening = f"<{name}{''.join(parts)}"
    return f"{opening}>{content}</{name}>" if content else f"{opening}/>"


def text(
    content: str,
    x: float,
    y: float,
    *,
    size: float = 12,
    anchor: str = "start",
    fill: str = INK,
    **more: object,
) -> str:
    return element(
        "text",
        escape(content),
        x=x,
        y=y,
        font_size=size,
        text_anchor=anchor,
        fill=fill,
        font_family=FONT,
        **more,
    )


def drawing(title: str, width: float, height: float, content: str, css: str) -> str:
    """The whole SVG; it scales to the width of its box."""
    return element(
        "svg",
        element("title", escape(title)) + content,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        class_=f"drawing {css}",
        role="img",
    )


def scale(low: float, high: float, start: float, end: float) -> Scale:
    """A linear scale from values to coordinates."""
    span = (high - low) or 1.0
    return lambda value: start + (value - low) / span * (end - start)


def nice_ticks(low: float, high: float, count: int = 4) -> list[float]:
    """About ``count`` round values between low and high."""
    if high <= low:
        return [low]
    raw = (high - low) / count
    power = 10 ** floor(log10(raw))
    step = next((m * power for m in (1, 2, 2.5, 5, 10) if m * power >= raw), 10 * power)
    first = floor(low / step) * step
    values = [first + index * step for index in range(int((high - first) / step) + 2)]
    return [round(value, 10) for value in values if low <= value <= high]


def marker(x: float, y: float, size: float, state: str, *, newest: bool) -> str:
    """A reading's mark: a dot in band, a triangle near or out of it, a square in alarm."""
    fill = {"in": EDGE, "low": "#9a6a00", "high": "#9a6a00"}.get(state, ALARM)
    css = f"mark {state}{' newest' if newest else ''}"
    paint: dict[str, Any] = {"fill": fill if newest else "#ffffff", "stroke": fill, "stroke_width": 1.5, "class_": css}
    if state == "in":
        return element("circle", cx=x, cy=y, r=size, **paint)
    if state in {"low", "high"}:
        turn = 1 if state == "high" else -1
        corners = ((x, y - turn * size * 1.3), (x - size * 1.2, y + turn * size), (x + size * 1.2, y + turn * size))
        points = " ".join(f"{number(across)},{number(down)}" for across, down in corners)
        return element("polygon", points=points, **paint)
    return element("rect", x=x - size, y=y - size, width=size * 2, height=size * 2, **paint)
