from datetime import date, time
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from servicedesk.clients import importing
from servicedesk.clients.models import AccessWindow, AgreementPrice, Client, Site
from servicedesk.clients.queries import address_on, clients_matching, price_on, sites_matching
from servicedesk.clients.services import Address, archive, client_create, client_move
from tests.builders import a_client, a_site, a_user, an_agreement
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
NEW = Address("9 Hill", "Knoxville", "TN", "37900")


def test_yesterdays_address_stays_yesterdays() -> None:
    client = a_client()
    client_move(client=client, address=NEW, since=date(2026, 12, 1), actor=a_user())
    before, after = address_on(client, date(2026, 11, 30)), address_on(client, date(2026, 12, 1))
    assert before is not None
    assert after is not None
    assert (before.street, after.street) == ("1 Quay", "9 Hill")


def test_client_cannot_move_before_the_last_move() -> None:
    client = a_client()
    client_move(client=client, address=NEW, since=date(2026, 12, 1), actor=a_user())
    with pytest.raises(ValidationError):
        client_move(client=client, address=NEW, since=date(2026, 12, 1), actor=a_user())


def test_numbers_of_clients_count_on() -> None:
    made = [
        client_create(client=Client(name=name), address=NEW, since=date(2026, 1, 1), token=name, actor=a_user())
        for name in ("One", "Two")
    ]
    assert int(made[1].number[1:]) == int(made[0].number[1:]) + 1


def test_prices_hold_from_their_day() -> None:
    agreement = an_agreement()
    AgreementPrice.objects.create(
        agreement=agreement, valid_from=date(2026, 12, 1), fee=Decimal(200), hourly_rate=Decimal(95)
    )
    before, after = price_on(agreement, date(2026, 11, 30)), price_on(agreement, date(2026, 12, 1))
    assert before is not None
    assert after is not None
    assert (before.fee, after.fee) == (180, 200)


def test_window_that_closes_on_the_next_date_is_one_window() -> None:
    window = AccessWindow(site=a_site(windows=False), weekday=0, opens=time(22), closes=time(2))
    assert window.ends_next_day


@pytest.mark.parametrize("letters", ["harb", "HARBOUR", "quay harb", "nash"])
def test_a_few_letters_find_the_site(letters: str) -> None:
    site = a_site(a_client(name="Harbour Hotel"), name="Harbour lobby")
    assert site in sites_matching(letters)


def test_letters_of_something_else_find_nothing() -> None:
    a_site(a_client(name="Harbour Hotel"), name="Harbour lobby")
    assert not sites_matching("xyzzy").exists()
    assert not clients_matching("xyzzy").exists()


def test_archived_site_leaves_the_list() -> None:
    site = a_site()
    archive(record=site, actor=a_user())
    assert site not in sites_matching("")


def test_client_with_sites_is_not_archived() -> None:
    site = a_site()
    with pytest.raises(ValidationError):
        archive(record=site.client, actor=a_user())


@pytest.mark.parametrize(("latitude", "longitude"), [(91, 0), (0, 181)])
def test_database_refuses_a_site_off_the_earth(latitude: float, longitude: float) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        a_site(latitude=latitude, longitude=longitude)


GOOD_SITE = {
    "name": "Atrium", "street": "2 Quay", "city": "Nashville", "region": "TN", "postcode": "37000", "country": "US",
    "latitude": "36.16", "longitude": "-86.78", "time_zone": "America/Chicago",
}  # fmt: skip


@pytest.mark.parametrize(("field", "wrong"), [("latitude", "north"), ("longitude", "999"), ("time_zone", "Mars")])
def test_wrong_value_gets_an_error_beside_it_and_the_rest_stays(signed_in: SignedIn, field: str, wrong: str) -> None:
    client = a_client()
    response = signed_in("owner").post(reverse("clients:site-new", args=[client.pk]), GOOD_SITE | {field: wrong})
    assert response.status_code == 422
    assert field in response.context["form"].errors
    assert "2 Quay" in response.content.decode()
    assert not Site.objects.filter(name="Atrium").exists()


CLIENT_ROW = {
    "name": "Cedar Court",
    "street": "1 Elm",
    "city": "Knoxville",
    "postcode": "37900",
    "email": "a@b.example",
}


def test_table_of_clients_is_stored_once() -> None:
    for expected in (1, 0):
        found = importing.client_fates([CLIENT_ROW])
        assert importing.client_store(found, actor=a_user()) == expected
    assert Client.objects.get(name="Cedar Court").contacts.get().gets_reports


def test_wrong_rows_of_a_table_say_which_column() -> None:
    found = importing.client_fates([CLIENT_ROW | {"payment_days": "soon"}, CLIENT_ROW | {"name": "X", "street": ""}])
    assert [row.state for row in found] == ["wrong", "wrong"]
    assert "payment_days" in found[0].words


def test_table_of_sites_names_a_client_that_is_not_there() -> None:
    row = GOOD_SITE | {"client": "Nobody"}
    assert "Nobody" in importing.site_fates([row])[0].words


def test_table_of_sites_refuses_a_zone_that_is_none() -> None:
    client = a_client()
    rows = [GOOD_SITE | {"client": client.name}, GOOD_SITE | {"client": client.name, "time_zone": "Mars", "name": "B"}]
    assert [row.state for row in importing.site_fates(rows)] == ["ok", "wrong"]


def test_the_only_site_of_a_client_is_chosen_beforehand(signed_in: SignedIn) -> None:
    site = a_site()
    page = signed_in("owner").get(reverse("clients:agreement-new", args=[site.client_id])).content.decode()
    assert f'<option value="{site.pk}" selected>' in page
