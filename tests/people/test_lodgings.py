"""Lodgings under Settings: added, changed, archived; a price is never below nothing."""

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from servicedesk.people.models import Lodging, Role
from tests.builders import a_firm
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
TYPED = {
    "name": "Pine Lodge", "address": "4 Ridge Road", "city": "Knoxville", "phone": "", "latitude": "",
    "longitude": "", "pasted": "35.9606, -83.9207", "time_zone": "America/New_York", "price_per_night": "92.50",
}  # fmt: skip
NEW = "/settings/lodgings/new/"


def a_lodging() -> Lodging:
    return Lodging.objects.create(
        name="Pine Lodge", address="4 Ridge Road", city="Knoxville", latitude=35.96, longitude=-83.92,
        time_zone="America/New_York", price_per_night=90,
    )  # fmt: skip


def test_added_with_its_place_pasted_and_price(signed_in: SignedIn) -> None:
    a_firm(currency="EUR")
    client = signed_in(Role.PLANNER)
    assert "Price of a night (EUR)" in client.get(NEW).content.decode()
    assert client.post(NEW, TYPED).status_code == 302
    found = Lodging.objects.get()
    assert (found.latitude, found.longitude, found.price_per_night) == (35.9606, -83.9207, Decimal("92.50"))
    assert "92.50 EUR a night" in client.get("/settings/lodgings/").content.decode()


def test_price_below_nothing_is_told_beside_its_field(signed_in: SignedIn) -> None:
    answer = signed_in(Role.PLANNER).post(NEW, TYPED | {"price_per_night": "-1"})
    assert answer.status_code == 422
    assert "greater than or equal to 0" in answer.content.decode()
    assert 'value="Pine Lodge"' in answer.content.decode()


def test_price_below_nothing_is_refused_by_the_database() -> None:
    lodging = a_lodging()
    with pytest.raises(IntegrityError), transaction.atomic():
        Lodging.objects.filter(pk=lodging.pk).update(price_per_night=-1)


def test_archived_and_used_again_each_twice(signed_in: SignedIn) -> None:
    client, lodging = signed_in(Role.OFFICE), a_lodging()
    url = reverse("people:lodging-archive", args=[lodging.pk])
    for archived in ("1", "1", "0", "0"):
        assert client.post(url, {"archived": archived}).status_code == 302
        lodging.refresh_from_db()
        assert (lodging.archived_at is not None) is (archived == "1")
    events = Lodging.pgh_event_model.objects.filter(pgh_obj=lodging)  # type: ignore[attr-defined]
    assert events.count() == 3  # made, archived, used again


def test_technicians_only_see_none_of_it(signed_in: SignedIn) -> None:
    assert signed_in(Role.TECHNICIAN).get("/settings/lodgings/").status_code == 403
