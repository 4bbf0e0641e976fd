"""Readings from a table: every row gets its fate before anything is stored.

Header: ``installation`` (code), ``taken_at`` (ISO 8601; without a zone: the site's clock), ``parameter``
(key or name), ``value``, ``unit`` (key or label; empty: the canonical unit). Other columns are ignored.
"""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from servicedesk.installations.models import Installation
from servicedesk.installations.queries import site_of
from servicedesk.people.models import User
from servicedesk.readings import queries
from servicedesk.readings.models import Parameter, Reading, Sampling
from servicedesk.readings.services import TypedReading, canonical, sampling_record
from servicedesk.science import units

HEADER = ("installation", "taken_at", "parameter", "value", "unit")
MAX_ROWS = 20_000


class UnreadableTable(ValueError):
    """The file is no table we can read; the message says what is wrong."""


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a row: ``ok``, ``known`` (stored before) or ``wrong`` with the reason."""

    line: int
    cells: tuple[str, ...]
    state: str
    words: str
    installation: Installation | None = None
    taken_at: datetime | None = None
    reading: TypedReading | None = None


def read_table(name: str, file: BinaryIO) -> list[dict[str, str]]:
    """The rows of a CSV or XLSX file by header name."""
    rows = _xlsx_rows(file) if name.lower().endswith(".xlsx") else _csv_rows(file)
    table = list(rows)
    if not table:
        raise UnreadableTable(_("The file is empty."))
    header = [cell.strip().lower() for cell in table[0]]
    missing = [column for column in HEADER[:4] if column not in header]
    if missing:
        raise UnreadableTable(_("The first row lacks: %(columns)s.") % {"columns": ", ".join(missing)})
    if len(table) > MAX_ROWS:
        raise UnreadableTable(_("More than %(most)d rows; split the file.") % {"most": MAX_ROWS})
    return [dict(zip(header, row, strict=False)) for row in table[1:] if any(cell.strip() for cell in row)]


def _csv_rows(file: BinaryIO) -> Iterator[list[str]]:
    try:
        text = file.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableTable(_("The file is neither XLSX nor text in UTF-8.")) from error
    if "\x00" in text:
        raise UnreadableTable(_("The file is neither XLSX nor text in UTF-8."))
    first = text.splitlines()[0] if text.splitlines() else ""
    yield from csv.reader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")


def _xlsx_rows(file: BinaryIO) -> Iterator[list[str]]:
    import openpyxl

    try:
        sheet = openpyxl.load_workbook(file, read_only=True, data_only=True).active
    except (zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise UnreadableTable(_("The file is not an XLSX workbook.")) from error
    if sheet is None:
        raise UnreadableTable(_("The workbook has no sheet."))
    for row in sheet.iter_rows(values_only=True):
        yield [_cell(value) for value in row]


def _cell(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat()
    return "" if value is None else str(value)


def fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row without storing anything."""
    parameters = queries.parameters()
    by_name = {parameter.name.lower(): parameter for parameter in parameters.values()}
    installations = {row.code.lower(): row for row in Installation.objects.all()}
    zones: dict[int, ZoneInfo] = {}
    known = set(Reading.objects.filter(superseded_by=None).values_list("installation_id", "parameter_id", "taken_at"))
    seen: set[tuple[int, str, datetime]] = set()
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple((row.get(column) or "").strip() for column in HEADER)
        try:
            installation, taken_at, reading = _understand(cells, parameters, by_name, installations, zones)
        except ValidationError as error:
            found.append(Fate(line, cells, "wrong", " ".join(error.messages)))
            continue
        key = (installation.pk, reading.parameter, taken_at)
        if key in known or key in seen:
            found.append(Fate(line, cells, "known", _("is in the books already")))
            continue
        seen.add(key)
        found.append(Fate(line, cells, "ok", _("will be stored"), installation, taken_at, reading))
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
    canonical(parameter, value, unit_key)
    return installation, taken_at, TypedReading(parameter.key, value, unit_key, confirmed=True)


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
    rows = units.QUANTITIES[parameter.quantity]
    if not typed:
        return rows[0].key
    for unit in rows:
        if typed.lower() in {unit.key.lower(), unit.label.lower()}:
            return unit.key
    known = ", ".join(unit.label for unit in rows)
    raise ValidationError(_("“%(unit)s” is no unit here; known: %(known)s."), params={"unit": typed, "known": known})


@transaction.atomic
def store(found: Iterable[Fate], *, actor: User | None) -> int:
    """Store the rows that are fit; the same file again stores nothing twice. Returns how many readings."""
    groups: dict[tuple[int, datetime], list[Fate]] = {}
    for fate in found:
        if fate.state == "ok" and fate.installation is not None and fate.taken_at is not None:
            groups.setdefault((fate.installation.pk, fate.taken_at), []).append(fate)
    stored = 0
    for (installation_id, taken_at), rows in groups.items():
        names = ",".join(sorted(row.reading.parameter for row in rows if row.reading))
        installation = rows[0].installation
        if installation is None:
            continue
        sampling_record(
            sampling_id=uuid5(NAMESPACE_URL, f"import:{installation_id}:{taken_at.isoformat()}:{names}"),
            installation=installation,
            taken_at=taken_at,
            actor=actor,
            source=Sampling.Source.IMPORT,
            readings=[row.reading for row in rows if row.reading],
        )
        stored += len(rows)
    return stored
