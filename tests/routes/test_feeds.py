"""The calendar feed against RFC 5545, and against another reader of it; who may read it."""

import io
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
import time_machine
from dateutil import tz
from django.test import Client

from servicedesk.routes.calendar import calendar_of
from servicedesk.routes.models import CalendarFeed
from servicedesk.routes.queries.feeds import appointments
from servicedesk.routes.services.feeds import feed_make, feed_revoke, token_digest
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.vtimezone import vtimezone
from tests.conftest import SignedIn
from tests.routes.cast import CENTRAL, EASTERN, WEEK, Cast, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
RFC_5545 = pytest.mark.source("RFC 5545, Internet Calendaring and Scheduling (iCalendar), 2009")


def a_feed(cast: Cast) -> str:
    """Rob's published Monday with one site in each of two zones; the address of his calendar."""
    pier = a_visit(a_site(cast, "Pier; north, by the “long” jetty — Poseidonstraße " + "x" * 40))
    east = a_visit(a_site(cast, "East", time_zone=EASTERN, phone="615-555-0147", access_notes="ring twice"))
    a_round(cast.rob, [pier, east])
    week_publish(week=WEEK, version=1, actor=cast.planner)
    return f"/feeds/{feed_make(technician=cast.rob, actor=cast.rob.user)}.ics"


def parsed(raw: bytes) -> Any:
    return icalendar.Calendar.from_ical(raw)


def body(cast: Cast) -> bytes:
    a_feed(cast)
    return calendar_of(cast.rob, appointments(cast.rob), lambda row: f"https://desk.example/visits/{row.visit.pk}/")


@RFC_5545
def test_lines_end_in_crlf_and_hold_75_octets() -> None:
    # Section 3.1: lines are delimited by CRLF and SHOULD NOT be longer than 75 octets, the break excluded.
    raw = body(the_cast())
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert max(len(line) for line in raw.split(b"\r\n")) <= 75
    assert raw.endswith(b"END:VCALENDAR\r\n")


@RFC_5545
def test_calendar_and_events_have_what_they_must() -> None:
    # Sections 3.6 and 3.6.1: PRODID and VERSION once; UID, DTSTAMP and (without METHOD) DTSTART once in each event.
    calendar = parsed(body(the_cast()))
    assert (calendar["VERSION"], str(calendar["PRODID"])) == ("2.0", "-//Saltround//Rounds 1//EN")
    events = calendar.walk("VEVENT")
    assert len({str(event["UID"]) for event in events}) == len(events) == 2
    for event in events:
        assert event["DTSTAMP"].dt.tzinfo is not None
        assert event["DTSTART"].dt < event["DTEND"].dt
        assert event["GEO"].to_ical().count(";") == 1  # section 3.8.1.6: latitude;longitude


@RFC_5545
def test_times_name_the_site_zone_and_the_zone_is_defined() -> None:
    # Section 3.2.19: an individual VTIMEZONE must be specified for each TZID.
    calendar = parsed(body(the_cast()))
    named = {event["DTSTART"].params["TZID"] for event in calendar.walk("VEVENT")}
    defined = {str(zone["TZID"]) for zone in calendar.walk("VTIMEZONE")}
    assert named == defined == {CENTRAL, EASTERN}
    east = next(event for event in calendar.walk("VEVENT") if event["SUMMARY"] == "East")
    # 10:20 by the technician's clock in Nashville is 11:20 there.
    assert east["DTSTART"].to_ical() == b"20261207T112000"


@RFC_5545
def test_zone_definition_is_that_of_the_standards_example() -> None:
    # Section 3.6.5, the first example: New York in 2007, daylight from 11 March 02:00, standard from 4 November 02:00.
    parts: list[Any] = vtimezone("America/New_York", 2007, 2007).subcomponents[1:]
    offsets = [(part["TZOFFSETFROM"].to_ical(), part["TZOFFSETTO"].to_ical()) for part in parts]
    told = [
        (part.name, part["DTSTART"].to_ical(), *pair, part["TZNAME"])
        for part, pair in zip(parts, offsets, strict=True)
    ]  # fmt: skip
    assert told == [
        ("DAYLIGHT", b"20070311T020000", "-0500", "-0400", "EDT"),
        ("STANDARD", b"20071104T020000", "-0400", "-0500", "EST"),
    ]


@RFC_5545
@pytest.mark.parametrize(
    "zone",
    [CENTRAL, EASTERN, "America/Phoenix", "Europe/Berlin", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kolkata"],
)
def test_zone_definitions_agree_with_the_tz_database_through_another_reader(zone: str) -> None:
    # python-dateutil reads VTIMEZONE by code of its own; the reference is the IANA database, each hour of a year.
    calendar = b"BEGIN:VCALENDAR\r\n" + vtimezone(zone, 2026, 2026).to_ical() + b"END:VCALENDAR\r\n"
    read: Any = tz.tzical(io.StringIO(calendar.decode())).get(zone)
    real = ZoneInfo(zone)
    for hour in range(24 * 365):
        wall = datetime(2026, 1, 1) + timedelta(hours=hour, minutes=15)  # noqa: DTZ001 - a time on the wall
        if wall.replace(tzinfo=real).astimezone(UTC).astimezone(real).replace(tzinfo=None) != wall:
            continue  # the hour that is left out does not occur
        if wall.replace(tzinfo=real, fold=1).utcoffset() != wall.replace(tzinfo=real).utcoffset():
            continue  # the hour that comes twice is told in UTC
        assert read.utcoffset(wall) == wall.replace(tzinfo=real).utcoffset(), wall


@RFC_5545
def test_hour_that_comes_twice_is_told_in_utc() -> None:
    # Section 3.3.5: a local time that occurs twice means its first occurrence. US clocks go back on the first Sunday
    # of November at 02:00 (15 U.S.C. § 260a): 23:30 plus three hours is 01:30 for the second time.
    cast = the_cast()
    a_visit(
        a_site(cast, "Night"), state="published", technician=cast.rob.user, planned_on=date(2026, 10, 31),
        planned_start=time(23, 30), duration_min=180,
    )  # fmt: skip
    with time_machine.travel(datetime(2026, 10, 30, 15, tzinfo=UTC)):
        raw = calendar_of(cast.rob, appointments(cast.rob), lambda row: "https://desk.example/")
    event = parsed(raw).walk("VEVENT")[0]
    assert (event["DTSTART"].to_ical(), event["DTEND"].to_ical()) == (b"20261101T043000Z", b"20261101T073000Z")


def test_unchanged_feed_is_the_same_byte_for_byte_and_answers_not_modified() -> None:
    cast = the_cast()
    url, browser = a_feed(cast), Client()
    first = browser.get(url)
    assert first["Content-Type"] == "text/calendar; charset=utf-8"
    assert first.content == browser.get(url).content
    assert browser.get(url, headers={"If-None-Match": first["ETag"]}).status_code == 304


def test_feed_tells_no_door_code_number_or_note() -> None:
    text = body(the_cast()).decode()
    assert "555-0147" not in text
    assert "ring twice" not in text


def test_secret_is_kept_as_a_digest_only() -> None:
    cast = the_cast()
    token = a_feed(cast).removeprefix("/feeds/").removesuffix(".ics")
    row = CalendarFeed.objects.get()
    assert len(token) == 43  # 256 bits in base64url
    assert (row.token_hash, token in str(row.__dict__)) == (token_digest(token), False)


def test_new_address_ends_the_old_and_a_revoked_one_is_as_if_unknown() -> None:
    cast = the_cast()
    old, browser = a_feed(cast), Client(REMOTE_ADDR="192.0.2.77")
    new = f"/feeds/{feed_make(technician=cast.rob, actor=cast.rob.user)}.ics"
    assert (browser.get(old).status_code, browser.get(new).status_code) == (404, 200)
    feed_revoke(technician=cast.rob, actor=cast.planner)
    gone, unknown = browser.get(new), browser.get("/feeds/" + "x" * 43 + ".ics")
    assert (gone.status_code, gone.content) == (404, unknown.content)


def test_who_has_left_is_read_no_more() -> None:
    cast = the_cast()
    url = a_feed(cast)
    cast.rob.user.is_active = False
    cast.rob.user.save()
    assert Client(REMOTE_ADDR="192.0.2.78").get(url).status_code == 404


def test_guessing_is_slowed_down() -> None:
    from django.core.cache import cache

    cache.delete("throttle:feed-miss:192.0.2.79")
    browser = Client(REMOTE_ADDR="192.0.2.79")
    codes = [browser.get(f"/feeds/{n:043}.ics").status_code for n in range(32)]
    assert (codes[0], codes[29], codes[31]) == (404, 404, 429)
    cache.delete("throttle:feed-miss:192.0.2.79")


def test_address_is_shown_once_and_ended_by_its_owner_or_the_planner(signed_in: SignedIn) -> None:
    cast = the_cast()
    browser = signed_in(user=cast.rob.user)
    made = browser.post("/round/calendar/new/").content.decode()
    assert "http://testserver/feeds/" in made
    page = browser.get("/round/calendar/")
    # Without a referrer a browser sends "Origin: null", and the forms of the page would be refused.
    assert (page["Cache-Control"], page["Referrer-Policy"]) == ("no-store", "same-origin")
    assert "/feeds/" not in browser.get("/round/calendar/").content.decode()
    assert signed_in(user=cast.ana.user).post(f"/round/calendar/{cast.rob.pk}/revoke/").status_code == 404
    assert CalendarFeed.objects.filter(revoked_at=None).exists()
    signed_in(user=cast.planner).post(f"/round/calendar/{cast.rob.pk}/revoke/")
    assert not CalendarFeed.objects.filter(revoked_at=None).exists()
