"""Keep a worked worksheet for an installation; let an instrument remember its data."""

import hashlib
import json
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.once import once
from servicedesk.installations.models import Installation
from servicedesk.people.models import User
from servicedesk.readings.models import Instrument
from servicedesk.worksheets.models import KeptWorksheet

KEEP = "worksheet"


@transaction.atomic
def keep(*, installation: Installation, record: dict[str, Any], note: str, token: str, actor: User) -> KeptWorksheet:
    """Store a worked sheet. The same sheet sent twice is stored once; other values after going back are another."""
    kind = f"{KEEP} {_digest(record)}"
    made = once(token, kind)
    if made:
        return KeptWorksheet.objects.get(pk=made)
    kept = KeptWorksheet.objects.create(
        installation=installation,
        worksheet=record["worksheet"],
        title=record["title"],
        record=record,
        note=note,
        kept_by=actor,
    )
    once(token, kind, kept.pk)
    return kept


def _digest(record: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(record, sort_keys=True).encode()).hexdigest()[:16]


def withdraw(*, kept: KeptWorksheet, actor: User) -> None:
    """Take a kept sheet out of the lists and of what is recalled; it stays on record."""
    if kept.withdrawn_at is None:
        kept.withdrawn_at, kept.withdrawn_by = timezone.now(), actor
        kept.save(update_fields=["withdrawn_at", "withdrawn_by"])


@transaction.atomic
def remember(*, name: str, worksheet: str, data: dict[str, Any], actor: User) -> Instrument:
    """Note what an instrument remembers, beside what it remembered before. ``actor`` goes to the audit trail."""
    if not name.strip():
        raise ValidationError({"instrument_name": _("Give the instrument the name that is written on it.")})
    row, _made = Instrument.objects.select_for_update().get_or_create(name=name.strip()[:80])
    row.data = {**row.data, **data, "worksheet": worksheet}
    row.archived_at = None
    row.save()
    return row


def archive_instrument(*, instrument: Instrument, actor: User) -> None:
    """Take an instrument out of use; what it did stays on record."""
    instrument.archived_at = timezone.now()
    instrument.save(update_fields=["archived_at"])
