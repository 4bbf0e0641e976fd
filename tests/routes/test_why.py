"""Why a visit is where it is, and what a client's wish costs."""

from datetime import date, time
from decimal import Decimal

import pytest

from servicedesk.planner.words import Reason
from servicedesk.routes.forms import WishForm
from servicedesk.routes.queries.why import VisitDesk
from servicedesk.routes.translate import told
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    WEEK,
    Cast,
    a_badge,
    a_plan,
    a_round,
    a_site,
    a_visit,
    an_agreement,
    holds,
    the_cast,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)


def scene() -> tuple[Cast, Visit]:
    """Rob goes to Murfreesboro on Monday for two visits; one of them is asked about."""
    cast = the_cast()
    site = a_site(cast, "Pier", MURFREESBORO)
    visit = a_visit(site, agreement=an_agreement(site, visits_sold_per_year=26))
    a_round(cast.rob, [a_visit(a_site(cast, "Quay", MURFREESBORO)), visit])
    return cast, visit


def desk(visit: Visit) -> VisitDesk:
    return VisitDesk(WEEK, a_plan(), visit)


def test_the_place_is_told_with_what_the_next_best_would_cost_more() -> None:
    _cast, visit = scene()
    found = desk(visit).why()
    assert found.words.startswith("Rob Reef on Mon 7 Dec costs ")
    assert "less than the next best" in found.words
    # another drive there and back of some 60 km by hourly and kilometre cost, besides the day out
    assert found.more is not None
    assert found.more > Decimal(50)


def test_where_nobody_else_may_go_that_is_the_reason() -> None:
    cast, visit = scene()
    visit.site.needed_permissions.add(a_badge())
    holds(cast.rob.user, a_badge(), MONDAY, MONDAY)
    assert desk(visit).why().words == "Rob Reef on Mon 7 Dec: nobody else and no other day has room for Pier."


def test_locked_visit_is_weighed_all_the_same() -> None:
    _cast, visit = scene()
    visit.stops.update(locked=True)
    assert "less than the next best" in desk(visit).why().words


def test_locked_round_says_that_nothing_is_weighed() -> None:
    _cast, visit = scene()
    a_plan().rounds.update(locked=True)
    assert "locked" in desk(visit).why().words


def test_visit_on_no_round_tells_its_cheapest_place() -> None:
    cast, _visit = scene()
    left = a_visit(a_site(cast, "Left", MURFREESBORO))
    found = desk(left).why()
    assert found.words.startswith("The cheapest place now is with Rob Reef on Mon 7 Dec")


def test_wish_for_another_person_costs_the_second_drive_each_visit_of_the_year() -> None:
    cast, visit = scene()
    found = desk(visit).wish(only=cast.ana.pk, hours=None)
    assert found.each is not None
    assert found.each > Decimal(50)
    assert found.year == found.each * 26


def test_wish_that_is_met_already_costs_nothing() -> None:
    cast, visit = scene()
    assert desk(visit).wish(only=cast.rob.pk, hours=None).each == 0


def test_wish_nobody_can_meet_has_no_price() -> None:
    _cast, visit = scene()
    assert desk(visit).wish(only=None, hours=(time(4), time(5, 30))).each is None


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"opens": "12:00", "closes": "11:00"}, "closes", "11:00 comes before 12:00: give an hour after it."),
        ({"opens": "12:00", "closes": "12:00"}, "closes", "12:00 comes before 12:00: give an hour after it."),
        ({"opens": "12:00", "closes": "13:00"}, "closes", "The visit takes 113 min, more than there is from 12:00 to"),
        ({"closes": "01:30"}, "closes", "The visit takes 113 min, more than there is from 00:00 to 01:30."),
        ({"opens": "23:00"}, "closes", "The visit takes 113 min, more than there is from 23:00 to 00:00."),
        ({"only": "", "opens": "", "closes": ""}, "only", "Choose a person, or give one hour or both."),
    ],
)
def test_wish_that_cannot_be_is_refused_beside_its_field(typed: dict[str, str], field: str, words: str) -> None:
    form = WishForm(typed, technicians=[], duration_min=113)
    assert str(form.errors[field][0]).startswith(words)


@pytest.mark.parametrize(
    ("typed", "hours"),
    [
        ({"opens": "12:00"}, (time(12), time(0))),
        ({"closes": "11:00"}, (time(0), time(11))),
        ({"opens": "21:00", "closes": "05:00"}, (time(21), time(5))),
    ],
)
def test_one_hour_alone_leaves_the_other_side_open(typed: dict[str, str], hours: tuple[time, time]) -> None:
    form = WishForm(typed, technicians=[], duration_min=113)
    assert form.is_valid()
    assert form.hours == hours


def test_reckoning_with_nothing_filled_says_what_to_fill(signed_in: SignedIn) -> None:
    cast, visit = scene()
    client = signed_in(user=cast.planner)
    page = f"/week/{WEEK.year}/{WEEK.number}/why/{visit.pk}/"
    assert "Choose a person" in client.get(page, {"only": "", "opens": "", "closes": ""}).content.decode()
    assert "Choose a person" not in client.get(page).content.decode()


def test_dear_place_is_told_with_the_currency_and_the_price_of_waiting() -> None:
    words = {"name": "Rob Reef", "day": MONDAY, "cost": 658, "waiting": 400}
    told_words = told(Reason("dear", words), "USD")
    assert told_words == "Best with Rob Reef, Mon 7 Dec, which would cost USD 658: more than waiting, USD 400."
