"""Programmes supersede, additions are kept once, the Water page shows both."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from psycopg.types.range import TimestamptzRange

from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.care.queries import additions, programme_approved, programme_in_force
from servicedesk.care.services import addition_record, programme_propose, programme_put_in_force
from servicedesk.installations.models import Installation
from tests.builders import a_machine, a_user, an_installation, readings
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
FIRST = datetime(2026, 10, 1, 12, tzinfo=UTC)
SECOND = FIRST + timedelta(days=20)


def put(reef: Installation, at: datetime, **settings: Any) -> ProgrammeVersion:
    return programme_put_in_force(installation=reef, settings=settings, at=at, actor=None, reason="set")


def test_a_new_version_ends_the_old_and_overwrites_nothing() -> None:
    reef = an_installation()
    put(reef, FIRST, temperature_c=25.0)
    put(reef, SECOND, temperature_c=25.5)
    old, new = ProgrammeVersion.objects.order_by("number")
    assert (old.settings, new.settings) == ({"temperature_c": 25.0}, {"temperature_c": 25.5})
    assert programme_in_force(reef, SECOND - timedelta(seconds=1)) == old
    assert programme_in_force(reef, SECOND) == new
    assert programme_in_force(reef, FIRST - timedelta(days=1)) is None


def test_the_same_settings_make_no_new_version() -> None:
    reef = an_installation()
    assert put(reef, FIRST, temperature_c=25.0) == put(reef, SECOND, temperature_c=25.0)


def test_the_database_allows_one_in_force_at_a_time() -> None:
    reef = an_installation()
    put(reef, FIRST, temperature_c=25.0)
    with pytest.raises(IntegrityError), transaction.atomic():
        ProgrammeVersion.objects.create(
            installation=reef, number=9, state="in_force", settings={}, valid=TimestamptzRange(SECOND, None)
        )


@pytest.mark.parametrize(
    ("wanted", "key"),
    [({"temperature_c": 45.0}, "temperature_c"), ({"feed_g_day": "much"}, "feed_g_day"), ({"magic": 1}, "magic")],
)
def test_a_setting_that_cannot_be_is_refused_by_name(wanted: dict[str, Any], key: str) -> None:
    reef = an_installation()
    with pytest.raises(ValidationError) as caught:
        put(reef, FIRST, **wanted)
    assert list(caught.value.message_dict) == [key]
    assert programme_in_force(reef) is None


def test_what_was_asked_for_and_set_is_the_same_version() -> None:
    reef, lead = an_installation(), a_user("lead_aquarist")
    asked = programme_propose(
        installation=reef, settings={"temperature_c": 25.5}, actor=lead, reason="Warm", approve=True
    )
    assert programme_approved(reef) == asked
    assert put(reef, SECOND, temperature_c=25.5) == asked
    assert programme_approved(reef) is None
    assert programme_in_force(reef) == asked


def test_an_addition_sent_twice_is_kept_once() -> None:
    reef, key = an_installation(), uuid4()
    for mass_g in (20.0, 40.0):
        addition_record(
            addition_id=key, installation=reef, kind=Addition.Kind.DOSE, at=FIRST, actor=None, mass_g=mass_g
        )
    assert [row.mass_g for row in additions(reef, FIRST - timedelta(days=1))] == [20.0]
    assert additions(reef, FIRST - timedelta(days=1), until=FIRST) == []


def test_the_water_page_shows_readings_in_at_most_thirty_queries(signed_in: SignedIn) -> None:
    reef = an_installation()
    for day in range(12):
        readings(reef, FIRST + timedelta(days=day), alkalinity=("6.0", "dKH"), calcium=("420", "mg_L"))
    put(reef, FIRST, temperature_c=25.0)
    browser = signed_in("lead_aquarist")
    with CaptureQueriesContext(
        connection,
    ) as queries:
        page = browser.get(f"/water/{reef.pk}/").content.decode()
    assert len(queries) <= 30
    assert "far too low" in page
    assert page.index("Alkalinity") < page.index("Calcium")  # the worst first


def test_a_wrong_programme_is_told_beside_the_field_and_keeps_the_rest(signed_in: SignedIn) -> None:
    reef = an_installation()
    a_machine(reef, "chiller")
    a_machine(reef, "light")
    data = {"token": str(uuid4()), "reason": "Summer", "temperature_c": "45", "temperature_c_unit": "degC",
            "differential_k": "0.5", "differential_k_unit": "K", "lights_on": "25:00"}  # fmt: skip
    answer = signed_in("lead_aquarist").post(f"/water/{reef.pk}/programme/", data)
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() == {"temperature_c", "lights_on"}
    page = answer.content.decode()
    assert all(f'value="{typed}"' in page for typed in ("45", "0.5", "25:00", "Summer"))
    assert not ProgrammeVersion.objects.exists()


@pytest.mark.parametrize(
    ("over", "field"),
    [
        ({"mass_g": "heap"}, "mass_g"),
        ({"mass_g": "-1"}, "mass_g"),
        ({"mass_g": ""}, "mass_g"),
        ({"volume_l": "x"}, "volume_l"),
        ({"at": "noon"}, "at"),
        ({"product": "sugar"}, "product"),
    ],
)
def test_a_wrong_addition_is_told_beside_the_field_and_keeps_the_rest(
    signed_in: SignedIn, over: dict[str, str], field: str
) -> None:
    reef = an_installation()
    data = {"token": str(uuid4()), "kind": "dose", "product": "nahco3", "mass_g": "20", "mass_g_unit": "g",
            "volume_l": "", "volume_l_unit": "L", "at": "2026-10-01T09:00", "note": "By the hotel"} | over  # fmt: skip
    answer = signed_in("lead_aquarist").post(f"/water/{reef.pk}/additions/", data)
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() == {field}
    assert 'value="By the hotel"' in answer.content.decode()
    assert not Addition.objects.exists()
