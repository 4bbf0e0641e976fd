"""Hours worked: elapsed time, also when the clock changes; overtime and night by the person's rules."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.people.models import PayRule
from servicedesk.routes.hours import (
    HOUR_S,
    Rules,
    Span,
    Worked,
    day_worked,
    laid_out,
    night_seconds,
    total,
    with_overtime,
)
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.actual import actual_days
from servicedesk.routes.queries.hours import Month, sheets
from servicedesk.visits.models import Visit
from tests.routes.cast import (
    EASTERN,
    MURFREESBORO,
    NASHVILLE,
    Cast,
    a_plan,
    a_round,
    a_site,
    a_visit,
    the_cast,
)  # fmt: skip

CHICAGO = ZoneInfo("America/Chicago")
NIGHT = (time(22), time(6))
# Tz database, rules of the United States since 2007 (Energy Policy Act of 2005, section 110): the clock goes forward
# at 02:00 on the second Sunday of March and back at 02:00 on the first Sunday of November.
SPRING, AUTUMN = date(2026, 3, 8), date(2026, 11, 1)


def local(day: date, at: time, *, fold: int = 0) -> datetime:
    return datetime.combine(day, at, tzinfo=CHICAGO).replace(fold=fold)


def a_night(before: date) -> Span:
    """From ten in the evening to six in the morning, on the clock."""
    return Span("visit", local(before, time(22)), local(before + timedelta(days=1), time(6)))


def rules(**over: object) -> Rules:
    fields: dict[str, object] = {
        "zone": CHICAGO, "night": NIGHT, "night_premium": Decimal(3), "hourly": Decimal(30), "week_s": None,
    }  # fmt: skip
    return Rules(**(fields | over))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("before", "hours"),
    [(SPRING - timedelta(days=1), 7), (AUTUMN - timedelta(days=1), 9), (date(2026, 6, 1), 8)],
    ids=["clock forward", "clock back", "any other night"],
)
def test_a_night_has_the_hours_that_really_passed(before: date, hours: int) -> None:
    found = day_worked(before, [a_night(before)], rules())
    assert found is not None
    assert (found.worked_s, found.night_s, found.elapsed_s) == (hours * HOUR_S,) * 3


def test_doubled_hour_is_told_apart_by_its_instants() -> None:
    first, second = local(AUTUMN, time(1, 30)), local(AUTUMN, time(1, 30), fold=1)
    assert Span("visit", first, second).seconds == HOUR_S


def test_overtime_of_the_long_night_is_the_hour_more() -> None:
    eve = AUTUMN - timedelta(days=1)
    by_day = rules(day_s=8 * HOUR_S)
    found = day_worked(eve, [a_night(eve)], by_day)
    assert found is not None
    [row] = with_overtime([found], {eve: by_day})
    assert (row.ordinary_s, row.overtime_s) == (8 * HOUR_S, HOUR_S)
    money = total([row], {eve: by_day})
    assert (money.pay, money.overtime_pay, money.night_pay) == (Decimal(240), Decimal(45), Decimal(27))


def _days(hours: list[int]) -> list[Worked]:
    monday = date(2026, 12, 7)
    rows = []
    for step, length in enumerate(hours):
        day = monday + timedelta(days=step)
        start = local(day, time(7))
        row = day_worked(day, [Span("visit", start, start.astimezone(UTC) + timedelta(hours=length))], rules())
        assert row is not None
        rows.append(row)
    return rows


@pytest.mark.parametrize(
    ("hours", "day_h", "week_h", "expected"),
    [
        # 29 U.S.C. 207(a)(1): overtime past forty hours in a workweek (from memory).
        ([9, 9, 9, 9, 9], None, 40, [0, 0, 0, 0, 5]),
        ([10, 10, 10, 10, 8], None, 40, [0, 0, 0, 0, 8]),
        # Past eight a day and forty a week; an hour past the day's limit counts once (common practice).
        ([10, 8, 8, 8, 8, 4], 8, 40, [2, 0, 0, 0, 0, 4]),
        ([12, 4], 8, None, [4, 0]),
    ],
)
def test_overtime_by_day_and_week(hours: list[int], day_h: int | None, week_h: int | None, expected: list[int]) -> None:
    rows = _days(hours)
    rule = rules(day_s=day_h and day_h * HOUR_S, week_s=week_h and week_h * HOUR_S)
    found = with_overtime(rows, {row.day: rule for row in rows})
    assert [row.overtime_s // HOUR_S for row in found] == expected


def test_week_limit_begins_anew_on_monday() -> None:
    rows = _days([10, 10, 10, 10, 0 + 1])
    later = day_worked(
        date(2026, 12, 14), [Span("visit", local(date(2026, 12, 14), time(7)), local(date(2026, 12, 14), time(12)))],
        rules(),
    )  # fmt: skip
    assert later is not None
    rule = rules(week_s=40 * HOUR_S)
    found = with_overtime([*rows, later], {row.day: rule for row in [*rows, later]})
    assert [row.overtime_s // HOUR_S for row in found] == [0, 0, 0, 0, 1, 0]


NOON = datetime(2026, 10, 31, 12, tzinfo=UTC)
moments = st.integers(0, 3 * 24 * 60).map(lambda minutes: NOON + timedelta(minutes=minutes))
some_spans = st.lists(
    st.builds(
        lambda kind, low, high: Span(kind, min(low, high), max(low, high)),
        st.sampled_from(["visit", "drive", "wait", "other", "break"]), moments, moments,
    ),
    min_size=1,
    max_size=8,
)  # fmt: skip


@given(some_spans)
def test_hours_sum_to_elapsed_time(spans: list[Span]) -> None:
    """Whatever overlaps, and across the night the clock goes back: work, breaks and time off are the whole day."""
    found = day_worked(AUTUMN, spans, rules(day_s=8 * HOUR_S))
    if found is None:
        assert all(span.seconds == 0 for span in spans)
        return
    first = min(span.starts for span in spans if span.seconds)
    last = max(span.ends for span in spans if span.seconds)
    assert found.elapsed_s == (last - first).total_seconds()
    assert found.worked_s + found.break_s + found.off_s == found.elapsed_s
    assert sum(found.seconds_of(kind) for kind in ("visit", "drive", "wait", "other")) == found.worked_s
    [paid] = with_overtime([found], {AUTUMN: rules(day_s=8 * HOUR_S)})
    assert paid.ordinary_s + paid.overtime_s == found.worked_s
    assert 0 <= found.night_s <= found.worked_s


@given(some_spans)
def test_nothing_is_counted_twice_and_nothing_is_lost(spans: list[Span]) -> None:
    rows = laid_out(spans)
    assert all(one.ends <= two.starts for one, two in pairwise(rows))
    minutes = {at for span in spans for at in _minutes(span)}
    assert {at for span in rows for at in _minutes(span)} == minutes


def _minutes(span: Span) -> list[datetime]:
    return [span.starts + timedelta(minutes=step) for step in range(span.seconds // 60)]


@given(some_spans)
def test_night_and_day_are_the_whole(spans: list[Span]) -> None:
    by_day = rules(night=(NIGHT[1], NIGHT[0]))
    for span in spans:
        assert night_seconds(span, rules()) + night_seconds(span, by_day) == span.seconds


# --- from visits in the books ---------------------------------------------------------------------------------------

db = pytest.mark.django_db
EVE = AUTUMN - timedelta(days=1)


def done(cast: Cast, name: str, begun: datetime, ended: datetime, **over: object) -> Visit:
    site = a_site(cast, name, **over)  # type: ignore[arg-type]
    return a_visit(
        site, begun.date(), days=(begun.date(), begun.date()), state="signed", technician=cast.rob.user,
        started_at=begun, ended_at=ended, signed_at=ended,
    )  # fmt: skip


@db
def test_round_over_midnight_belongs_to_the_day_it_began() -> None:
    cast, monday = the_cast(), date(2026, 12, 7)
    tuesday = monday + timedelta(days=1)
    first = done(cast, "Late", local(monday, time(21)), local(monday, time(23)))
    second = done(cast, "Later", local(tuesday, time(0, 30)), local(tuesday, time(2)))
    a_round(cast.rob, [first, second], monday, first_s=21 * HOUR_S)
    PayRule.objects.create(
        technician=cast.rob,
        valid_from=date(2026, 1, 1),
        night_from=time(22),
        night_to=time(6),
        night_premium=Decimal(4),
    )
    [sheet] = sheets([cast.rob], Month(2026, 12))
    [day] = sheet.days
    assert day.day == monday
    # 20:40 (twenty minutes of drive as planned) to 02:20; one gap of 90 min holds 20 min of drive.
    assert day.elapsed_s == day.worked_s == 5 * HOUR_S + 40 * 60
    assert day.night_s == 4 * HOUR_S + 20 * 60
    assert (day.seconds_of("drive"), day.seconds_of("wait")) == (3600, 70 * 60)
    assert sheet.total.night_pay == Decimal(4) * day.night_s / HOUR_S


@db
@pytest.mark.parametrize(("day", "hours"), [(SPRING, 2.5), (AUTUMN, 4.5)], ids=["clock forward", "clock back"])
def test_visit_across_the_clock_change_is_paid_as_it_passed(day: date, hours: float) -> None:
    cast = the_cast()
    visit = done(cast, "Night", local(day, time(0, 30)), local(day, time(4)))
    a_round(cast.rob, [visit], day, first_s=1800)
    [sheet] = sheets([cast.rob], Month.of(day))
    assert sheet.days[-1].seconds_of("visit") == hours * HOUR_S


@db
def test_two_zones_on_one_round_are_one_line_of_time() -> None:
    """Chattanooga's clock is an hour ahead: 11:00 there is 10:00 at home."""
    cast, monday = the_cast(), date(2026, 12, 7)
    eastern = ZoneInfo(EASTERN)
    first = done(cast, "Home", local(monday, time(8)), local(monday, time(9)))
    second = done(
        cast, "East", datetime(2026, 12, 7, 11, tzinfo=eastern), datetime(2026, 12, 7, 12, tzinfo=eastern),
        time_zone=EASTERN, at=MURFREESBORO,
    )  # fmt: skip
    a_round(cast.rob, [first, second], monday, first_s=8 * HOUR_S)
    [day] = actual_days([cast.rob], monday, monday)
    rows = laid_out(day.spans)
    assert [span.seconds for span in rows if span.kind == "visit"] == [HOUR_S, HOUR_S]
    gap = rows[-2].starts - next(span.ends for span in rows if span.words == "Home")
    assert gap == timedelta(hours=1)
    [sheet] = sheets([cast.rob], Month(2026, 12))
    assert sheet.total.worked_s == sheet.days[0].elapsed_s == 3 * HOUR_S + 2 * 1200


@db
def test_planned_break_is_taken_off_only_when_there_was_time_for_it() -> None:
    cast, monday = the_cast(), date(2026, 12, 7)
    tuesday = monday + timedelta(days=1)
    for day, gap_min in ((monday, 60), (tuesday, 30)):
        noon = local(day, time(12))
        one = done(cast, f"One {day}", local(day, time(10)), noon)
        two = done(cast, f"Two {day}", noon + timedelta(minutes=gap_min), noon + timedelta(hours=3))
        row = a_round(cast.rob, [one, two], day)
        row.break_s = 1800
        row.save()
    [sheet] = sheets([cast.rob], Month(2026, 12))
    assert [day.break_s for day in sheet.days] == [1800, 0]
    assert sheet.days[1].notes == ("There was no time for the planned break: none is taken off.",)


@db
def test_typed_work_and_break_count_and_nothing_counts_twice() -> None:
    cast, monday = the_cast(), date(2026, 12, 7)
    visit = done(cast, "One", local(monday, time(9)), local(monday, time(12)))
    a_round(cast.rob, [visit], monday)
    entry = {"technician": cast.rob, "by": cast.planner}
    HoursEntry.objects.create(kind="work", began_at=local(monday, time(11)), ended_at=local(monday, time(15)), **entry)
    HoursEntry.objects.create(
        kind="break", began_at=local(monday, time(13)), ended_at=local(monday, time(13, 30)), **entry
    )
    [sheet] = sheets([cast.rob], Month(2026, 12))
    [day] = sheet.days
    assert (day.elapsed_s, day.break_s) == (6 * HOUR_S + 1200, 1800)
    assert day.worked_s == day.elapsed_s - 1800


@db
def test_visit_begun_and_not_ended_is_said_and_not_guessed() -> None:
    cast, monday = the_cast(), date(2026, 12, 7)
    a_visit(
        a_site(cast, "Open"), monday, state="started", technician=cast.rob.user, started_at=local(monday, time(9)),
        planned_on=monday,
    )  # fmt: skip
    [day] = actual_days([cast.rob], monday, monday)
    assert day.spans == []
    assert day.notes == ["Open was begun and not ended: its time is not counted yet."]


@db
def test_week_that_crosses_the_month_keeps_its_overtime() -> None:
    """Mon 30 Nov to Fri 4 Dec 2026 at ten hours a day: the fifth day is all overtime, in December's sheet."""
    cast = the_cast()
    for step in range(5):
        day = date(2026, 11, 30) + timedelta(days=step)
        done(cast, f"Day {step}", local(day, time(7)), local(day, time(17)), at=NASHVILLE)
    [november], [december] = sheets([cast.rob], Month(2026, 11)), sheets([cast.rob], Month(2026, 12))
    whole = november.total.worked_s + december.total.worked_s
    assert november.total.overtime_s == 0
    assert december.total.overtime_s == whole - 40 * HOUR_S
    assert len(november.days) == 1
    assert len(december.days) == 4
    a_plan()
