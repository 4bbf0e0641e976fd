"""Reads of bands and readings. Superseded readings are left out everywhere."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import QuerySet

from servicedesk.installations.models import Installation
from servicedesk.readings.models import Band, Method, Parameter, Reading


def bands(installation: Installation) -> dict[str, Band]:
    """The installation's bands by parameter key, in the parameters' order."""
    rows = Band.objects.filter(installation=installation).select_related("parameter")
    return {row.parameter_id: row for row in rows.order_by("parameter__position")}


def standing(installation: Installation) -> QuerySet[Reading]:
    return Reading.objects.filter(installation=installation, superseded_by=None)


def latest(installation: Installation, before: datetime | None = None) -> dict[str, Reading]:
    """The last reading of each parameter, by key."""
    rows = standing(installation).select_related("parameter", "method")
    if before is not None:
        rows = rows.filter(taken_at__lt=before)
    newest = rows.order_by("parameter_id", "-taken_at").distinct("parameter_id")
    return {row.parameter_id: row for row in newest}


def latest_of_many(installations: Iterable[Installation]) -> dict[int, dict[str, Reading]]:
    """``latest`` for several installations in one query: {installation id: {key: reading}}."""
    rows = (
        Reading.objects.filter(installation__in=list(installations), superseded_by=None)
        .select_related("parameter")
        .order_by("installation_id", "parameter_id", "-taken_at")
        .distinct("installation_id", "parameter_id")
    )
    found: dict[int, dict[str, Reading]] = {}
    for row in rows:
        found.setdefault(row.installation_id, {})[row.parameter_id] = row
    return found


def series(
    installation: Installation,
    keys: Iterable[str] | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> dict[str, list[Reading]]:
    """Readings in time order by parameter key."""
    rows = standing(installation).order_by("taken_at")
    if keys is not None:
        rows = rows.filter(parameter__in=list(keys))
    if since is not None:
        rows = rows.filter(taken_at__gte=since)
    if until is not None:
        rows = rows.filter(taken_at__lt=until)
    found: dict[str, list[Reading]] = {}
    for row in rows:
        found.setdefault(row.parameter_id, []).append(row)
    return found


def default_methods() -> dict[str, Method]:
    return {row.parameter_id: row for row in Method.objects.filter(is_default=True)}


def parameters() -> dict[str, Parameter]:
    return {row.key: row for row in Parameter.objects.all()}
