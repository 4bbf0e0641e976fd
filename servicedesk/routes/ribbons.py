"""Rounds as ribbons: the pieces of a day in order, drawn on one scale for the whole week."""

from collections.abc import Iterable, Mapping
from datetime import date
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.svg import Block, Ribbon, ribbon
from servicedesk.routes.queries.round import RoundTimes, StopTimes
from servicedesk.routes.times import Clock, clock, distance_words, hours_words

HOUR_S = 3600
FROM_S, TO_S = 7 * HOUR_S, 17 * HOUR_S
WIDE_HOUR_PX, BOARD_HOUR_PX = 48.0, 16.0


def span_of(rounds: Iterable[tuple[int, int]]) -> tuple[int, int]:
    """From the earliest to the latest hour that any of the days needs, in whole hours."""
    rows = list(rounds)
    first = min([FROM_S, *(start for start, _end in rows)])
    last = max([TO_S, *(end for _start, end in rows)])
    return first // HOUR_S * HOUR_S, -(-last // HOUR_S) * HOUR_S


def round_ribbon(
    name: str,
    day: date,
    zone: ZoneInfo,
    times: RoundTimes,
    sites: Mapping[str, Site],
    span: tuple[int, int],
    hours: tuple[int, int] | None,
    warned: frozenset[str] = frozenset(),
    *,
    hour_px: float = WIDE_HOUR_PX,
) -> SafeString:
    """Draw a technician's day."""
    work = hours or (times.leave_s or span[0], times.return_s or span[1])
    title = _("%(name)s, %(day)s: %(n)d stops") % {
        "name": name,
        "day": date_format(day, "D j M"),
        "n": len(times.stops),
    }
    return ribbon(Ribbon(title, *span, *work, blocks(day, zone, times, sites, warned), hour_px))


def blocks(
    day: date, zone: ZoneInfo, times: RoundTimes, sites: Mapping[str, Site], warned: frozenset[str]
) -> list[Block]:
    """Drives, waits, visits and the break of a round, in order of time."""
    rows: list[Block] = []
    for stop in times.stops:
        site = sites.get(stop.visit_id)
        site_zone = ZoneInfo(site.time_zone) if site else zone
        start, leave = (clock(day, at, zone, site_zone) for at in (stop.start_s, stop.leave_s))
        if stop.travel_s:
            rows.append(Block("travel", stop.arrive_s - stop.travel_s, stop.arrive_s, _drive_words(stop)))
        if stop.wait_s > 0 and not _has_break(times, stop):
            rows.append(Block("wait", stop.arrive_s, stop.start_s, _("slack, until the site opens")))
        rows.append(
            Block(
                "visit", stop.start_s, stop.leave_s, _visit_words(site, start, leave), stop.visit_id,
                warned=stop.visit_id in warned, locked=stop.locked,
            )
        )  # fmt: skip
    if times.break_start_s is not None and times.break_s:
        end = times.break_start_s + times.break_s
        rows.append(Block("break", times.break_start_s, end, _("break")))
    if times.return_s is not None and times.back_travel_s:
        rows.append(Block("travel", times.return_s - times.back_travel_s, times.return_s, _("drive home")))
    return rows


def _has_break(times: RoundTimes, stop: StopTimes) -> bool:
    return times.break_start_s is not None and stop.arrive_s <= times.break_start_s < stop.start_s


def _drive_words(stop: StopTimes) -> str:
    return _("drive %(time)s, %(distance)s") % {
        "time": hours_words(stop.travel_s),
        "distance": distance_words(stop.distance_m),
    }


def _visit_words(site: Site | None, start: Clock, leave: Clock) -> str:
    name = str(site) if site else ""
    return f"{name} {start.short}–{leave.short}"
