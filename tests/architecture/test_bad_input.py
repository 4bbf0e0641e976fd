"""Every quantity, number, date, time, coordinate and file of every form on every page: a wrong value gets an error
beside it, and what was typed is still there."""

import copy
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from servicedesk.common.forms import CoordinatesField, NumberField, QuantityField
from servicedesk.people.models import Role
from tests.architecture.conftest import ALL, World, browser
from tests.builders import a_user

pytestmark = pytest.mark.django_db

TYPED = (
    QuantityField, NumberField, CoordinatesField, forms.DateField, forms.TimeField, forms.DateTimeField,
    forms.DecimalField, forms.IntegerField, forms.FileField, forms.EmailField,
)  # fmt: skip
WRONG = "certainly wrong"


def forms_in(context: Any) -> Iterator[forms.BaseForm]:
    """All forms that a page was made with."""
    for layer in context or ():
        for value in layer.flatten().values() if hasattr(layer, "flatten") else ():
            rows = value.values() if isinstance(value, dict) else [value]
            yield from (row for row in rows if isinstance(row, forms.BaseForm) and not row.is_bound)


def bound_with(form: forms.BaseForm, name: str) -> forms.BaseForm:
    """The same form sent with one wrong value."""
    sent = copy.copy(form)
    data = QueryDict(mutable=True)
    data[sent.add_prefix(name)] = WRONG
    sent.is_bound, sent.data, sent.files = True, data, MultiValueDict()
    sent._errors = None  # type: ignore[attr-defined]
    sent._bound_fields_cache = {}  # type: ignore[attr-defined]
    return sent


def faults(form: forms.BaseForm) -> Iterator[str]:
    """Fields whose wrong value is not told beside them, or is lost."""
    for name, field in form.fields.items():
        if not isinstance(field, TYPED) or field.disabled or isinstance(field.widget, forms.HiddenInput):
            continue
        sent = bound_with(form, name)
        if isinstance(field, forms.FileField):
            if field.required and name not in sent.errors:
                yield f"{type(form).__name__}.{name} takes no file"
        elif name not in sent.errors:
            yield f"{type(form).__name__}.{name} takes {WRONG!r}"
        elif WRONG not in str(sent[name]):
            yield f"{type(form).__name__}.{name} loses what was typed"


def test_wrong_values_are_told_beside_the_field_and_kept(world: World) -> None:
    client = browser(a_user(*Role.values))
    seen: set[str] = set()
    found: list[str] = []
    for name in sorted(ALL):
        response = client.get(world.url(name))
        for form in forms_in(response.context):
            if type(form).__name__ not in seen:
                seen.add(type(form).__name__)
                found += faults(form)
    assert len(seen) > 20
    assert found == []
