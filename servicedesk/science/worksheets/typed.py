"""Reads what people type into a worksheet: numbers with units, clock times, choices and rows."""

import re
from collections.abc import Mapping
from math import isfinite
from typing import Any

from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES, Unit
from servicedesk.science.units import MOST_TYPED
from servicedesk.science.worksheets.declare import AnyInput, Choice, Input, Rows, Worksheet
from servicedesk.science.worksheets.telling import UnitOf, amount_text, canonical

_NUMBER = re.compile(r"(?P<number>[<‹]? ?[-+−]?(?:[.,]?\d)(?:[.,\u00a0\u202f ]?\d)*(?:[eE][-+]?\d+)?[.,]?)(?P<unit>.*)")
MOST_UNIT = 30  # characters of a unit
_THOUSAND = re.compile(r"\d{1,3},\d{3}(?!\d).*")
_CLOCK = re.compile(r"^(?P<hour>\d{1,2})[:h.](?P<minute>\d{2})$")


class BadInput(ValueError):
    """What was typed cannot be used; ``errors`` maps an input's key to words, "" for the whole sheet."""

    def __init__(self, errors: Mapping[str, str]) -> None:
        super().__init__("; ".join(f"{key}: {words}" if key else words for key, words in errors.items()))
        self.errors = dict(errors)


def parse(
    sheet: Worksheet,
    typed: Mapping[str, str],
    units_of: Mapping[str, str] | None = None,
    row_unit: UnitOf = canonical,
) -> dict[str, Any]:
    """Canonical values by input key. ``typed`` by key or short name.

    ``units_of`` gives the unit of a bare number by input key, ``row_unit`` that of a bare number in rows by quantity.
    Raises BadInput naming every input that is wrong, unknown or missing.
    """
    given: dict[str, str] = {}
    errors: dict[str, str] = {}
    for name, text in typed.items():
        try:
            item = sheet.input(name)
        except KeyError:
            errors[name] = f"{sheet.name} has no such input; it takes {', '.join(i.name for i in sheet.inputs)}."
            continue
        if item.key in given:
            errors[name] = "Given twice."
        given[item.key] = text
    values: dict[str, Any] = {}
    for item in sheet.inputs:
        try:
            text = given.get(item.key, "")
            if isinstance(item, Rows):
                values[item.key] = _rows(item, text, row_unit)
            else:
                values[item.key] = parse_input(item, text, (units_of or {}).get(item.key, ""))
        except ValueError as error:
            errors.setdefault(item.key, str(error))
    if errors:
        raise BadInput(errors)
    return values


def parse_input(item: AnyInput, text: str, unit: str = "") -> Any:
    """The canonical value of one input; its default when nothing is typed. Raises ValueError in words."""
    if isinstance(item, Choice):
        return _choice(item, text)
    if isinstance(item, Rows):
        return _rows(item, text, canonical)
    if not text.strip():
        if item.default is None and not item.optional:
            raise ValueError(f"Type the {_uncapital(item.label)}.")
        return item.default
    value = parse_quantity(item.quantity, text, unit)
    if not item.low <= value <= item.high and _THOUSAND.fullmatch(text.strip()):
        value = parse_quantity(item.quantity, text.replace(",", "."), unit)  # "1,026" where only 1.026 can be
    _check_range(item, value, unit)
    return value


def parse_quantity(quantity: str, text: str, unit: str = "") -> float:
    """A number with or without a unit, in canonical units. Raises ValueError in words."""
    if quantity == "clock":
        return _clock(text)
    found = _NUMBER.fullmatch(text.strip()) if len(text) <= MOST_TYPED + MOST_UNIT else None
    if found is None:
        raise ValueError(f"“{text.strip()[:MOST_TYPED]}” is not a number.")
    number = units.parse_number(found["number"])
    if number.below:
        raise ValueError("Type a number without <.")
    written = found["unit"].strip()
    key = find_unit(quantity, written).key if written else unit or QUANTITIES[quantity][0].key
    value = units.to_canonical(quantity, number.value, key)
    if not isfinite(value):
        raise ValueError(f"“{text.strip()}” is not a finite number.")
    return value


def find_unit(quantity: str, text: str) -> Unit:
    """The unit somebody wrote; raises ValueError naming what may be typed."""
    wanted = _plain(text)
    daily = f"{wanted}day"  # "0.3 dKH" where a rate a day is asked
    for unit in QUANTITIES[quantity]:
        if wanted in (_plain(unit.key), _plain(unit.label)) or wanted in unit.aliases:
            return unit
        if daily == _plain(unit.key):
            return unit
    begun = [unit for unit in QUANTITIES[quantity] if wanted and _plain(unit.label).startswith(wanted)]
    if len(begun) == 1:  # "ppm" where only ppm CaCO₃ can be meant
        return begun[0]
    raise ValueError(f"“{text}” is no unit here; type {_known(quantity)}.")


def _plain(text: str) -> str:
    plain = text.lower().replace("³", "3").replace("²", "2").replace("µ", "u").replace("μ", "u").replace("₃", "3")
    return re.sub(r"[\s°_./·]", "", plain)


def _known(quantity: str) -> str:
    return " or ".join(unit.label or unit.key for unit in QUANTITIES[quantity])


def _clock(text: str) -> float:
    found = _CLOCK.match(text.strip())
    if found:
        hour, minute = int(found["hour"]), int(found["minute"])
        if hour < 24 and minute < 60:
            return hour + minute / 60
    elif re.fullmatch(r"\d{1,2}", text.strip()) and int(text) < 24:
        return float(text)
    raise ValueError(f"“{text.strip()}” is not a time of day such as 07:30.")


def _check_range(item: Input, value: float, unit: str) -> None:
    if not item.low <= value <= item.high:
        low, high = (amount_text(item.quantity, limit, unit) for limit in (item.low, item.high))
        raise ValueError(
            f"{item.label}: {amount_text(item.quantity, value, unit)} is outside {low} to {high}."
            f"{_likely(item, value, unit)}"
        )


def _likely(item: Input, value: float, unit: str) -> str:
    """A slip of a decimal place or of the unit that would fit what is usual, as a question."""
    low, high = item.usual or (item.low, item.high)
    if item.usual:
        for factor in (0.1, 10.0, 0.01, 100.0):
            if low <= value * factor <= high:
                return f" Did you mean {amount_text(item.quantity, value * factor, unit)}?"
    typed_in = unit or QUANTITIES[item.quantity][0].key
    number = units.from_canonical(item.quantity, value, typed_in)
    for other in QUANTITIES[item.quantity]:
        try:
            meant = units.to_canonical(item.quantity, number, other.key)
        except ValueError:
            continue
        if other.key != typed_in and low <= meant <= high:
            return f" Did you mean {other.label}?"
    return ""


def _choice(item: Choice, text: str) -> str:
    wanted = text.strip()
    if not wanted:
        return item.default
    for key, label in item.options:
        if wanted.lower() in (key.lower(), label.lower()):
            return key
    raise ValueError(f"“{wanted}” is not one of {', '.join(key for key, _ in item.options)}.")


def _rows(item: Rows, text: str, row_unit: UnitOf) -> tuple[tuple[Any, ...], ...]:
    lines = [line.strip() for line in re.split(r"[;\n]", text.strip() or item.default) if line.strip()]
    if not item.least <= len(lines) <= item.most:
        raise ValueError(f"{item.label}: type {item.least} to {item.most} lines, not {len(lines)}.")
    return tuple(_row(item, number, line, row_unit) for number, line in enumerate(lines, 1))


def _row(item: Rows, number: int, line: str, row_unit: UnitOf) -> tuple[Any, ...]:
    cells = _cells(item, line)
    needed = sum(1 for column in item.columns if isinstance(column, Input) and not column.optional)
    if not needed <= len(cells) <= len(item.columns):
        heads = ", ".join(column.label for column in item.columns)
        raise ValueError(f"Line {number}, “{line}”: type {heads}, split by spaces.")
    try:
        padded = [*cells, *[""] * (len(item.columns) - len(cells))]
        return tuple(
            parse_input(column, cell, row_unit(column.quantity) if isinstance(column, Input) else "")
            for column, cell in zip(item.columns, padded, strict=True)
        )
    except ValueError as error:
        raise ValueError(f"Line {number}, “{line}”: {error}") from error


def _cells(item: Rows, line: str) -> list[str]:
    """The cells of a line; a unit after a space belongs to the number before it."""
    cells: list[str] = []
    for word in line.split():
        before = item.columns[len(cells) - 1] if 0 < len(cells) <= len(item.columns) else None
        if isinstance(before, Input) and not word[0].isdigit() and _is_unit(before.quantity, word):
            cells[-1] += word
        else:
            cells.append(word)
    return cells


def _is_unit(quantity: str, word: str) -> bool:
    try:
        find_unit(quantity, word)
    except ValueError:
        return False
    return True


def _uncapital(text: str) -> str:
    return text if text[:2].isupper() else text[:1].lower() + text[1:]
