"""When a visit begins: on its day or after being asked, never in the future, and taken back where nothing was done."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from servicedesk.visits.form.arrival import arrival_error
from servicedesk.visits.form.page import entry_page, step_page
from servicedesk.visits.models import Visit
from servicedesk.visits.services.signing import prepare
from tests.conftest import SignedIn
from tests.visits.filling import Scene, fill

ZONE = ZoneInfo("America/Chicago")


def not_begun(scene: Scene, planned_on: date = date(2026, 11, 24)) -> Scene:
    Visit.objects.filter(pk=scene.visit.pk).update(state="published", started_at=None, planned_on=planned_on)
    scene.visit.refresh_from_db()
    return scene


def state(scene: Scene) -> str:
    scene.visit.refresh_from_db()
    assert (scene.visit.started_at is not None) == (scene.visit.state == "started")
    return scene.visit.state


@pytest.mark.parametrize(
    ("typed", "hour", "minute", "is_future"),
    [
        ("10:05", 10, 0, False),
        ("10:11", 10, 0, True),
        ("19:00", 8, 0, True),
        ("23:50", 0, 10, False),
        ("09:00", 10, 0, False),
        ("", 10, 0, False),
    ],
)
def test_some_minutes_ahead_are_the_clocks_difference_and_more_is_the_future(
    typed: str, hour: int, minute: int, is_future: bool
) -> None:
    entered = datetime(2026, 11, 24, hour, minute, tzinfo=ZONE).astimezone(UTC)
    assert bool(arrival_error(typed, entered, ZONE)) is is_future


def test_arrival_in_the_future_is_told_and_begins_nothing(scene: Scene) -> None:
    not_begun(scene).type("arrive.at", "14:00")
    shown = entry_page(scene.visit, "arrive.at")
    assert shown is not None
    assert shown.shown.meaning.error == "14:00 has not come yet: it was 10:05 when this was entered."
    assert state(scene) == "published"


def test_arrival_in_the_future_is_not_signed(scene: Scene) -> None:
    fill(scene).type("arrive.at", "14:00")
    assert "has not come yet" in prepare(scene.visit, scene.user).problems["arrive.at"]


def test_arrival_taken_out_again_takes_the_beginning_back(scene: Scene) -> None:
    not_begun(scene).type("arrive.at", "10:00")
    assert state(scene) == "started"
    scene.type("arrive.at", "")
    assert state(scene) == "published"


def test_what_was_entered_keeps_the_visit_begun(scene: Scene) -> None:
    not_begun(scene).type("arrive.at", "10:00")
    scene.type(scene.key("alkalinity"), "8.0", "dKH")
    scene.type("arrive.at", "")
    assert state(scene) == "started"


def test_another_day_is_begun_only_after_being_asked(scene: Scene) -> None:
    not_begun(scene, date(2026, 11, 27))
    with pytest.raises(ValidationError, match="planned for Fri 27 Nov 2026, not for today"):
        scene.type("arrive.at", "10:00")
    assert state(scene) == "published"
    scene.type("arrive.at", "10:00", begins=True)
    assert state(scene) == "started"


def test_start_asks_once_on_another_day(scene: Scene, signed_in: SignedIn) -> None:
    not_begun(scene, date(2026, 11, 27))
    client = signed_in(user=scene.user)
    asked = client.post(f"/visits/{scene.visit.pk}/start/")
    assert "not for today. Begin it today all the same?" in asked.content.decode()
    assert state(scene) == "published"
    client.post(f"/visits/{scene.visit.pk}/start/", {"begins": "on"})
    assert state(scene) == "started"


def test_form_is_headed_by_the_visits_day(scene: Scene, signed_in: SignedIn) -> None:
    not_begun(scene, date(2026, 11, 27))
    assert step_page(scene.visit, scene.user, "arrive").day == date(2026, 11, 27)
    page = signed_in(user=scene.user).get(f"/visits/{scene.visit.pk}/form/").content.decode()
    assert "<small> Fri 27 Nov 2026</small>" in page
    assert 'data-day="2026-11-27"' in page
