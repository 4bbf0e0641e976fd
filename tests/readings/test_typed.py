import pytest
from django.urls import reverse

from servicedesk.readings.models import Reading
from tests.builders import an_installation
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db


def send(signed_in: SignedIn, **values: str) -> tuple[int, str, dict[str, str]]:
    """Type readings and press Keep; the answer's status, its page, and what to send next."""
    installation = an_installation()
    browser = signed_in("lead_aquarist")
    url = reverse("readings:sampling-add", args=[installation.pk])
    token = str(browser.get(url).context["form"]["token"].value())
    data = {"token": token, "taken_at": "2026-11-20T09:00", **values}
    response = browser.post(url, data)
    if response.status_code == 302:
        return 302, "", {}
    asked = response.context["form"]
    again = browser.post(url, data | {"sure": asked["sure"].value()})
    return again.status_code, response.content.decode(), asked.errors


def test_usual_value_is_kept_at_once_and_not_flagged(signed_in: SignedIn) -> None:
    assert send(signed_in, value_alkalinity="8,1", value_alkalinity_unit="dKH")[0] == 302
    assert not Reading.objects.get().confirmed_odd


def test_odd_value_is_asked_for_once_then_kept_and_flagged(signed_in: SignedIn) -> None:
    status, _page, errors = send(signed_in, value_calcium="900", value_calcium_unit="mg_L")
    assert "value_calcium" in errors
    assert status == 302
    assert Reading.objects.get().confirmed_odd


def test_below_detection_is_kept_as_a_bound(signed_in: SignedIn) -> None:
    assert send(signed_in, value_phosphate="< 0.01", value_phosphate_unit="mg_L")[0] == 302
    reading = Reading.objects.get()
    assert (reading.below_detection, reading.value, reading.typed_value) == (True, 0.01, "< 0.01")
