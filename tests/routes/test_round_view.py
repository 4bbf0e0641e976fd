"""A person's round: access, keys, needs, notes, whose it is."""

from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from django.db import connection
from django.http import Http404
from django.test.utils import CaptureQueriesContext

from servicedesk.clients.models import SiteKey
from servicedesk.routes.queries import round as queries
from servicedesk.routes.queries.round import RoundView, StopView, round_view
from servicedesk.visits.models import HandOn
from tests.routes.cast import (
    EASTERN,
    MONDAY,
    Cast,
    a_badge,
    a_round,
    a_site,
    a_visit,
    holds,
    the_cast,
)

pytestmark = pytest.mark.django_db


def stop_at(cast: Cast, **over: Any) -> StopView:
    a_round(cast.rob, [a_visit(a_site(cast, "Pier", **over))])
    return view(cast).stops[0]


def view(cast: Cast) -> RoundView:
    return round_view(cast.rob, MONDAY, draft=True)


@pytest.mark.parametrize(("last_day", "held"), [(date(2026, 12, 7), True), (date(2026, 12, 6), False)])
def test_permission_counts_on_the_day_of_the_visit(last_day: date, held: bool) -> None:
    cast, badge = the_cast(), a_badge()
    holds(cast.rob.user, badge, date(2026, 1, 1), last_day)
    site = a_site(cast, "Pier")
    site.needed_permissions.add(badge)
    a_round(cast.rob, [a_visit(site)])
    assert [need.held for need in view(cast).stops[0].needs] == [held]


def test_key_says_who_holds_it() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    SiteKey.objects.create(site=site, label="fob", holder=cast.rob.user)
    SiteKey.objects.create(site=site, label="gate", holder=cast.ana.user)
    a_round(cast.rob, [a_visit(site)])
    assert [(row.key.label, row.mine) for row in view(cast).stops[0].keys] == [("fob", True), ("gate", False)]


def test_open_note_of_the_last_visitor_is_shown_and_a_settled_one_is_not() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    visit = a_visit(site)
    at = datetime(2026, 11, 30, tzinfo=UTC)
    HandOn.objects.create(site=site, text="the lid squeaks", by=cast.ana.user, at=at)
    HandOn.objects.create(site=site, text="old", at=at, settled_by_visit=visit)
    a_round(cast.rob, [visit])
    assert [note.text for note in view(cast).stops[0].notes] == ["the lid squeaks"]


def test_window_open_since_the_evening_before_is_told() -> None:
    stop = stop_at(the_cast(), windows=[(6, time(22), time(9, 30)), (0, time(14), time(18))])
    assert stop.windows == ["14:00–18:00", "until 09:30, open since the evening before"]


def test_promise_is_told_with_half_an_hour_either_side() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Pier"), promised_start=time(9, 15))])
    stop = view(cast).stops[0]
    assert (stop.promise_words, stop.promise_kept) == ("08:45–09:45", True)


def test_way_is_handed_to_the_device_as_a_geo_address() -> None:
    # RFC 5870 section 6: geo:latitude,longitude in decimal degrees (WGS 84).
    assert stop_at(the_cast(), at=(36.1, -86.75)).geo_uri == "geo:36.100000,-86.750000"


def test_arrival_is_told_on_both_clocks() -> None:
    stop = stop_at(the_cast(), time_zone=EASTERN)
    assert stop.start is not None
    assert stop.start.text == "10:00 there, 09:00 technician's clock"


def test_arriving_the_break_and_beginning_are_told_as_they_are() -> None:
    cast = the_cast()
    row = a_round(cast.rob, [a_visit(a_site(cast, "Pier"))])
    assert view(cast).stops[0].arrival_words == "Arrive about 09:00 and begin"
    row.stops.update(start_s=9 * 3600 + 1800)
    assert view(cast).stops[0].arrival_words == "Arrive about 09:00, begin 09:30"
    row.break_start_s, row.break_s = 9 * 3600, 1800
    row.save()
    assert view(cast).stops[0].arrival_words == "Arrive about 09:00, 30 min break, begin 09:30"


def test_next_is_the_visit_being_done_else_the_first_open_one() -> None:
    cast = the_cast()
    visits = [a_visit(a_site(cast, name)) for name in ("One", "Two", "Three")]
    a_round(cast.rob, visits)
    visits[0].signed_at = datetime(2026, 12, 7, 16, tzinfo=UTC)
    visits[0].state = "signed"
    visits[0].save()
    assert view(cast).next_stop is not None
    assert view(cast).next_stop.visit == visits[1]  # type: ignore[union-attr]
    visits[2].state = "started"
    visits[2].save()
    assert view(cast).next_stop.visit == visits[2]  # type: ignore[union-attr]


def test_technician_opens_only_their_own_round() -> None:
    cast = the_cast()
    assert queries.technician_for(cast.rob.user, None) == cast.rob
    assert queries.technician_for(cast.planner, cast.rob.pk) == cast.rob
    with pytest.raises(Http404):
        queries.technician_for(cast.ana.user, cast.rob.pk)


def test_queries_do_not_grow_with_the_stops() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "One"))])
    few = count_queries(cast)
    a_round(cast.rob, [a_visit(a_site(cast, f"Site {n}")) for n in range(6)], date(2026, 12, 8))
    with CaptureQueriesContext(connection) as made:
        round_view(cast.rob, date(2026, 12, 8), draft=True)
    assert len(made) == few <= 24


def count_queries(cast: Cast) -> int:
    with CaptureQueriesContext(connection) as made:
        view(cast)
    return len(made)
