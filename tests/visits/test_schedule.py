"""Visits made ahead: ten weeks, once, off holidays and closures, in the site's own dates."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection

from servicedesk.clients.models import Agreement, Closure
from servicedesk.common.recurrence import expand
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import sold_and_given
from servicedesk.visits.services.schedule import agreement_extend, agreement_retime, extend_all
from tests.builders import a_site, a_visit, an_agreement, an_installation

MONDAY = date(2026, 1, 5)


def every(weekday: str, weeks: int = 1) -> str:
    return f"FREQ=WEEKLY;INTERVAL={weeks};BYDAY={weekday};WKST=MO"


def made(agreement: Agreement) -> list[Visit]:
    return list(Visit.objects.filter(agreement=agreement).order_by("occurrence_on"))


@pytest.mark.django_db
def test_ten_weeks_are_made_and_running_again_makes_none() -> None:
    agreement = an_agreement(an_installation().placements.get().site)
    assert agreement_extend(agreement=agreement, today=MONDAY) == 11  # both ends included
    assert agreement_extend(agreement=agreement, today=MONDAY) == 0
    assert made(agreement)[-1].occurrence_on == MONDAY + timedelta(weeks=10)
    assert agreement_extend(agreement=agreement, today=MONDAY + timedelta(weeks=1)) == 1


@pytest.mark.django_db
def test_a_visit_covers_the_systems_at_the_site() -> None:
    reef = an_installation()
    agreement = an_agreement(reef.placements.get().site)
    agreement_extend(agreement=agreement, today=MONDAY)
    assert {cover.installation for cover in made(agreement)[0].covers.all()} == {reef}


@pytest.mark.django_db
def test_the_last_day_of_an_agreement_ends_its_visits() -> None:
    agreement = an_agreement(ends_on=MONDAY + timedelta(days=8))
    agreement_extend(agreement=agreement, today=MONDAY)
    assert [visit.occurrence_on for visit in made(agreement)] == [MONDAY, MONDAY + timedelta(days=7)]


def test_dates_stand_still_across_a_change_of_the_clock() -> None:
    """RFC 5545 §3.8.5.3's example "Weekly for 10 occurrences" from Tue 2 Sep 1997 runs over the change of 26 Oct."""
    found = expand("FREQ=WEEKLY;COUNT=10", date(1997, 9, 2), date(1997, 9, 1), date(1998, 1, 1))
    assert found == [date(1997, 9, 2) + timedelta(weeks=week) for week in range(10)]
    assert found[-1] == date(1997, 11, 4)
    zone = ZoneInfo("America/New_York")
    noon = [datetime.combine(day, time(9), tzinfo=zone) for day in found]
    assert {moment.utcoffset() for moment in noon} == {timedelta(hours=-4), timedelta(hours=-5)}


@pytest.mark.django_db
def test_today_is_the_sites_own_date() -> None:
    """Late on Sunday in Nashville is Monday already in London: no Monday may be lost or made too early."""
    agreement = an_agreement(a_site(time_zone="America/Chicago"))
    with time_machine.travel(datetime(2026, 3, 9, 3, tzinfo=UTC)):  # Sun 8 Mar, 22:00, the day the clocks changed
        extend_all()
    assert made(agreement)[0].occurrence_on == date(2026, 3, 9)
    assert made(agreement)[-1].occurrence_on == date(2026, 5, 11)


CHRISTMAS = date(2026, 12, 25)  # a Friday


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("rule", "due", "state"),
    [
        ("later", date(2026, 12, 28), "due"),
        ("earlier", date(2026, 12, 24), "due"),
        ("keep", CHRISTMAS, "due"),
        ("skip", CHRISTMAS, "cancelled"),
    ],
)
def test_a_public_holiday_follows_the_agreements_rule_and_says_so(rule: str, due: date, state: str) -> None:
    agreement = an_agreement(holiday_rule=rule, first_visit_on=date(2026, 1, 2), rule=every("FR"))
    agreement_extend(agreement=agreement, today=date(2026, 12, 1))
    visit = Visit.objects.get(agreement=agreement, occurrence_on=CHRISTMAS)
    assert (visit.due_on, visit.state) == (due, state)
    assert "Christmas" in visit.due_why


@pytest.mark.django_db
def test_another_region_keeps_no_such_holiday() -> None:
    terms: dict[str, Any] = {"first_visit_on": date(2026, 11, 26), "rule": every("TH")}
    agreement = an_agreement(a_site(holiday_region="GB-ENG"), **terms)
    agreement_extend(agreement=agreement, today=date(2026, 11, 20))
    assert made(agreement)[0].due_on == date(2026, 11, 26)  # Thanksgiving in the United States
    there = an_agreement(**terms)
    agreement_extend(agreement=there, today=date(2026, 11, 20))
    assert made(there)[0].due_on != date(2026, 11, 26)


@pytest.mark.django_db
def test_a_closure_moves_the_visit_to_the_last_open_day_before() -> None:
    site = a_site()
    Closure.objects.create(site=site, first_day=MONDAY + timedelta(7), last_day=MONDAY + timedelta(11), reason="Refit")
    agreement = an_agreement(site, closure_rule="earlier")
    agreement_extend(agreement=agreement, today=MONDAY)
    visit = Visit.objects.get(agreement=agreement, occurrence_on=MONDAY + timedelta(7))
    assert visit.due_on == date(2026, 1, 9)
    assert "Refit" in visit.due_why


def signed_late(agreement: Agreement, occurrence: date, on: date) -> None:
    Visit.objects.filter(agreement=agreement, occurrence_on=occurrence).update(
        state=Visit.State.SIGNED, planned_on=on, signed_at=datetime.combine(on, time(18), tzinfo=UTC)
    )


def open_days(agreement: Agreement) -> list[Any]:
    return [visit.due_on for visit in made(agreement) if visit.state == Visit.State.DUE]


@pytest.mark.django_db
def test_a_late_visit_does_not_shift_an_anchored_agreement() -> None:
    agreement = an_agreement(anchored=True)
    agreement_extend(agreement=agreement, today=MONDAY)
    signed_late(agreement, MONDAY, MONDAY + timedelta(days=3))
    agreement_extend(agreement=agreement, today=MONDAY + timedelta(days=3))
    assert open_days(agreement)[0] == MONDAY + timedelta(days=7)


@pytest.mark.django_db
def test_a_late_visit_shifts_the_next_where_the_agreement_says_so() -> None:
    agreement = an_agreement(anchored=False, holiday_rule="keep")
    agreement_extend(agreement=agreement, today=MONDAY)
    late = MONDAY + timedelta(days=3)
    signed_late(agreement, MONDAY, late)
    agreement_extend(agreement=agreement, today=late)
    days = open_days(agreement)
    assert days == [late + timedelta(weeks=week) for week in range(1, 11)]
    assert agreement_extend(agreement=agreement, today=late) == 0


@pytest.mark.django_db
def test_several_weekdays_agreed_are_kept_when_a_visit_comes_late() -> None:
    """Monday and Thursday of every second week, done on the Tuesday between: the fortnight counts from there."""
    agreement = an_agreement(anchored=False, holiday_rule="keep", rule=every("MO,TH", weeks=2))
    agreement_extend(agreement=agreement, today=MONDAY)
    late = date(2026, 1, 13)
    signed_late(agreement, MONDAY, late)
    agreement_extend(agreement=agreement, today=late)
    ahead = [day for day in open_days(agreement) if day > late]
    assert ahead[:3] == [date(2026, 1, 15), date(2026, 1, 26), date(2026, 1, 29)]


@pytest.mark.django_db
def test_a_changed_agreement_moves_only_what_nobody_planned() -> None:
    agreement = an_agreement(holiday_rule="keep")
    agreement_extend(agreement=agreement, today=MONDAY)
    planned = Visit.objects.get(agreement=agreement, occurrence_on=MONDAY + timedelta(7))
    Visit.objects.filter(pk=planned.pk).update(state=Visit.State.PUBLISHED, planned_on=planned.due_on)
    Agreement.objects.filter(pk=agreement.pk).update(rule="FREQ=WEEKLY;INTERVAL=2")
    agreement.refresh_from_db()
    agreement_retime(agreement=agreement, today=MONDAY)
    planned.refresh_from_db()
    assert planned.state == Visit.State.PUBLISHED
    assert open_days(agreement)[:3] == [MONDAY, MONDAY + timedelta(14), MONDAY + timedelta(28)]


@pytest.mark.django_db
def test_sold_is_set_against_given() -> None:
    agreement = an_agreement(visits_sold_per_year=52)
    agreement_extend(agreement=agreement, today=MONDAY)
    signed_late(agreement, MONDAY, MONDAY)
    a_visit(agreement.site, due_on=MONDAY)  # an extra visit is not one of those sold
    found = sold_and_given(agreement, 2026)
    assert (found.sold, found.given, found.planned) == (52, 1, 10)


@pytest.mark.usefixtures("committed")
def test_two_beats_at_once_make_each_visit_once() -> None:
    agreement = an_agreement()

    def beat(_number: int) -> int:
        try:
            return extend_all(today=MONDAY)
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as threads:
        assert sum(threads.map(beat, range(3))) == 11
    assert len(made(agreement)) == 11
