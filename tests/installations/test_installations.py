from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from servicedesk.installations import importing
from servicedesk.installations.models import Installation, PlantService
from servicedesk.installations.queries import installations_at, plant_due, site_of
from servicedesk.installations.services import installation_move
from tests.builders import LONG_AGO, a_machine, a_site, a_user, an_installation
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
DAY = date(2026, 12, 1)


def test_net_water_is_display_and_sump_less_what_is_displaced() -> None:
    assert an_installation(bands=False).net_volume_l == 900 + 250 - 150


def test_database_refuses_more_displaced_than_there_is() -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        an_installation(bands=False, displacement_l=1150)


def test_moved_installation_keeps_where_it_stood() -> None:
    old, new = a_site(), a_site()
    installation = an_installation(old, bands=False)
    installation_move(installation=installation, site=new, since=DAY, actor=a_user())
    assert (site_of(installation, DAY - timedelta(days=1)), site_of(installation, DAY)) == (old, new)
    assert installations_at(old, DAY) == []


def test_installation_cannot_move_before_it_came() -> None:
    installation = an_installation(a_site(), bands=False)
    with pytest.raises(ValidationError):
        installation_move(installation=installation, site=a_site(), since=LONG_AGO, actor=a_user())


def test_service_falls_due_by_its_interval() -> None:
    installation = an_installation(bands=False)
    pump = a_machine(installation, "return_pump", service_interval_days=90)
    PlantService.objects.create(plant_item=pump, done_on=DAY - timedelta(days=91), what="cleaned")
    assert [row.item for row in plant_due(installation, DAY)] == [pump]
    PlantService.objects.create(plant_item=pump, done_on=DAY, what="cleaned")
    assert plant_due(installation, DAY) == []


def test_usual_bands_come_with_the_kind_of_system() -> None:
    reef, jelly = an_installation(kind="reef_stony"), an_installation(kind="jellyfish")
    assert reef.bands.filter(parameter="alkalinity").exists()
    assert reef.bands.count() != jelly.bands.count() or reef.bands.first() != jelly.bands.first()


GOOD = {
    "code": "N900", "name": "Atrium reef", "kind": "reef_stony", "display_l": "5000", "display_l_unit": "gal",
    "sump_l": "800", "sump_l_unit": "gal", "displacement_l": "600", "displacement_l_unit": "gal",
    "evaporation_l_day": "30", "evaporation_l_day_unit": "gal", "since": "2026-01-01",
}  # fmt: skip


def test_installation_is_typed_in_gallons_and_kept_in_litres(signed_in: SignedIn) -> None:
    response = signed_in("owner").post(reverse("installations:new", args=[a_site().pk]), GOOD)
    assert response.status_code == 302, response.context["form"].errors
    assert Installation.objects.get(code="N900").display_l == pytest.approx(18927.06, abs=0.01)


@pytest.mark.parametrize(
    ("field", "wrong", "beside"),
    [
        ("display_l", "many", "display_l"),
        ("display_l", "-3", "display_l"),
        ("sump_l", "x", "sump_l"),
        ("since", "yesterday", "since"),
    ],
)
def test_wrong_value_gets_an_error_beside_it_and_the_rest_stays(
    signed_in: SignedIn, field: str, wrong: str, beside: str
) -> None:
    response = signed_in("owner").post(reverse("installations:new", args=[a_site().pk]), GOOD | {field: wrong})
    assert response.status_code == 422
    assert beside in response.context["form"].errors
    assert "Atrium reef" in response.content.decode()
    assert wrong in response.content.decode()


def test_table_of_installations_is_stored_once_and_says_what_is_wrong() -> None:
    site = a_site()
    row = {"code": "N77", "name": "Reef", "kind": "reef_stony", "site": site.name, "display_l": "1200"}
    rows = [row, row | {"code": "N78", "kind": "swamp"}, row | {"code": "N79", "site": "Nowhere"}]
    found = importing.fates(rows)
    assert [fate.state for fate in found] == ["ok", "wrong", "wrong"]
    assert importing.store(found, actor=a_user()) == 1
    assert importing.store(importing.fates(rows[:1]), actor=a_user()) == 0
