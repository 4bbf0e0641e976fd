"""Hours noted by hand: what is refused, beside which field, and what is then in the books."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.test import Client

from servicedesk.common.ids import new_id
from servicedesk.routes.hours import HOUR_S
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.hours import Month, sheets
from servicedesk.routes.services.hours import entry_add
from servicedesk.visits.models import Visit
from tests.routes.cast import Cast, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 12, 7)
CHICAGO = ZoneInfo("America/Chicago")
NOW = datetime(2026, 12, 7, 21, 30, tzinfo=CHICAGO)


@pytest.fixture(autouse=True)
def _monday_evening() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def at(hour: int, minute: int = 0, day: date = MONDAY) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=CHICAGO)


def a_day() -> tuple[Cast, Visit]:
    """Nine to noon at one site, with twenty minutes of drive on either side."""
    cast = the_cast()
    visit = a_visit(
        a_site(cast, "One"), MONDAY, days=(MONDAY, MONDAY), state="signed", technician=cast.rob.user,
        started_at=at(9), ended_at=at(12), signed_at=at(12),
    )  # fmt: skip
    a_round(cast.rob, [visit])
    return cast, visit


def note(cast: Cast, begins: datetime, ends: datetime, kind: str = "work") -> HoursEntry:
    return entry_add(
        entry_id=new_id(), technician=cast.rob, kind=kind, began_at=begins, ended_at=ends, note="", actor=cast.planner
    )


def send(cast: Cast, **over: str) -> Any:
    client = Client()
    client.force_login(cast.rob.user, backend="django.contrib.auth.backends.ModelBackend")
    fields = {"token": str(new_id()), "kind": "work", "day": "2026-12-07", "begins": "16:00", "ends": "15:00"}
    return client.post(f"/settings/people/hours/{cast.rob.pk}/entries/?month=2026-12", fields | over)


def test_swapped_times_are_asked_about_and_not_taken_for_a_night() -> None:
    cast = the_cast()
    answer = send(cast)
    assert answer.status_code == 422
    assert list(answer.context["entry_form"].errors) == ["ends"]
    assert "tick “It ends on the next day”" in answer.content.decode()
    assert 'value="16:00"' in answer.content.decode()
    assert not HoursEntry.objects.exists()


def test_end_on_the_next_day_is_ticked_and_told_on_the_sheet() -> None:
    cast = the_cast()
    answer = send(cast, day="2026-12-05", begins="22:00", ends="02:00", next_day="on")
    assert answer.status_code == 302
    assert HoursEntry.objects.get().ended_at == at(2, day=MONDAY - timedelta(days=1))
    client = Client()
    client.force_login(cast.rob.user, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(f"/settings/people/hours/{cast.rob.pk}/?month=2026-12").content.decode()
    assert "22:00–02:00 (next day), Sat 5 Dec" in page


@pytest.mark.parametrize(
    ("over", "field", "words"),
    [
        ({"day": "2026-12-06", "begins": "08:00", "ends": "09:00", "next_day": "on"}, "ends", "25 hours"),
        ({"day": "2026-12-06", "begins": "01:00", "ends": "17:01"}, "ends", "16 at most"),
        ({"begins": "21:00", "ends": "22:00"}, "ends", "it is 21:30 now"),
        ({"begins": "22:00", "ends": "23:00"}, "begins", "still to come"),
    ],
)
def test_impossible_hours_are_refused_beside_their_field(over: dict[str, str], field: str, words: str) -> None:
    answer = send(the_cast(), **over)
    errors = answer.context["entry_form"].errors
    assert list(errors) == [field]
    assert words in errors[field][0]


def test_sixteen_hours_are_counted_as_they_pass() -> None:
    """The clock goes back at 02:00 on 1 Nov 2026 (Energy Policy Act of 2005, section 110): 20:00 to 12:00 is 17 h."""
    cast, eve = the_cast(), date(2026, 10, 31)
    with pytest.raises(ValidationError, match="17 hours"):
        note(cast, at(20, day=eve), at(12, day=eve + timedelta(days=1)))
    assert note(cast, at(20, day=eve), at(11, day=eve + timedelta(days=1))).began_at.astimezone(UTC)


@pytest.mark.parametrize(("begins", "ends"), [(10, 11), (11, 14), (8, 13)])
def test_other_work_during_a_visit_is_refused_with_its_times(begins: int, ends: int) -> None:
    cast, _visit = a_day()
    with pytest.raises(ValidationError, match="overlaps the visit at One from 09:00 to 12:00"):
        note(cast, at(begins), at(ends))


def test_other_work_during_a_visit_under_way_is_refused() -> None:
    cast = the_cast()
    a_visit(a_site(cast, "One"), MONDAY, state="started", technician=cast.rob.user, started_at=at(9))
    with pytest.raises(ValidationError, match="overlaps the visit at One from 09:00"):
        note(cast, at(13), at(14))


def test_other_work_beside_a_visit_counts_in_full() -> None:
    cast, _visit = a_day()
    note(cast, at(14), at(15))
    [sheet] = sheets([cast.rob], Month(2026, 12))
    assert sheet.days[0].seconds_of("other") == HOUR_S


def test_other_work_in_a_wait_takes_the_place_of_the_wait() -> None:
    cast = the_cast()
    visits = [
        a_visit(a_site(cast, name), MONDAY, days=(MONDAY, MONDAY), state="signed", technician=cast.rob.user,
                started_at=begun, ended_at=begun + timedelta(hours=1), signed_at=begun)
        for name, begun in (("One", at(9)), ("Two", at(14)))
    ]  # fmt: skip
    a_round(cast.rob, visits)
    [before] = sheets([cast.rob], Month(2026, 12))
    note(cast, at(11), at(12))
    [after] = sheets([cast.rob], Month(2026, 12))
    assert after.days[0].seconds_of("other") == HOUR_S
    assert after.days[0].seconds_of("wait") == before.days[0].seconds_of("wait") - HOUR_S
    assert after.total.worked_s == before.total.worked_s


@pytest.mark.parametrize(("begins", "ends"), [(at(20), at(20, 30)), (at(12), at(13)), (at(7), at(7, 30))])
def test_break_outside_the_days_work_is_refused(begins: datetime, ends: datetime) -> None:
    cast, _visit = a_day()
    with pytest.raises(ValidationError, match="not within the day's work, from 08:40 to 12:20"):
        note(cast, begins, ends, "break")


def test_break_on_a_day_without_work_is_refused() -> None:
    with pytest.raises(ValidationError, match="no work on this day"):
        note(the_cast(), at(10), at(11), "break")


def test_break_within_the_days_work_is_taken_off() -> None:
    cast, _visit = a_day()
    note(cast, at(10), at(10, 30), "break")
    [sheet] = sheets([cast.rob], Month(2026, 12))
    assert (sheet.days[0].break_s, sheet.days[0].worked_s) == (1800, 3 * HOUR_S + 2 * 1200 - 1800)
