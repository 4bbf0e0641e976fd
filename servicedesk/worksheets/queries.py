"""Reads of kept worksheets and instruments."""

from collections.abc import Iterable

from django.db.models import QuerySet

from servicedesk.installations.models import Installation
from servicedesk.readings.models import Instrument
from servicedesk.science.worksheets.declare import Worksheet
from servicedesk.worksheets.models import KeptWorksheet

INSTRUMENT = "instrument."


def kept_for(installation: Installation) -> QuerySet[KeptWorksheet]:
    return KeptWorksheet.objects.filter(installation=installation).select_related("kept_by")


def last_kept(installation: Installation, worksheets: Iterable[str]) -> dict[str, KeptWorksheet]:
    """The newest kept sheet of each name."""
    rows = KeptWorksheet.objects.filter(installation=installation, worksheet__in=list(worksheets))
    newest = rows.order_by("worksheet", "-kept_at").distinct("worksheet")
    return {row.worksheet: row for row in newest}


def remembered_fields(sheet: Worksheet) -> dict[str, str]:
    """Input key → what an instrument remembers for it."""
    return {
        item.key: item.recall.removeprefix(INSTRUMENT) for item in sheet.inputs if item.recall.startswith(INSTRUMENT)
    }


def instruments_for(sheet: Worksheet) -> list[Instrument]:
    """Instruments in use that remember something this sheet asks."""
    fields = set(remembered_fields(sheet).values())
    if not fields:
        return []
    return [row for row in Instrument.objects.filter(archived_at=None) if fields & set(row.data)]
