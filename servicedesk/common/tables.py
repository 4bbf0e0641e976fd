"""Tables people bring: CSV or XLSX rows by header name, and the fate of each row before anything is stored."""

import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, BinaryIO

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

MAX_ROWS = 20_000
SHOWN_ROWS = 500


@dataclass(frozen=True, slots=True)
class Fate:
    """What becomes of a row: ``ok``, ``known`` (stored before) or ``wrong`` with the reason.

    ``payload`` is what the importer stores of a fit row.
    """

    line: int
    cells: tuple[str, ...]
    state: str
    words: str
    payload: Any = None


@dataclass(frozen=True, slots=True)
class Tried:
    """A dry run as a page shows it: how many rows of each fate, and the rows, those in trouble first."""

    ok: int
    known: int
    wrong: int
    rows: list[Fate]


def tried(fates: Sequence[Fate]) -> Tried:
    counts = {state: sum(row.state == state for row in fates) for state in ("ok", "known", "wrong")}
    return Tried(**counts, rows=sorted(fates, key=lambda row: row.state != "wrong")[:SHOWN_ROWS])


def wrong(line: int, cells: tuple[str, ...], words: str) -> Fate:
    return Fate(line, cells, "wrong", words)


def known(line: int, cells: tuple[str, ...]) -> Fate:
    return Fate(line, cells, "known", _("is in the books already"))


def fit(line: int, cells: tuple[str, ...], payload: Any) -> Fate:
    return Fate(line, cells, "ok", _("will be stored"), payload)


class UnreadableTable(ValueError):
    """The file is no table we can read; the message says what is wrong."""


def read_table(name: str, file: BinaryIO, required: Sequence[str]) -> list[dict[str, str]]:
    """The rows of a CSV or XLSX file by header name; UnreadableTable says what is wrong with the file."""
    rows = _xlsx_rows(file) if name.lower().endswith(".xlsx") else _csv_rows(file)
    table = list(rows)
    if not table:
        raise UnreadableTable(_("The file is empty."))
    header = [cell.strip().lower() for cell in table[0]]
    missing = [column for column in required if column not in header]
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
    try:
        yield from csv.reader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")
    except csv.Error as error:
        raise UnreadableTable(_("The file is no table: a cell is too long or a quote is never closed.")) from error


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


def given(row: dict[str, str], names: Iterable[str]) -> dict[str, Any]:
    """The cells that hold something; an empty cell leaves the default."""
    return {name: row[name].strip() for name in names if row.get(name, "").strip()}


def problems(error: ValidationError) -> str:
    """What a model's own checks said, each with its column."""
    if not hasattr(error, "error_dict"):
        return " ".join(error.messages)
    return " ".join(f"{name}: {' '.join(texts)}" for name, texts in error.message_dict.items())
