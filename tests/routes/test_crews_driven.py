"""The second person's day: published, shown, timed on as it goes, counted in the hours."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.urls import reverse
from icalendar import Calendar

from servicedesk.clients.models import GateCode
from servicedesk.routes.calendar import calendar_of
from servicedesk.routes.documents import sheet_context
from servicedesk.routes.models import Round, RoundChange, Stop
from servicedesk.routes.queries.actual import actual_days
from servicedesk.routes.queries.costs import work_between
from servicedesk.routes.queries.daybook import entries_ahead
from servicedesk.routes.queries.feeds import appointments
from servicedesk.routes.queries.round import round_view
from servicedesk.routes.queries.running import live_round
from servicedesk.routes.services.codes import code_reveal
from servicedesk.routes.services.feeds import feed_make
from servicedesk.routes.services.publishing import week_publish
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_site, a_visit, the_cast
from tests.routes.test_crews import both, for_two, helps, move

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
H, M = 3600, 60


def at(hour: int, minute: int = 0) -> datetime:
    """A moment of the Monday on the technicians' clock (Chicago, six hours behind in December)."""
    return datetime(2026, 12, 7, hour + 6, minute, tzinfo=UTC)


def published(cast: Cast) -> Visit:
    """Rob does the Pier at 10:00, Ana, who has the Quay before, helps for 45 minutes and goes on to the Wharf."""
    visit = for_two(cast)
    move(cast, a_visit(a_site(cast, "Early")), cast.rob)
    move(cast, visit, cast.rob, position=2)
    move(cast, a_visit(a_site(cast, "Quay")), cast.ana)
    helps(cast, visit, cast.ana, position=2)
    move(cast, a_visit(a_site(cast, "Wharf")), cast.ana, position=3)
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    visit.refresh_from_db()
    return visit


def begun(visit: Visit, at_: datetime, minutes: int | None = None, **over: Any) -> None:
    ended = None if minutes is None else at_ + timedelta(minutes=minutes)
    state = "started" if minutes is None else "signed"
    Visit.objects.filter(pk=visit.pk).update(state=state, started_at=at_, ended_at=ended, signed_at=ended, **over)


def test_visit_is_given_to_the_lead_and_the_helper_knows_of_it() -> None:
    cast = the_cast()
    visit = published(cast)
    assert visit.technician == cast.rob.user
    row = Round.objects.get(technician=cast.ana)
    assert [bool(stop.get("helps")) for stop in (row.published or {})["stops"]] == [False, True, False]


def test_both_read_whom_they_meet_for_how_long_and_when() -> None:
    cast = the_cast()
    visit = published(cast)
    lead, _helper = both(visit)
    clock = f"{lead.start_s // H:02}:{lead.start_s % H // M:02}"
    own, other = (round_view(who, MONDAY, draft=False).stops[1] for who in (cast.rob, cast.ana))
    assert own.crew_words == "with Ana Algae for the first 45 min"
    assert other.crew_words == f"help Rob Reef for the first 45 min from {clock}"
    assert (own.minutes, other.minutes) == (90, 45)
    assert other.promise_words == ""


def test_my_round_of_the_helper_has_notes_and_codes_but_no_form(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = published(cast)
    visit.site.access_notes = "Ring twice at the gate."
    visit.site.save()
    code = GateCode.objects.create(site=visit.site, label="yard", secret="4711#")
    row = Round.objects.get(technician=cast.ana)
    assert code_reveal(round=row, code=code, at=at(10), actor=cast.ana.user) == "4711#"
    with time_machine.travel(at(9)):
        page = signed_in(user=cast.ana.user).get("/round/").content.decode()
    card = page[page.index(f'id="visit-{visit.pk}"') :]
    card = card[: card.index("</li>\n      \n") if "</li>\n      \n" in card else card.index("</article>")]
    assert "help Rob Reef for the first 45 min" in card
    assert "Ring twice at the gate." in card
    assert "yard" in card
    assert f"/visits/{visit.pk}/" not in card


def test_sheet_of_the_helper_has_no_boxes_to_fill() -> None:
    cast = the_cast()
    published(cast)
    rows = sheet_context(round_view(cast.ana, MONDAY, draft=False))["stops"]
    assert [bool(row.installations) for row in rows] == [False, False, False]
    assert rows[1].stop.helps


def test_calendar_says_whom_one_helps_under_an_event_of_its_own() -> None:
    cast = the_cast()
    visit = published(cast)
    events: dict[str, Any] = {}
    for who in (cast.rob, cast.ana):
        made = Calendar.from_ical(calendar_of(who, appointments(who), lambda _row: "https://saltround.example/"))
        events |= {str(event["uid"]): event for event in made.walk("VEVENT")}
    assert len(events) == 5
    assert "Ana Algae comes to help." in str(events[str(visit.pk)]["description"])
    assert str(events[str(visit.pk)]["summary"]) == "Pier"
    (helping,) = [event for event in events.values() if "help Rob Reef for the first 45 min" in event["summary"]]
    assert helping["dtend"].dt - helping["dtstart"].dt == timedelta(minutes=45)


def test_helpers_event_leads_to_her_round_and_not_to_a_page_she_may_not_open(signed_in: SignedIn) -> None:
    cast = the_cast()
    published(cast)
    token = feed_make(technician=cast.ana, actor=cast.ana.user)
    made = Calendar.from_ical(signed_in(user=cast.ana.user).get(reverse("routes:feed", args=[token])).content)
    (url,) = [str(event["url"]) for event in made.walk("VEVENT") if "help Rob Reef" in str(event["summary"])]
    assert url.endswith("/round/2026-12-07/")
    assert signed_in(user=cast.ana.user).get(url).status_code == 200


def test_two_people_read_each_others_telephone(signed_in: SignedIn) -> None:
    cast = the_cast()
    published(cast)
    for who, phone in ((cast.rob, "+1 615 555 0101"), (cast.ana, "+1 615 555 0102")):
        who.user.phone = phone
        who.user.save()
    for who, other in ((cast.rob, "+1 615 555 0102"), (cast.ana, "+1 615 555 0101")):
        page = signed_in(user=who.user).get("/round/2026-12-07/").content.decode()
        assert f'href="tel:{other}"' in page


def test_load_of_the_visit_is_the_leads() -> None:
    cast = the_cast()
    published(cast)
    view = round_view(cast.ana, MONDAY, draft=False)
    assert view.load is not None
    assert [stop.helps for stop in view.stops] == [False, True, False]


def test_late_helper_makes_the_lead_wait_and_both_are_expected_together() -> None:
    cast = the_cast()
    visit = published(cast)
    begun(Visit.objects.get(site__name="Quay"), at(9, 0))
    lead_s = both(visit)[0].start_s
    with time_machine.travel(at(9, 30)):
        rob, ana = (live_round(who, MONDAY) for who in (cast.rob, cast.ana))
    assert rob is not None
    assert ana is not None
    pk = str(visit.pk)
    mine, hers = (next(stop for stop in live.run.stops if stop.visit_id == pk) for live in (rob, ana))
    assert mine.start_s == hers.start_s >= 10 * H > lead_s
    assert (mine.leave_s - mine.start_s, hers.leave_s - hers.start_s) == (90 * M, 45 * M)


def test_helper_with_an_earlier_stop_to_do_is_not_where_the_lead_has_begun(signed_in: SignedIn) -> None:
    cast = the_cast()
    visit = published(cast)
    begun(visit, at(9, 30))
    with time_machine.travel(at(9, 40)):
        view = round_view(cast.ana, MONDAY, draft=False)
        live = live_round(cast.ana, MONDAY)
        page = signed_in(user=cast.ana.user).get("/round/").content.decode()
    assert view.next_stop is not None
    assert view.next_stop.site.name == "Quay"
    assert view.stops[1].begun_words == "Rob Reef has begun"
    assert live is not None
    assert [stop.state for stop in live.run.stops] == ["ahead", "ahead", "ahead"]
    assert "You are at" not in page
    assert "Rob Reef has begun" in page


def test_lead_is_where_he_has_begun() -> None:
    cast = the_cast()
    visit = published(cast)
    begun(visit, at(9, 30))
    view = round_view(cast.rob, MONDAY, draft=False)
    assert view.next_stop is not None
    assert view.next_stop.visit == visit


def test_helpers_part_is_over_when_its_minutes_are() -> None:
    cast = the_cast()
    visit = published(cast)
    begun(Visit.objects.get(site__name="Quay"), at(8, 5), 60)
    begun(visit, at(9, 30))
    found = []
    for minutes in (30, 50):
        with time_machine.travel(at(9, 30) + timedelta(minutes=minutes)):
            live = live_round(cast.ana, MONDAY)
            view = round_view(cast.ana, MONDAY, draft=False)
        assert live is not None
        stop = next(stop for stop in live.run.stops if stop.visit_id == str(visit.pk))
        found.append((stop.state, stop.start_s, stop.leave_s))
    start = 9 * H + 30 * M
    assert found == [("here", start, start + 45 * M), ("done", start, start + 45 * M)]
    assert view.next_stop is not None
    with time_machine.travel(at(10, 30)):
        assert view.next_stop.site.name == "Wharf"


def test_helper_who_went_on_is_not_expected_any_more() -> None:
    cast = the_cast()
    visit = published(cast)
    begun(Visit.objects.get(site__name="Wharf"), at(9, 40))
    with time_machine.travel(at(9, 50)):
        live = live_round(cast.ana, MONDAY)
    assert live is not None
    assert str(visit.pk) not in [stop.visit_id for stop in live.run.stops]


def test_hours_of_both_are_counted_and_the_visit_once() -> None:
    cast = the_cast()
    visit = published(cast)
    begun(visit, at(9, 30), 100)
    with time_machine.travel(datetime(2026, 12, 9, 12, tzinfo=UTC)):
        rob, ana = actual_days([cast.rob], MONDAY, MONDAY) + actual_days([cast.ana], MONDAY, MONDAY)
        works = work_between([cast.rob, cast.ana], MONDAY, MONDAY)
    spans = [[span.seconds for span in day.spans if span.kind == "visit"] for day in (rob, ana)]
    assert spans == [[100 * M], [45 * M]]
    assert sum(row.visits for row in works) == 1
    assert sum(row.work_s for row in works) == 145 * M


def test_urgent_call_leaves_both_at_their_hour() -> None:
    cast = the_cast()
    visit = published(cast)
    entries = entries_ahead(at(7), MONDAY, MONDAY)
    shared = [known for entry in entries if entry.day for known in entry.day.known if known.id == str(visit.pk)]
    assert [(known.fixed, known.helps) for known in sorted(shared, key=lambda row: row.helps)] == [
        (True, False), (True, True),
    ]  # fmt: skip
    assert all(
        known.windows == ((known.begins, known.begins + timedelta(seconds=known.duration_s)),)
        for known in shared
        if known.begins
    )


def test_change_of_helper_is_asked_of_both() -> None:
    cast = the_cast()
    visit = published(cast)
    helps(cast, visit, None)
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    asked = RoundChange.objects.get(round__technician=cast.ana)
    assert asked.state == "asked"
    assert any("Pier, to help, is taken off this day." in words for words in asked.words)
    assert Stop.objects.filter(helps=True).count() == 0
    assert date(2026, 12, 7) == asked.round.date
