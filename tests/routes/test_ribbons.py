"""Ribbons on days when the clock changes, beyond midnight, and across time zones.

US clocks go forward at 02:00 on the second Sunday of March and back at 02:00 on the first Sunday of November
(Energy Policy Act of 2005, section 110); those of the European Union at 01:00 UTC on the last Sundays of March and
October (Directive 2000/84/EC). Dates of 2026 and 2027 from those rules.
"""

import re
from datetime import date
from zoneinfo import ZoneInfo

from servicedesk.clients.models import Site
from servicedesk.routes.queries.round import RoundTimes, StopTimes
from servicedesk.routes.ribbons import clock_jumps, clock_rows, round_ribbon

HOUR = 3600
CHICAGO, NEW_YORK = ZoneInfo("America/Chicago"), ZoneInfo("America/New_York")
HELSINKI, PHOENIX, INDIA = ZoneInfo("Europe/Helsinki"), ZoneInfo("America/Phoenix"), ZoneInfo("Asia/Kolkata")
US_BACK, US_FORWARD, EU_BACK = date(2026, 11, 1), date(2027, 3, 14), date(2026, 10, 25)


def labels(day: date, zone: ZoneInfo, span: tuple[int, int]) -> dict[int, str]:
    """The hours by elapsed hour of the day."""
    (row,) = clock_rows(day, zone, frozenset(), span)
    return {tick.at_s // HOUR: tick.label for tick in row.ticks}


def test_plain_day_shows_its_hours_where_they_have_elapsed() -> None:
    assert labels(date(2026, 12, 7), CHICAGO, (6 * HOUR, 18 * HOUR)) == {6: "06", 9: "09", 12: "12", 15: "15", 18: "18"}


def test_after_the_missing_hour_the_clock_shows_one_more_than_has_elapsed() -> None:
    found = labels(US_FORWARD, CHICAGO, (0, 12 * HOUR))
    assert found == {0: "00", 1: "01", 2: "03", 3: "04", 5: "06", 8: "09", 11: "12"}
    (jump,) = clock_jumps(US_FORWARD, CHICAGO, (0, 12 * HOUR))
    assert (jump.at_s, jump.label) == (2 * HOUR, "+1 h")
    assert jump.words == "The clock goes forward from 02:00 to 03:00: the time between does not exist."


def test_doubled_hour_is_labelled_twice() -> None:
    found = labels(US_BACK, CHICAGO, (0, 13 * HOUR))
    assert found == {0: "00", 1: "01", 2: "01", 3: "02", 4: "03", 7: "06", 10: "09", 13: "12"}
    (jump,) = clock_jumps(US_BACK, CHICAGO, (0, 13 * HOUR))
    assert (jump.at_s, jump.label) == (2 * HOUR, "−1 h")
    assert jump.words == "The clock goes back from 02:00 to 01:00: the time between comes twice."


def test_european_change_comes_at_its_own_hour() -> None:
    (jump,) = clock_jumps(EU_BACK, HELSINKI, (0, 24 * HOUR))
    assert (jump.at_s, jump.words[:40]) == (4 * HOUR, "The clock goes back from 04:00 to 03:00:")


def test_day_shift_of_a_day_of_change_has_no_mark_but_the_right_hours() -> None:
    span = (7 * HOUR, 17 * HOUR)
    assert clock_jumps(US_BACK, CHICAGO, span) == []
    assert labels(US_BACK, CHICAGO, span) == {7: "06", 10: "09", 13: "12", 16: "15"}


def test_night_round_of_the_evening_before_goes_through_the_change() -> None:
    span = (18 * HOUR, 33 * HOUR)
    found = labels(date(2026, 10, 31), CHICAGO, span)
    assert found == {18: "18", 21: "21", 24: "00 +1", 25: "01", 26: "01", 27: "02", 28: "03", 31: "06"}
    assert [jump.at_s for jump in clock_jumps(date(2026, 10, 31), CHICAGO, span)] == [26 * HOUR]


def test_hours_beyond_midnight_name_the_next_date() -> None:
    (row,) = clock_rows(date(2026, 12, 7), CHICAGO, frozenset(), (20 * HOUR, 30 * HOUR))
    assert [(tick.label, tick.midnight) for tick in row.ticks] == [
        ("21", False), ("00 +1", True), ("03", False), ("06", False),
    ]  # fmt: skip


def test_two_zones_have_a_row_of_hours_each() -> None:
    own, other = clock_rows(date(2026, 12, 7), CHICAGO, frozenset({NEW_YORK, CHICAGO}), (6 * HOUR, 15 * HOUR))
    assert (own.name, other.name) == ("CST", "EST")
    assert [(tick.at_s // HOUR, tick.label) for tick in other.ticks] == [(8, "09"), (11, "12"), (14, "15")]


def test_zones_that_show_the_same_hours_share_a_row() -> None:
    denver = ZoneInfo("America/Denver")
    assert len(clock_rows(date(2026, 12, 7), denver, frozenset({PHOENIX}), (0, 24 * HOUR))) == 1
    assert len(clock_rows(date(2026, 7, 6), denver, frozenset({PHOENIX}), (0, 24 * HOUR))) == 2


def test_half_hour_zone_has_its_hours_between() -> None:
    _own, india = clock_rows(date(2026, 12, 7), HELSINKI, frozenset({INDIA}), (6 * HOUR, 12 * HOUR))
    assert [(tick.at_s, tick.label) for tick in india.ticks] == [(8 * HOUR + 1800, "12"), (11 * HOUR + 1800, "15")]


def test_lengths_stay_true_in_the_drawing_when_the_clock_changes() -> None:
    site = Site(name="Pier", time_zone="America/Chicago")
    for day in (US_BACK, US_FORWARD, date(2026, 12, 7)):
        stop = StopTimes("v", 0, 0, HOUR, HOUR, 4 * HOUR)
        times = RoundTimes(HOUR, 4 * HOUR, 0, 0, 0, None, 0, [stop], is_published=False)
        drawn = str(round_ribbon("Rob", day, CHICAGO, times, {"v": site}, (0, 12 * HOUR), None, hour_px=20))
        (visit,) = re.findall(r'<rect x="([\d.]+)" y="8" width="([\d.]+)"[^>]*class="visit"', drawn)
        assert visit == ("20", "60")
    assert "Pier 01:00–05:00" in str(
        round_ribbon("Rob", US_FORWARD, CHICAGO, times, {"v": site}, (0, 12 * HOUR), None)
    )  # fmt: skip
