"""Reads of bands and readings. Superseded readings are left out everywhere."""

from collections.abc import Iterable
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class Overview:
    """A system in the list of Water: how many of its last readings are out of band or in alarm."""

    installation: Installation
    out: list[str]
    alarm: list[str]
    last_at: datetime | None


def overview(installations: list[Installation]) -> list[Overview]:
    """Systems by how far out of band their last readings are, in a fixed number of queries."""
    last = latest_of_many(installations)
    by_id: dict[int, list[Band]] = {}
    for band in Band.objects.filter(installation__in=installations).select_related("parameter"):
        by_id.setdefault(band.installation_id, []).append(band)
    rows = []
    for installation in installations:
        readings = last.get(installation.pk, {})
        out, alarm = [], []
        for band in by_id.get(installation.pk, []):
            reading = readings.get(band.parameter_id)
            state = band_state(reading.value, band) if reading else "in"
            if state == "alarm":
                alarm.append(band.parameter.name)
            elif state == "out":
                out.append(band.parameter.name)
        moments = [reading.taken_at for reading in readings.values()]
        rows.append(Overview(installation, out, alarm, max(moments) if moments else None))
    return sorted(rows, key=lambda row: (-len(row.alarm), -len(row.out), row.installation.code))


def band_state(value: float, band: Band) -> str:
    """in, out or alarm."""
    if (band.alarm_low is not None and value < band.alarm_low) or (
        band.alarm_high is not None and value > band.alarm_high
    ):
        return "alarm"
    return "in" if band.low <= value <= band.high else "out"
