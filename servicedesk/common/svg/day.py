"""The programme's day: what runs when, as rows on a line of 24 hours."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString, mark_safe

from servicedesk.common.svg import draw

WIDTH, LEFT, RIGHT, ROW, TOP, AXIS = 720.0, 150.0, 12.0, 30.0, 6.0, 26.0
DAY_MIN = 24 * 60


@dataclass(frozen=True, slots=True)
class Span:
    """Minutes from midnight; an end at or before the start runs over midnight. Equal ends mark a moment."""

    start_min: int
    end_min: int


@dataclass(frozen=True, slots=True)
class DayRow:
    """A line of the day, e.g. lights, with its spans and what is said beside it."""

    name: str
    spans: Sequence[Span]
    words: str = ""


def day_line(title: str, rows: Sequence[DayRow]) -> SafeString:
    """Rows over a line of 24 hours."""
    height = TOP + ROW * len(rows) + AXIS
    x_at = draw.scale(0, DAY_MIN, LEFT, WIDTH - RIGHT)
    parts = []
    for hour in range(0, 25, 3):
        x = x_at(hour * 60)
        parts.append(
            draw.element(
                "line",
                x1=x,
                x2=x,
                y1=TOP,
                y2=height - AXIS + 4,
                stroke=draw.FAINT,
                stroke_width=0.8,
                class_="grid",
            )
        )
        parts.append(draw.text(f"{hour:02}", x, height - 6, anchor="middle", fill=draw.SOFT, class_="label"))
    for index, row in enumerate(rows):
        y = TOP + index * ROW
        parts.append(draw.text(row.name, 0, y + ROW / 2 + 4, size=13, class_="name"))
        for span in row.spans:
            parts += [_bar(x_at(start), x_at(end), y) for start, end in _pieces(span)]
        if row.words:
            parts.append(draw.text(row.words, WIDTH - RIGHT - 4, y + ROW / 2 + 4, anchor="end", class_="words"))
    words = "; ".join(f"{row.name} {row.words}".strip() for row in rows)
    return mark_safe(draw.drawing(f"{title}: {words}", WIDTH, height, "".join(parts), "day-line"))  # noqa: S308 - every text is escaped in draw


def _pieces(span: Span) -> list[tuple[int, int]]:
    if span.end_min > span.start_min:
        return [(span.start_min, span.end_min)]
    if span.end_min == span.start_min:
        return [(span.start_min, span.start_min + 8)]
    return [(span.start_min, DAY_MIN), (0, span.end_min)]


def _bar(start: float, end: float, y: float) -> str:
    return draw.element(
        "rect",
        x=start,
        y=y + 5,
        width=max(end - start, 3.0),
        height=ROW - 10,
        rx=3,
        fill=draw.GOOD,
        stroke=draw.EDGE,
        stroke_width=1,
        class_="span",
    )
