"""Recurrence against the worked examples of RFC 5545, section 3.8.5.3, and across changes of the clock."""

import itertools
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.common.recurrence import Cadence, aligned, expand, from_rule, next_dates, to_rule, words


def days(year: int, *months: tuple[int, list[int]]) -> list[date]:
    return [date(year, month, day) for month, numbers in months for day in numbers]


RFC_5545 = [
    # "Every other day - forever", DTSTART 2 September 1997
    (
        "FREQ=DAILY;INTERVAL=2",
        date(1997, 9, 2),
        days(1997, (9, [2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30])),
    ),
    # "Weekly on Tuesday and Thursday for five weeks"
    (
        "FREQ=WEEKLY;WKST=SU;BYDAY=TU,TH",
        date(1997, 9, 2),
        days(1997, (9, [2, 4, 9, 11, 16, 18, 23, 25, 30]), (10, [2])),
    ),
    # "Every other week on Tuesday and Thursday, for 8 occurrences"
    (
        "FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=TU,TH",
        date(1997, 9, 2),
        days(1997, (9, [2, 4, 16, 18, 30]), (10, [2, 14, 16])),
    ),
    # "Monthly on the first Friday for 10 occurrences", DTSTART 5 September 1997
    (
        "FREQ=MONTHLY;BYDAY=1FR",
        date(1997, 9, 5),
        [
            date(1997, 9, 5),
            date(1997, 10, 3),
            date(1997, 11, 7),
            date(1997, 12, 5),
            date(1998, 1, 2),
            date(1998, 2, 6),
            date(1998, 3, 6),
            date(1998, 4, 3),
            date(1998, 5, 1),
            date(1998, 6, 5),
        ],
    ),
    # "Monthly on the second-to-last Monday of the month for 6 months", DTSTART 22 September 1997
    (
        "FREQ=MONTHLY;BYDAY=-2MO",
        date(1997, 9, 22),
        [
            date(1997, 9, 22),
            date(1997, 10, 20),
            date(1997, 11, 17),
            date(1997, 12, 22),
            date(1998, 1, 19),
            date(1998, 2, 16),
        ],
    ),
]


@pytest.mark.parametrize(("rule", "first", "expected"), RFC_5545)
def test_examples_of_rfc_5545(rule: str, first: date, expected: list[date]) -> None:
    assert list(next_dates(rule, first, len(expected))) == expected


@pytest.mark.parametrize("week_start", ["MO", "SU"])
def test_the_week_begins_where_the_rule_says(week_start: str) -> None:
    """RFC 5545: "an example where the days generated makes a difference because of WKST"."""
    expected = {"MO": [5, 10, 19, 24], "SU": [5, 17, 19, 31]}[week_start]
    rule = f"FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST={week_start}"
    assert list(next_dates(rule, date(1997, 8, 5), 4)) == [date(1997, 8, day) for day in expected]


@pytest.mark.parametrize("zone", ["America/New_York", "America/Chicago"])
def test_nine_in_the_morning_stays_nine_across_the_change_of_the_clock(zone: str) -> None:
    """US clocks go back on Sunday 1 November 2026: a week is then an hour longer."""
    found = expand(
        "FREQ=WEEKLY;INTERVAL=1;BYDAY=TU;WKST=MO", date(2026, 10, 20), date(2026, 10, 20), date(2026, 11, 10)
    )
    assert found == [date(2026, 10, 20), date(2026, 10, 27), date(2026, 11, 3), date(2026, 11, 10)]
    starts = [datetime(day.year, day.month, day.day, 9, tzinfo=ZoneInfo(zone)) for day in found]
    assert [later.timestamp() - earlier.timestamp() for earlier, later in itertools.pairwise(starts)] == [
        7 * 86_400,
        7 * 86_400 + 3_600,
        7 * 86_400,
    ]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=TU;WKST=MO", "every week on Tuesday"),
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=MO,TH;WKST=MO", "every 2 weeks on Monday and Thursday"),
        ("FREQ=DAILY;INTERVAL=3", "every 3 days"),
    ],
)
def test_people_read_words(rule: str, expected: str) -> None:
    assert words(rule) == expected


cadences = st.one_of(
    st.builds(lambda every: Cadence("days", every), st.integers(1, 30)),
    st.builds(
        lambda every, chosen: Cadence("weeks", every, tuple(sorted(chosen))),
        st.integers(1, 8),
        st.sets(st.integers(0, 6), min_size=1),
    ),
    st.builds(
        lambda every, day, place: Cadence("months", every, (day,), place),
        st.integers(1, 6),
        st.integers(0, 6),
        st.sampled_from([1, 2, 3, 4, -1]),
    ),
)


@given(cadences)
def test_choice_reads_back_from_its_rule(cadence: Cadence) -> None:
    assert from_rule(to_rule(cadence)) == cadence


@given(cadences, st.dates(date(2024, 1, 1), date(2027, 1, 1)), st.integers(0, 400), st.integers(0, 200))
def test_a_span_holds_the_same_dates_as_the_whole(cadence: Cadence, first: date, skip: int, length: int) -> None:
    rule, start = to_rule(cadence), first + timedelta(days=skip)
    until = start + timedelta(days=length)
    whole = expand(rule, first, first, until)
    assert expand(rule, first, start, until) == [day for day in whole if day >= start]


@pytest.mark.parametrize(
    ("rule", "first", "begins"),
    [
        ("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU;WKST=MO", date(2026, 12, 2), date(2026, 12, 8)),
        ("FREQ=WEEKLY;INTERVAL=1;BYDAY=MO,TH;WKST=MO", date(2026, 12, 2), date(2026, 12, 3)),
        ("FREQ=DAILY;INTERVAL=3", date(2026, 12, 2), date(2026, 12, 2)),
    ],
)
def test_series_begins_on_the_first_day_that_the_rule_names(rule: str, first: date, begins: date) -> None:
    assert aligned(rule, first) == begins
    assert next_dates(rule, begins, 1)[0] == begins
