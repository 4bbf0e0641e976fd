"""The band strip: a parameter's band as a bar with its last readings as marks with error bars."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.safestring import SafeString, mark_safe

from servicedesk.common.svg import draw
from servicedesk.common.svg.draw import Scale

WIDTH, HEIGHT, LEFT, RIGHT, MIDDLE = 560.0, 64.0, 10.0, 10.0, 26.0
BAR = 16.0


@dataclass(frozen=True, slots=True)
class Mark:
    """A reading in display units with its standard deviation; ``below`` marks "less than"."""

    value: float
    sd: float = 0.0
    when: str = ""
    below: bool = False


@dataclass(frozen=True, slots=True)
class BandStrip:
    """One parameter: band edges and marks (oldest first) in the unit shown, and the verdict in words."""

    name: str
    unit: str
    low: float
    high: float
    marks: Sequence[Mark]
    words: str
    alarm_low: float | None = None
    alarm_high: float | None = None
    digits: int = 1
    outlook: tuple[float, float, float] | None = field(default=None)

    def state_of(self, value: float) -> str:
        """in, low, high or alarm."""
        if (self.alarm_low is not None and value < self.alarm_low) or (
            self.alarm_high is not None and value > self.alarm_high
        ):
            return "alarm"
        if value < self.low:
            return "low"
        return "high" if value > self.high else "in"


def _range(strip: BandStrip) -> tuple[float, float]:
    values = [strip.low, strip.high]
    values += [edge for edge in (strip.alarm_low, strip.alarm_high) if edge is not None]
    for mark in strip.marks:
        values += [mark.value - mark.sd, mark.value + mark.sd]
    low, high = min(values), max(values)
    room = (strip.high - strip.low) * 0.25 or 1.0
    return low - room, high + room


def band_strip(strip: BandStrip) -> SafeString:
    """Draw the strip, 560 × 64 units, newest reading biggest and filled."""
    low, high = _range(strip)
    at = draw.scale(low, high, LEFT, WIDTH - RIGHT)
    top, bottom = MIDDLE - BAR / 2, MIDDLE + BAR / 2
    parts = [
        draw.element(
            "rect",
            x=LEFT,
            y=top,
            width=WIDTH - LEFT - RIGHT,
            height=BAR,
            rx=3,
            fill="#eef2f4",
            class_="ground",
        ),
        draw.element(
            "rect",
            x=at(strip.low),
            y=top,
            width=at(strip.high) - at(strip.low),
            height=BAR,
            fill=draw.GOOD,
            class_="band",
        ),
    ]
    for edge, css in (
        (strip.low, "edge"),
        (strip.high, "edge"),
        (strip.alarm_low, "alarm"),
        (strip.alarm_high, "alarm"),
    ):
        if edge is not None:
            parts.append(_edge(at(edge), top, bottom, css))
    parts += _edge_labels(strip, at)
    if strip.outlook is not None:
        parts.append(_wedge(strip, at, top, bottom))
    for index, mark in enumerate(strip.marks):
        parts.append(_mark(strip, mark, at, newest=index == len(strip.marks) - 1))
    title = f"{strip.name}: {strip.words}"
    return mark_safe(draw.drawing(title, WIDTH, HEIGHT, "".join(parts), "band-strip"))  # noqa: S308 - every text is escaped in draw


def _edge(x: float, top: float, bottom: float, css: str) -> str:
    colour, dash = (draw.EDGE, None) if css == "edge" else (draw.ALARM, "3 2")
    return draw.element(
        "line",
        x1=x,
        x2=x,
        y1=top - 5,
        y2=bottom + 5,
        stroke=colour,
        stroke_width=2,
        stroke_dasharray=dash,
        class_=css,
    )


def _edge_labels(strip: BandStrip, at: Scale) -> list[str]:
    labels = [
        draw.text(
            f"{strip.low:.{strip.digits}f}",
            at(strip.low),
            HEIGHT - 6,
            anchor="middle",
            fill=draw.SOFT,
            class_="label",
        ),
        draw.text(
            f"{strip.high:.{strip.digits}f} {strip.unit}",
            at(strip.high),
            HEIGHT - 6,
            anchor="middle",
            fill=draw.SOFT,
            class_="label",
        ),
    ]
    for edge in (strip.alarm_low, strip.alarm_high):
        near = edge is None or min(abs(at(edge) - at(strip.low)), abs(at(edge) - at(strip.high))) < 70
        if edge is not None and not near:
            labels.append(
                draw.text(
                    f"{edge:.{strip.digits}f}",
                    at(edge),
                    HEIGHT - 6,
                    anchor="middle",
                    fill=draw.ALARM,
                    class_="label alarm",
                )
            )
    return labels


def _wedge(strip: BandStrip, at: Scale, top: float, bottom: float) -> str:
    start, low, high = strip.outlook or (0.0, 0.0, 0.0)
    points = f"{draw.number(at(start))},{MIDDLE} {draw.number(at(low))},{top} {draw.number(at(high))},{top}"
    return draw.element("polygon", points=points, fill="#7f97a3", fill_opacity=0.35, class_="outlook")


def _mark(strip: BandStrip, mark: Mark, at: Scale, *, newest: bool) -> str:
    x, state = at(mark.value), strip.state_of(mark.value)
    bar = ""
    if mark.sd:
        bar = draw.element(
            "line",
            x1=at(mark.value - mark.sd),
            x2=at(mark.value + mark.sd),
            y1=MIDDLE,
            y2=MIDDLE,
            stroke=draw.INK,
            stroke_width=2 if newest else 1,
            class_="error",
        )
    label = ""
    if newest:
        sign = "<" if mark.below else ""
        label = draw.text(
            f"{sign}{mark.value:.{strip.digits}f}",
            x,
            11,
            size=13,
            anchor="middle",
            font_weight="bold",
            class_="value",
        )
    return bar + draw.marker(x, MIDDLE, 7.0 if newest else 4.0, state, newest=newest) + label
