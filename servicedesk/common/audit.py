"""The audit trail: every insert, update and delete of a business fact, recorded by database triggers."""

from collections.abc import Callable
from typing import TypeVar

import pghistory
from django.db.models import Model

M = TypeVar("M", bound=type[Model])


def audited(*, exclude: list[str] | None = None) -> Callable[[M], M]:
    """Track all changes of a model, also those made by bulk updates or raw SQL."""
    tracker: Callable[[M], M] = pghistory.track(
        pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent(), exclude=exclude
    )
    return tracker
