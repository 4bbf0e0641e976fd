"""Changes of the programme and of what entered the water."""

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _
from psycopg.types.range import TimestamptzRange

from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.care.programme import BY_KEY
from servicedesk.installations.models import Installation
from servicedesk.people.models import User

State = ProgrammeVersion.State


def settings_checked(settings: dict[str, Any]) -> dict[str, Any]:
    """The settings with empty ones left out; raises ValidationError per key for unknown or out of range."""
    problems: dict[str, str] = {}
    kept = {key: value for key, value in settings.items() if value not in (None, "")}
    for key, value in kept.items():
        setting = BY_KEY.get(key)
        if setting is None:
            problems[key] = _("No such setting.")
        elif setting.kind == "number" and not isinstance(value, int | float):
            problems[key] = _("Enter a number.")
        elif setting.minimum is not None and not setting.minimum <= value <= (setting.maximum or value):
            problems[key] = _("Must lie between %(low)s and %(high)s %(unit)s.") % {
                "low": setting.minimum,
                "high": setting.maximum,
                "unit": setting.unit,
            }
    if problems:
        raise ValidationError({key: [text] for key, text in problems.items()})
    return kept


@transaction.atomic
def programme_put_in_force(
    *,
    installation: Installation,
    settings: dict[str, Any],
    at: datetime,
    actor: User | None,
    reason: str = "",
) -> ProgrammeVersion:
    """Make a new version in force from ``at``; the one before ends there. Same settings: nothing changes."""
    Installation.objects.select_for_update().get(pk=installation.pk)
    kept = settings_checked(settings)
    current = (
        ProgrammeVersion.objects.filter(installation=installation, state=State.IN_FORCE, valid__endswith=None)
        .order_by("-number")
        .first()
    )
    if current is not None and current.settings == kept:
        return current
    if current is not None and current.valid is not None:
        start = current.valid.lower
        if start is not None and at <= start:
            at = start + timedelta(seconds=1)
        current.valid = TimestamptzRange(start, at)
        current.save(update_fields=["valid"])
    waiting = ProgrammeVersion.objects.filter(
        installation=installation, state__in=[State.PROPOSED, State.APPROVED]
    ).order_by("-number")
    asked_for = waiting.filter(settings=kept, state=State.APPROVED).first()
    if asked_for is not None:
        asked_for.state, asked_for.valid = State.IN_FORCE, TimestamptzRange(at, None)
        asked_for.save(update_fields=["state", "valid"])
        return asked_for
    return ProgrammeVersion.objects.create(
        installation=installation,
        number=_next_number(installation),
        state=State.IN_FORCE,
        valid=TimestamptzRange(at, None),
        settings=kept,
        reason=reason,
        made_by=actor,
    )


@transaction.atomic
def programme_propose(
    *, installation: Installation, settings: dict[str, Any], actor: User, reason: str, approve: bool
) -> ProgrammeVersion:
    """A version for the next visit to set: approved at once by the lead aquarist, or only proposed."""
    Installation.objects.select_for_update().get(pk=installation.pk)
    kept = settings_checked(settings)
    ProgrammeVersion.objects.filter(installation=installation, state__in=[State.PROPOSED, State.APPROVED]).update(
        state=State.REJECTED
    )
    return ProgrammeVersion.objects.create(
        installation=installation,
        number=_next_number(installation),
        state=State.APPROVED if approve else State.PROPOSED,
        settings=kept,
        reason=reason,
        made_by=actor,
        approved_by=actor if approve else None,
    )


def _next_number(installation: Installation) -> int:
    newest = ProgrammeVersion.objects.filter(installation=installation).aggregate(newest=Max("number"))["newest"]
    return (newest or 0) + 1


def addition_record(
    *,
    addition_id: UUID,
    installation: Installation,
    kind: str,
    at: datetime,
    actor: User | None,
    **fields: Any,
) -> Addition:
    """Record something that entered the water; the same id again changes nothing."""
    addition, _created = Addition.objects.get_or_create(
        id=addition_id, defaults={"installation": installation, "kind": kind, "at": at, "by": actor, **fields}
    )
    return addition
