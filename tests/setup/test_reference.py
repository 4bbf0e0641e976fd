"""The reference data: complete, consistent, and the same after a second load."""

from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db.models import Model

from servicedesk.billing.models import TaxRule
from servicedesk.installations.models import SystemKind
from servicedesk.people.models import PermissionKind
from servicedesk.readings.models import BandTemplate, Method, Parameter
from servicedesk.setup.reference import reference_load

pytestmark = pytest.mark.django_db
MODELS: tuple[type[Model], ...] = (Parameter, BandTemplate, Method, PermissionKind, TaxRule)


@pytest.fixture
def emptied() -> None:
    """All tests find the reference data loaded; these begin without."""
    for model in reversed(MODELS):
        model._default_manager.all().delete()


def contents() -> dict[str, list[dict[str, object]]]:
    return {model.__name__: [dict(row) for row in model._default_manager.order_by("pk").values()] for model in MODELS}


@pytest.mark.usefixtures("emptied")
def test_a_second_load_changes_nothing() -> None:
    first = reference_load()
    before = contents()
    second = reference_load()
    assert all(number > 0 for number in first.values())
    assert set(second.values()) == {0}
    assert contents() == before


def test_what_the_firm_edited_stays() -> None:
    reference_load()
    TaxRule.objects.filter(region="TN", line_kind="material").update(rate_percent=Decimal("9.25"))
    PermissionKind.objects.filter(name="First aid").update(warn_days=7)
    reference_load()
    assert TaxRule.objects.get(region="TN", line_kind="material").rate_percent == Decimal("9.25")
    assert PermissionKind.objects.get(name="First aid").warn_days == 7


@pytest.mark.usefixtures("emptied")
def test_the_command_says_what_is_new() -> None:
    out = StringIO()
    call_command("load_reference", stdout=out)
    assert f"{Parameter.objects.count()} new parameters" in out.getvalue()


def test_each_kind_of_system_has_bands_in_order() -> None:
    reference_load()
    for kind in SystemKind.values:
        rows = BandTemplate.objects.filter(kind=kind)
        assert rows.count() >= 6
        assert all(row.low <= row.target <= row.high for row in rows)


def test_each_parameter_with_a_method_has_one_default() -> None:
    reference_load()
    for parameter in Parameter.objects.filter(methods__isnull=False).distinct():
        assert parameter.methods.filter(is_default=True).count() == 1
