"""Drawings used alike on screen, tablet and PDF.

Each function returns one inline SVG. Presentation attributes give the print look; classes let the
page's style sheet restyle it by theme. Every drawing begins with a ``<title>``.
"""

from servicedesk.common.svg.bands import BandStrip, Mark, band_strip
from servicedesk.common.svg.day import DayRow, Span, day_line
from servicedesk.common.svg.history import Event, Panel, history_chart
from servicedesk.common.svg.ribbon import Block, ClockRow, Jump, NightMark, Ribbon, Tick, ribbon

__all__ = [
    "BandStrip",
    "Block",
    "ClockRow",
    "DayRow",
    "Event",
    "Jump",
    "Mark",
    "NightMark",
    "Panel",
    "Ribbon",
    "Span",
    "Tick",
    "band_strip",
    "day_line",
    "history_chart",
    "ribbon",
]
