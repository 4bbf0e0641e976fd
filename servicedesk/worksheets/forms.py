"""A worksheet's inputs as fields of a page, with what was typed, recalled or usual in them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from servicedesk.common.display import DisplayUnits
from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES, Unit
from servicedesk.science.units import canonical_unit
from servicedesk.science.worksheets import catalogue
from servicedesk.science.worksheets.declare import AnyInput, Choice, Input, Rows, Worksheet
from servicedesk.science.worksheets.telling import clock_text
from servicedesk.worksheets.recall import Recalled

UNIT = "__unit"
DIGITS = 5
EXACT = 9
LONG_M = 1.0
USUAL_DIGITS = 3  # of a usual value turned into another unit


@dataclass(frozen=True, slots=True)
class SheetField:
    """One input on the page: ``kind`` is number, clock, choice or rows."""

    item: AnyInput
    kind: str
    text: str
    unit: str = ""
    units: tuple[tuple[str, str, str, str], ...] = ()  # key, label, factor and offset for the browser
    options: tuple[tuple[str, str], ...] = ()
    whence: str = ""
    error: str = ""
    columns: str = ""

    @property
    def needs(self) -> bool:
        """Whether it must be typed and is empty."""
        item = self.item
        return not self.text and not (isinstance(item, Input | Rows) and item.optional) and not isinstance(item, Choice)


def typed_from(sheet: Worksheet, data: QueryDict) -> tuple[dict[str, str], dict[str, str]]:
    """(what was typed by key, unit by key) out of a submitted form; only what the form has."""
    typed = {item.key: data.get(item.key, "") for item in sheet.inputs if item.key in data}
    chosen = {
        item.key: data.get(item.key + UNIT, "")
        for item in sheet.inputs
        if isinstance(item, Input) and _is_unit(item.quantity, data.get(item.key + UNIT, ""))
    }
    return typed, chosen


def _is_unit(quantity: str, key: str) -> bool:
    return any(unit.key == key for unit in QUANTITIES[quantity])


def fields_of(
    sheet: Worksheet,
    display: DisplayUnits,
    *,
    typed: Mapping[str, str] | None = None,
    chosen: Mapping[str, str] | None = None,
    recalled: Mapping[str, Recalled] | None = None,
    errors: Mapping[str, str] | None = None,
) -> list[SheetField]:
    """The page's fields: what was typed wins, then what is recalled, then the usual value."""
    return [
        _field(
            item,
            (chosen or {}).get(item.key, "") or _unit_for(item, display),
            (typed or {}).get(item.key),
            (recalled or {}).get(item.key),
            (errors or {}).get(item.key, ""),
            display,
        )
        for item in sheet.inputs
    ]


def _unit_for(item: AnyInput, display: DisplayUnits) -> str:
    """The reader's unit; lengths of rooms and pipes in feet, of panels in inches."""
    if not isinstance(item, Input):
        return ""
    if item.quantity == "size" and display.system == "us":
        return "ft" if item.high > LONG_M else "in"
    return display.unit_for(item.quantity)


def again_query(name: str, record: Mapping[str, Any]) -> str:
    """The query that fills a sheet with what a kept record had typed; empty when the sheet is no more."""
    try:
        sheet = catalogue.worksheet(name)
    except KeyError:
        return ""
    query = QueryDict(mutable=True)
    kept = {row["key"]: row for row in record["inputs"]}
    for item in sheet.inputs:
        row = kept.get(item.key)
        if row is None or row["value"] is None:
            continue
        if isinstance(item, Input):
            query[item.key] = number_for_field(item.quantity, row["value"], canonical_unit(item.quantity).key, EXACT)
            query[item.key + UNIT] = canonical_unit(item.quantity).key
        elif isinstance(item, Rows):
            query[item.key] = "\n".join(_line(item, cells) for cells in row["value"])
        else:
            query[item.key] = str(row["value"])
    return query.urlencode()


def _line(item: Rows, cells: Sequence[Any]) -> str:
    """A kept row as it may be typed again, each number with its unit."""
    return " ".join(
        f"{number_for_field(column.quantity, cell, canonical_unit(column.quantity).key, EXACT)}"
        f"{'' if column.quantity == 'clock' else canonical_unit(column.quantity).label.replace(' ', '')}"
        if isinstance(column, Input)
        else str(cell)
        for column, cell in zip(item.columns, cells, strict=True)
        if cell is not None
    )


def _column(column: Input | Choice, display: DisplayUnits) -> str:
    """A column's name with the unit in which a bare number is read, or its options."""
    if isinstance(column, Choice):
        return f"{column.label} ({', '.join(key for key, _label in column.options)})"
    unit = display.unit_for(column.quantity)
    label = next((row.label for row in QUANTITIES[column.quantity] if row.key == unit), "")
    label = label or canonical_unit(column.quantity).label
    plain = column.label.split(" (")[0]
    return f"{plain} ({label})" if label and column.quantity != "clock" else plain


def _field(
    item: AnyInput, unit: str, typed: str | None, known: Recalled | None, error: str, display: DisplayUnits
) -> SheetField:
    whence = known.whence if known and typed is None else ""
    if isinstance(item, Choice):
        value = typed or (str(known.value) if known else item.default)
        return SheetField(item, "choice", value, options=item.options, whence=whence, error=error)
    if isinstance(item, Rows):
        columns = ", ".join(_column(column, display) for column in item.columns)
        return SheetField(item, "rows", item.default if typed is None else typed, error=error, columns=columns)
    key = unit or QUANTITIES[item.quantity][0].key
    if typed is not None:
        text = typed
    elif known is not None and isinstance(known.value, int | float):
        text = number_for_field(item.quantity, known.value, key)
    else:
        text = "" if item.default is None else number_for_field(item.quantity, item.default, key, USUAL_DIGITS)
    labels = tuple((each.key, each.label, _factor(each), f"{each.offset:g}") for each in QUANTITIES[item.quantity])
    kind = "clock" if item.quantity == "clock" else "number"
    return SheetField(item, kind, text, unit=key, units=labels, whence=whence, error=error)


def _factor(unit: Unit) -> str:
    """How the browser turns a number it filled in itself; empty where the turn is no straight line."""
    return "" if unit.key in units.SPECIFIC_GRAVITY_TEMPS_C else f"{unit.factor:.12g}"


def number_for_field(quantity: str, value: float, unit: str, digits: int = DIGITS) -> str:
    """A canonical value as somebody would type it in ``unit``."""
    if quantity == "clock":
        return clock_text(value)
    shown = units.from_canonical(quantity, value, unit)
    text = f"{shown:.{digits if shown != value else DIGITS}g}"
    return f"{float(text):f}".rstrip("0").rstrip(".") if "e" in text else text
