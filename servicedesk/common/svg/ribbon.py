"""A round as a time ribbon to scale: thin for driving, blocks for visits, hatch for slack."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from servicedesk.common.svg import draw
from servicedesk.common.svg.draw import Scale

HEIGHT, TOP, BAR, HOUR_PX = 62.0, 8.0, 34.0, 26.0
ROW, NAME_PX = 13.0, 26.0
STOPS = ("visit", "help")
HELP_PX = 34  # from this width on the word fits


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of the day in seconds from local midnight. ``kind``: visit, help, travel, wait or break.

    ``help`` is the second person's part of somebody else's visit: a low block with a plus over it.
    """

    kind: str
    start_s: int
    end_s: int
    words: str = ""
    key: str = ""
    warned: bool = False
    locked: bool = False


@dataclass(frozen=True, slots=True)
class Tick:
    """A whole hour of a clock, at the second of the day at which that clock shows it."""

    at_s: int
    label: str
    midnight: bool = False


@dataclass(frozen=True, slots=True)
class ClockRow:
    """The hours of one clock under the ribbon; ``name`` only where there are several."""

    ticks: Sequence[Tick]
    name: str = ""


@dataclass(frozen=True, slots=True)
class Jump:
    """The moment at which the clock is put forward or back."""

    at_s: int
    label: str
    words: str


@dataclass(frozen=True, slots=True)
class NightMark:
    """A night away: a crescent and a word, before the day begins or after it ends."""

    at_s: int
    word: str
    words: str
    is_after: bool


@dataclass(frozen=True, slots=True)
class Ribbon:
    """A technician's day: the span drawn, the working hours, and its blocks in order.

    Seconds are elapsed ones, so that lengths stay true on the days when the clock changes; what a clock shows is
    in ``clocks``. ``hour_px`` is the width of an hour: narrow on a board of many days, wide where a day stands alone.
    """

    title: str
    from_s: int
    to_s: int
    work_start_s: int
    work_end_s: int
    blocks: Sequence[Block]
    hour_px: float = HOUR_PX
    clocks: Sequence[ClockRow] = ()
    jumps: Sequence[Jump] = ()
    nights: Sequence[NightMark] = ()


def ribbon(day: Ribbon) -> SafeString:
    """Draw the day with one row of hours for each clock, and where a clock is put forward or back."""
    width = max((day.to_s - day.from_s) / 3600 * day.hour_px, day.hour_px)
    x_at = draw.scale(day.from_s, day.to_s, 0, width)
    parts = [
        draw.element("rect", x=0, y=TOP, width=width, height=BAR, fill="#f4f6f7", class_="ground"),
        draw.element(
            "rect",
            x=x_at(day.work_start_s),
            y=TOP,
            width=max(x_at(day.work_end_s) - x_at(day.work_start_s), 0.0),
            height=BAR,
            fill="#e6edf0",
            class_="hours",
        ),
    ]
    position = 0
    for block in day.blocks:
        position += block.kind in STOPS
        parts.append(_block(block, x_at, position))
    parts += _overtime(day, x_at)
    for number, row in enumerate(day.clocks):
        parts += _hours(row, number, x_at, width)
    parts += [_jump(jump, x_at) for jump in day.jumps]
    parts += [_night(mark, x_at) for mark in day.nights]
    height = HEIGHT + ROW * max(len(day.clocks) - 1, 0)
    return mark_safe(draw.drawing(day.title, width, height, "".join(parts), "ribbon"))  # noqa: S308 - every text is escaped in draw


def _hours(row: ClockRow, number: int, x_at: Scale, width: float) -> list[str]:
    """The hours of one clock; midnight goes through the bar, since a new date begins there."""
    y = HEIGHT - 4 + ROW * number
    parts = [draw.text(row.name, 0, y, size=9, fill=draw.SOFT, class_="label zone")] if row.name else []
    for tick in row.ticks:
        x = x_at(tick.at_s)
        if number == 0:
            top = TOP if tick.midnight else TOP + BAR
            parts.append(
                draw.element(
                    "line", x1=x, x2=x, y1=top, y2=TOP + BAR + 4, stroke=draw.SOFT, stroke_width=1,
                    class_="axis midnight" if tick.midnight else "axis",
                )
            )  # fmt: skip
        if not row.name or x >= NAME_PX:
            parts.append(draw.text(tick.label, x, y, size=10, anchor=_anchor(x, width), fill=draw.SOFT, class_="label"))
    return parts


def _jump(jump: Jump, x_at: Scale) -> str:
    x = x_at(jump.at_s)
    line = draw.element(
        "line", x1=x, x2=x, y1=TOP - 8, y2=TOP + BAR + 4, stroke=draw.INK, stroke_width=2, stroke_dasharray="3 2",
        class_="jump",
    )  # fmt: skip
    label = draw.text(jump.label, x + 3, TOP, size=9, fill=draw.INK, class_="label")
    return draw.element("g", draw.element("title", escape(jump.words)) + line + label, class_="clock-change")


def _night(mark: NightMark, x_at: Scale) -> str:
    """A crescent whose horns point away from the day, and the word under it."""
    side = 1 if mark.is_after else -1
    x, y, away, back = x_at(mark.at_s) + side * 13, TOP + 10, int(not mark.is_after), int(mark.is_after)
    path = f"M {x:.1f} {y - 5} A 6 6 0 1 {away} {x:.1f} {y + 5} A 5.1 5.1 0 0 {back} {x:.1f} {y - 5} Z"
    moon = draw.element("path", d=path, fill=draw.INK, class_="moon")
    word = draw.text(
        mark.word, x_at(mark.at_s) + side * 4, TOP + BAR - 5, size=10, anchor="start" if mark.is_after else "end",
        fill=draw.INK, class_="label night-word",
    )  # fmt: skip
    return draw.element("g", draw.element("title", escape(mark.words)) + moon + word, class_="night")


def _anchor(x: float, width: float) -> str:
    """Hours at the edges are written inwards, so that none is cut."""
    return "end" if x > width - 7 else "start" if x < 7 else "middle"


def _block(block: Block, x_at: Scale, position: int) -> str:
    x, width = x_at(block.start_s), max(x_at(block.end_s) - x_at(block.start_s), 1.5)
    tip = draw.element("title", escape(block.words)) if block.words else ""
    if block.kind == "travel":
        body = draw.element("rect", x=x, y=TOP + BAR / 2 - 2, width=width, height=4, fill=draw.SOFT, class_="travel")
    elif block.kind in STOPS:
        low = block.kind == "help"
        body = draw.element(
            "rect",
            x=x,
            y=TOP + BAR * 0.4 if low else TOP,
            width=width,
            height=BAR * 0.6 if low else BAR,
            rx=3,
            fill=draw.GOOD,
            stroke=draw.EDGE,
            stroke_width=1.5,
            stroke_dasharray="3 2" if low else None,
            class_=block.kind,
        )
        if low:
            label = "+ " + _("helps") if width >= HELP_PX else "+"
            body += draw.text(
                label, x + width / 2, TOP + 10, size=11, anchor="middle", font_weight="bold", fill=draw.INK,
                class_="label",
            )  # fmt: skip
        body += (
            draw.text(
                str(position),
                x + width / 2,
                TOP + BAR * (0.7 if low else 0.5) + 5,
                size=14,
                anchor="middle",
                font_weight="bold",
                class_="order",
            )
            if width > 9 * len(str(position))
            else ""
        )
        if block.locked:
            body += draw.element("rect", x=x, y=TOP + BAR - 4, width=width, height=4, fill=draw.INK, class_="locked")
        if block.warned:
            body += draw.text(
                "!",
                x + width - 6,
                TOP + (BAR - 6 if low else 12),
                size=13,
                font_weight="bold",
                fill=draw.ALARM,
                class_="warned",
            )
    else:
        lines = "".join(
            draw.element(
                "line",
                x1=at,
                x2=min(at + 6, x + width),
                y1=TOP + BAR - 8,
                y2=TOP + 8,
                stroke=draw.FAINT,
                stroke_width=1.5,
            )
            for at in [x + step for step in range(0, max(int(width), 1), 5)]
        )
        body = draw.element("g", lines or draw.element("line", x1=x, x2=x, y1=TOP, y2=TOP), class_=block.kind)
    return draw.element("g", tip + body, class_=f"block {block.kind}", data_visit=block.key or None)


def _overtime(day: Ribbon, x_at: Scale) -> list[str]:
    last = max((block.end_s for block in day.blocks), default=0)
    if last <= day.work_end_s:
        return []
    x, width = x_at(day.work_end_s), x_at(last) - x_at(day.work_end_s)
    return [
        draw.element(
            "line",
            x1=x,
            x2=x,
            y1=TOP - 6,
            y2=TOP + BAR + 4,
            stroke=draw.ALARM,
            stroke_width=2,
            class_="limit",
        ),
        draw.element("rect", x=x, y=TOP - 5, width=width, height=4, fill=draw.ALARM, class_="overtime"),
    ]
