"""Readings from a table: every row gets its fate before anything is stored.

Header: ``installation`` (code), ``taken_at`` (ISO 8601; without a zone: the site's clock), ``parameter``
(key or name), ``value``, ``unit`` (key or label; empty: the canonical unit). Other columns are ignored.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from servicedesk.common.tables import Fate, fit, known, wrong
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import site_of
from servicedesk.people.models import User
from servicedesk.readings import queries
from servicedesk.readings.models import Parameter, Reading, Sampling
from servicedesk.readings.services import TypedReading, is_odd, sampling_record
from servicedesk.science.quantities import QUANTITIES

HEADER = ("installation", "taken_at", "parameter", "value", "unit")
REQUIRED = HEADER[:4]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """A fit row, understood."""

    installation: Installation
    taken_at: datetime
    reading: TypedReading


def fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row without storing anything."""
    parameters = queries.parameters()
    by_name = {parameter.name.lower(): parameter for parameter in parameters.values()}
    installations = {row.code.lower(): row for row in Installation.objects.all()}
    zones: dict[int, ZoneInfo] = {}
    stored = set(Reading.objects.filter(superseded_by=None).values_list("installation_id", "parameter_id", "taken_at"))
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple((row.get(column) or "").strip() for column in HEADER)
        try:
            installation, taken_at, reading = _understand(cells, parameters, by_name, installations, zones)
        except ValidationError as error:
            found.append(wrong(line, cells, " ".join(error.messages)))
            continue
        key = (installation.pk, reading.parameter, taken_at)
        if key in stored:
            found.append(known(line, cells))
            continue
        stored.add(key)
        found.append(fit(line, cells, ReadingRow(installation, taken_at, reading)))
    return found


def _understand(
    cells: tuple[str, ...],
    parameters: dict[str, Parameter],
    by_name: dict[str, Parameter],
    installations: dict[str, Installation],
    zones: dict[int, ZoneInfo],
) -> tuple[Installation, datetime, TypedReading]:
    code, when, name, value, unit = cells
    installation = installations.get(code.lower())
    if installation is None:
        raise ValidationError(_("No installation with the code “%(code)s”."), params={"code": code})
    parameter = parameters.get(name.lower()) or by_name.get(name.lower())
    if parameter is None:
        raise ValidationError(_("No parameter “%(name)s”."), params={"name": name})
    taken_at = _moment(when, installation, zones)
    unit_key = _unit(parameter, unit)
    odd = is_odd(parameter, value, unit_key)
    return installation, taken_at, TypedReading(parameter.key, value, unit_key, confirmed=odd)


def _moment(text: str, installation: Installation, zones: dict[int, ZoneInfo]) -> datetime:
    try:
        at = parse_datetime(text)
    except ValueError:
        at = None
    if at is None:
        raise ValidationError(_("“%(text)s” is no date and time such as 2026-11-30 09:15."), params={"text": text})
    if at.tzinfo is None:
        if installation.pk not in zones:
            site = site_of(installation, timezone.localdate())
            zones[installation.pk] = ZoneInfo(site.time_zone if site else "UTC")
        at = at.replace(tzinfo=zones[installation.pk])
    if at > timezone.now():
        raise ValidationError(_("That time has not come yet."))
    return at


def _unit(parameter: Parameter, typed: str) -> str:
    rows = QUANTITIES[parameter.quantity]
    if not typed:
        return rows[0].key
    for unit in rows:
        if typed.lower() in {unit.key.lower(), unit.label.lower()}:
            return unit.key
    known = ", ".join(unit.label for unit in rows)
    raise ValidationError(_("“%(unit)s” is no unit here; known: %(known)s."), params={"unit": typed, "known": known})


@transaction.atomic
def store(found: Sequence[Fate], *, actor: User | None) -> int:
    """Store the rows that are fit; the same file again stores nothing twice. Returns how many readings."""
    groups: dict[tuple[int, datetime], list[ReadingRow]] = {}
    for fate in found:
        if isinstance(fate.payload, ReadingRow):
            groups.setdefault((fate.payload.installation.pk, fate.payload.taken_at), []).append(fate.payload)
    for (installation_id, taken_at), rows in groups.items():
        names = ",".join(sorted(row.reading.parameter for row in rows))
        sampling_record(
            sampling_id=uuid5(NAMESPACE_URL, f"import:{installation_id}:{taken_at.isoformat()}:{names}"),
            installation=rows[0].installation,
            taken_at=taken_at,
            actor=actor,
            source=Sampling.Source.IMPORT,
            readings=[row.reading for row in rows],
        )
    return sum(map(len, groups.values()))
