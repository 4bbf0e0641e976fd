"""Reference data by natural key: loading twice changes nothing, and what people edited stays theirs."""

import json
from datetime import date
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction

from servicedesk.billing.models import TaxRule
from servicedesk.people.models import PermissionKind
from servicedesk.readings.models import BandTemplate, Method, Parameter

REFERENCE = settings.BASE_DIR / "fixtures" / "reference"


def rows(name: str, key: str) -> list[dict[str, Any]]:
    """The rows of a reference file."""
    found: list[dict[str, Any]] = json.loads((REFERENCE / f"{name}.json").read_text(encoding="utf-8"))[key]
    return found


@transaction.atomic
def reference_load() -> dict[str, int]:
    """Bring parameters, bands, methods, kinds of permission and tax rules in; returns how many of each are new.

    Parameters, band templates and methods follow the files. Kinds of permission and tax rates are the
    firm's to edit: those that exist already are left alone.
    """
    return {
        "parameters": _parameters(),
        "band templates": _band_templates(),
        "methods": _methods(),
        "kinds of permission": _permission_kinds(),
        "tax rules": _tax_rules(),
    }


def _parameters() -> int:
    made = [
        Parameter.objects.update_or_create(key=row["key"], defaults={k: v for k, v in row.items() if k != "key"})[1]
        for row in rows("parameters", "parameters")
    ]
    return sum(made)


def _band_templates() -> int:
    made = [
        BandTemplate.objects.update_or_create(
            kind=row["kind"],
            parameter_id=row["parameter"],
            defaults={edge: row[edge] for edge in ("alarm_low", "low", "target", "high", "alarm_high")},
        )[1]
        for row in rows("band_templates", "bands")
    ]
    return sum(made)


def _methods() -> int:
    fields = ("name", "sd_abs", "sd_rel", "resolution", "is_default")
    made = [
        Method.objects.update_or_create(
            key=row["key"],
            defaults={"parameter_id": row["parameter"], **{name: row[name] for name in fields}},
        )[1]
        for row in rows("methods", "methods")
    ]
    return sum(made)


def _permission_kinds() -> int:
    made = [
        PermissionKind.objects.get_or_create(
            name=row["name"], defaults={"kind": row["kind"], "warn_days": row["warn_days"]}
        )[1]
        for row in rows("permission_kinds", "permission_kinds")
    ]
    return sum(made)


def _tax_rules() -> int:
    made = [
        TaxRule.objects.get_or_create(
            region=row["region"],
            line_kind=row["line_kind"],
            customer_type=row["customer_type"],
            valid_from=date.fromisoformat(row["valid_from"]),
            defaults={
                "category": row["category"],
                "rate_percent": Decimal(row["rate_percent"]),
                "name": row["name"],
            },
        )[1]
        for row in rows("tax_rules", "tax_rules")
    ]
    return sum(made)
