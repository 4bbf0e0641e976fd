"""Reads of kept worksheets and instruments."""

from collections.abc import Iterable

from django.db.models import QuerySet

from servicedesk.installations.models import Installation
from servicedesk.people.models import User
from servicedesk.readings.models import Instrument
from servicedesk.science.worksheets.declare import Worksheet
from servicedesk.worksheets.models import KeptWorksheet

INSTRUMENT = "instrument."
COMMON_TO_ALL = {"resolution", "repeats", "accuracy_pct", "sd", "standard"}


def kept_for(installation: Installation) -> QuerySet[KeptWorksheet]:
    return KeptWorksheet.objects.filter(installation=installation, withdrawn_at=None).select_related("kept_by")


def last_kept(installation: Installation, worksheets: Iterable[str]) -> dict[str, KeptWorksheet]:
    """The newest kept sheet of each name."""
    rows = kept_for(installation).filter(worksheet__in=list(worksheets))
    newest = rows.order_by("worksheet", "-kept_at").distinct("worksheet")
    return {row.worksheet: row for row in newest}


def remembered_fields(sheet: Worksheet) -> dict[str, str]:
    """Input key → what an instrument remembers for it."""
    return {
        item.key: item.recall.removeprefix(INSTRUMENT) for item in sheet.inputs if item.recall.startswith(INSTRUMENT)
    }


def instruments_for(sheet: Worksheet) -> list[Instrument]:
    """Instruments in use that belong to this sheet, or remember something of their own that it asks."""
    fields = set(remembered_fields(sheet).values()) - COMMON_TO_ALL
    return [
        row
        for row in Instrument.objects.filter(archived_at=None)
        if row.data.get("worksheet") == sheet.name or fields & set(row.data)
    ]


def lately_kept_by(user: User) -> list[KeptWorksheet]:
    """The last sheets somebody kept, each worksheet once."""
    rows = KeptWorksheet.objects.filter(kept_by=user, withdrawn_at=None)[:40]
    return list({row.worksheet: row for row in reversed(rows)}.values())[::-1][:6]
