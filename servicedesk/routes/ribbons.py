"""Rounds as ribbons: the pieces of a day in order, drawn on one scale for the whole week."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.svg import Block, ClockRow, Jump, NightMark, Ribbon, Tick, ribbon
from servicedesk.routes.queries.ends import Ends
from servicedesk.routes.queries.round import RoundTimes, StopTimes
from servicedesk.routes.times import Clock, clock, distance_words, hours_words, instant

HOUR_S = 3600
QUARTER_S = 900  # every clock of the world differs from UTC by whole quarters of an hour
LABEL_EVERY_H = 3
FROM_S, TO_S = 7 * HOUR_S, 17 * HOUR_S
NIGHT_ROOM_S = 2 * HOUR_S  # beside a day that begins or ends at a lodging, for the mark of the night
WIDE_HOUR_PX, PAIR_HOUR_PX, BOARD_HOUR_PX = 48.0, 24.0, 10.0


def span_of(rounds: Iterable[tuple[int, int]]) -> tuple[int, int]:
    """From the earliest to the latest hour that any of the days needs, in whole hours."""
    rows = list(rounds)
    first = min([FROM_S, *(start for start, _end in rows)])
    last = max([TO_S, *(end for _start, end in rows)])
    return first // HOUR_S * HOUR_S, -(-last // HOUR_S) * HOUR_S


def driven_span(leave_s: int, return_s: int, start_lodging_id: int | None, lodging_id: int | None) -> tuple[int, int]:
    """From leaving to being back, with room for the marks of nights away."""
    first = leave_s if start_lodging_id is None else max(leave_s - NIGHT_ROOM_S, 0)
    return first, return_s if lodging_id is None else return_s + NIGHT_ROOM_S


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
    ends: Ends | None = None,
) -> SafeString:
    """Draw a technician's day."""
    work = hours or (times.leave_s or span[0], times.return_s or span[1])
    title = _("%(name)s, %(day)s: %(n)d stops") % {
        "name": name,
        "day": date_format(day, "D j M"),
        "n": len(times.stops),
    }
    here = {ZoneInfo(sites[stop.visit_id].time_zone) for stop in times.stops if stop.visit_id in sites}
    drawn = blocks(day, zone, times, sites, warned, ends)
    nights = _night_marks(times, ends)
    title = ". ".join([title, *(mark.words for mark in nights)])
    clocks, jumps = clock_rows(day, zone, frozenset(here), span), clock_jumps(day, zone, span)
    return ribbon(Ribbon(title, *span, *work, drawn, hour_px, clocks, jumps, nights))


def _night_marks(times: RoundTimes, ends: Ends | None) -> list[NightMark]:
    if ends is None:
        return []
    rows = []
    if not ends.start.is_home and times.leave_s is not None:
        words = _("Begins after the night at %(lodging)s") % {"lodging": ends.start.name}
        rows.append(NightMark(times.leave_s, _("night"), words, is_after=False))
    if not ends.end.is_home and times.return_s is not None:
        words = _("Night at %(lodging)s") % {"lodging": ends.end.name}
        rows.append(NightMark(times.return_s, _("night"), words, is_after=True))
    return rows


@lru_cache(maxsize=512)
def clock_rows(
    day: date, zone: ZoneInfo, others: frozenset[ZoneInfo], span: tuple[int, int]
) -> tuple[ClockRow, ...]:  # fmt: skip
    """The technician's hours, and those of the sites whose clocks show others; one row for zones that agree."""
    rows = {_offsets(day, zone, zone, span): zone}
    for other in sorted(others, key=str):
        rows.setdefault(_offsets(day, zone, other, span), other)
    named = len(rows) > 1
    return tuple(
        ClockRow(_ticks(day, zone, row, span), _zone_name(day, zone, row, span) if named else "")
        for row in rows.values()
    )  # fmt: skip


def clock_jumps(day: date, zone: ZoneInfo, span: tuple[int, int]) -> list[Jump]:
    """Where the technician's clock is put forward or back within the span."""
    first, last = _offsets(day, zone, zone, span)
    if first == last:
        return []
    rows = []
    for at in range(span[0] + QUARTER_S, span[1] + 1, QUARTER_S):
        before, after = (instant(day, second, zone).astimezone(zone) for second in (at - QUARTER_S, at))
        change_s = _offset_s(after) - _offset_s(before)
        if change_s:
            rows.append(Jump(at, _jump_label(change_s), _jump_words(day, at, zone, change_s)))
    return rows


def _offsets(day: date, origin: ZoneInfo, zone: ZoneInfo, span: tuple[int, int]) -> tuple[int, int]:
    """What a clock differs from UTC at both ends of the span: clocks that agree there show the same hours."""
    first, last = (_offset_s(instant(day, at, origin).astimezone(zone)) for at in span)
    return first, last


def _offset_s(moment: datetime) -> int:
    offset = moment.utcoffset()
    return round(offset.total_seconds()) if offset is not None else 0


def _zone_name(day: date, origin: ZoneInfo, zone: ZoneInfo, span: tuple[int, int]) -> str:
    return instant(day, span[1], origin).astimezone(zone).tzname() or ""


def _ticks(day: date, origin: ZoneInfo, zone: ZoneInfo, span: tuple[int, int]) -> list[Tick]:
    """Every third hour that the clock shows, and each hour beside a change of the clock."""
    jumps = [jump.at_s for jump in clock_jumps(day, zone, span)] if zone == origin else []
    rows = []
    for at in range(span[0], span[1] + 1, QUARTER_S):
        moment = instant(day, at, origin).astimezone(zone)
        near = any(abs(at - jump) <= HOUR_S for jump in jumps)
        if moment.minute or not (near or moment.hour % LABEL_EVERY_H == 0):
            continue
        nights = (moment.date() - day).days
        next_date = moment.hour == 0 and nights > 0
        rows.append(Tick(at, f"{moment.hour:02}" + (f" +{nights}" if next_date else ""), midnight=next_date))
    return rows


def _jump_label(change_s: int) -> str:
    hours = change_s / HOUR_S
    return f"{'+' if hours > 0 else '−'}{abs(hours):g} h"


def _jump_words(day: date, at: int, zone: ZoneInfo, change_s: int) -> str:
    before = instant(day, at - 1, zone).astimezone(zone) + timedelta(seconds=1)
    after = instant(day, at, zone).astimezone(zone)
    words = {"old": f"{before:%H:%M}", "new": f"{after:%H:%M}"}
    if change_s > 0:
        return _("The clock goes forward from %(old)s to %(new)s: the time between does not exist.") % words
    return _("The clock goes back from %(old)s to %(new)s: the time between comes twice.") % words


def blocks(
    day: date,
    zone: ZoneInfo,
    times: RoundTimes,
    sites: Mapping[str, Site],
    warned: frozenset[str],
    ends: Ends | None = None,
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
            rows.append(Block("wait", stop.arrive_s, stop.start_s, _("slack, until the work can begin")))
        rows.append(
            Block(
                "help" if stop.helps else "visit", stop.start_s, stop.leave_s,
                _visit_words(site, start, leave, helps=stop.helps), stop.visit_id,
                warned=stop.visit_id in warned, locked=stop.locked,
            )
        )  # fmt: skip
    if times.break_start_s is not None and times.break_s:
        end = times.break_start_s + times.break_s
        rows.append(Block("break", times.break_start_s, end, _("break")))
    if times.return_s is not None and times.back_travel_s:
        rows.append(Block("travel", times.return_s - times.back_travel_s, times.return_s, _back_words(ends)))
    return rows


def _back_words(ends: Ends | None) -> str:
    if ends is None or ends.end.is_home:
        return _("drive home")
    return _("drive to %(lodging)s") % {"lodging": ends.end.name}


def _has_break(times: RoundTimes, stop: StopTimes) -> bool:
    return times.break_start_s is not None and stop.arrive_s <= times.break_start_s < stop.start_s


def _drive_words(stop: StopTimes) -> str:
    return _("drive %(time)s, %(distance)s") % {
        "time": hours_words(stop.travel_s),
        "distance": distance_words(stop.distance_m),
    }


def _visit_words(site: Site | None, start: Clock, leave: Clock, *, helps: bool) -> str:
    name = str(site) if site else ""
    if helps:
        name = _("helps at %(site)s") % {"site": name}
    return f"{name} {start.short}–{leave.short}"
