"""Reads of programmes and additions."""

from datetime import datetime

from django.db.models import QuerySet
from django.utils import timezone

from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.installations.models import Installation

State = ProgrammeVersion.State


def programme_in_force(installation: Installation, at: datetime | None = None) -> ProgrammeVersion | None:
    """The version in force at a moment (now, if none is given)."""
    rows = ProgrammeVersion.objects.filter(installation=installation, state=State.IN_FORCE)
    return rows.filter(valid__contains=at or timezone.now()).first()


def programme_approved(installation: Installation) -> ProgrammeVersion | None:
    """The newest version that the lead aquarist approved and nobody has set yet."""
    return ProgrammeVersion.objects.filter(installation=installation, state=State.APPROVED).order_by("-number").first()


def programme_history(installation: Installation) -> QuerySet[ProgrammeVersion]:
    return ProgrammeVersion.objects.filter(installation=installation).select_related("made_by", "approved_by")


def additions(installation: Installation, since: datetime, until: datetime | None = None) -> list[Addition]:
    """Additions in time order."""
    rows = Addition.objects.filter(installation=installation, at__gte=since).select_related("item", "parameter")
    if until is not None:
        rows = rows.filter(at__lt=until)
    return list(rows.order_by("at"))
