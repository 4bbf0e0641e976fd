"""A worked worksheet as plain data: what page, print, command line and archive show."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.sources import cite
from servicedesk.science.words import Amount
from servicedesk.science.worksheets.declare import (
    Answer,
    AnyInput,
    BarChart,
    Choice,
    Input,
    LineChart,
    Listing,
    Output,
    Rows,
    Step,
    Worksheet,
)
from servicedesk.science.worksheets.telling import (
    UnitOf,
    amount_text,
    formula_text,
    sentence,
    sum_text,
    term_text,
)

FORMAT = 1  # of the record; a kept one is read as it was written


def record(sheet: Worksheet, values: Mapping[str, Any], answer: Answer, unit_of: UnitOf) -> dict[str, Any]:
    """Everything a worked sheet says, JSON-ready: canonical values beside what is shown in the reader's units."""
    cited = {key: cite(key) for key in (*sheet.sources, *(line.source for line in answer.steps))}
    return {
        "format": FORMAT,
        "worksheet": sheet.name,
        "title": sheet.title,
        "inputs": [_input(item, values[item.key], unit_of) for item in sheet.inputs],
        "outputs": [_output(item, answer.values[item.key], unit_of) for item in sheet.outputs],
        "instruction": [sentence(words, unit_of) for words in answer.do],
        "flags": [sentence(words, unit_of) for words in answer.flags],
        "steps": [_step(line) for line in answer.steps],
        "listings": [_listing(listing, unit_of) for listing in answer.listings],
        "charts": [_chart(chart, unit_of) for chart in answer.charts],
        "cautions": [*sheet.cautions, *answer.cautions],
        "sources": cited,
        "valid": sheet.valid,
    }


def declaration(sheet: Worksheet) -> dict[str, Any]:
    """The sheet itself as plain data: inputs with units, ranges and defaults, outputs, sources, cautions."""
    return {
        "worksheet": sheet.name,
        "title": sheet.title,
        "subject": sheet.subject,
        "purpose": sheet.purpose,
        "inputs": [_declared(item) for item in sheet.inputs],
        "outputs": [
            {"key": item.key, "label": item.label, "quantity": item.quantity, "unit": unit_label(item.quantity)}
            for item in sheet.outputs
        ],
        "cautions": list(sheet.cautions),
        "sources": {key: cite(key) for key in sheet.sources},
        "valid": sheet.valid,
    }


def unit_label(quantity: str) -> str:
    """Label of the canonical unit; empty for words."""
    return QUANTITIES[quantity][0].label if quantity else ""


def column_label(column: Input | Choice) -> str:
    """A column's label with the unit of its bare numbers, "flow (L/h)"."""
    unit = unit_label(column.quantity) if isinstance(column, Input) and column.quantity != "clock" else ""
    return f"{column.label} ({unit})" if unit and unit not in column.label else column.label


def value_text(item: AnyInput, value: Any, unit_of: UnitOf) -> str:
    """An input's value as a person reads it; "–" when it was left empty."""
    if value is None:
        return "–"
    if isinstance(item, Input):
        return amount_text(item.quantity, value, unit_of(item.quantity))
    if isinstance(item, Choice):
        return dict(item.options)[value]
    return "; ".join(
        " ".join(_cell(column, cell) for column, cell in zip(item.columns, row, strict=True)) for row in value
    )


def _cell(column: Input | Choice, cell: Any) -> str:
    return value_text(column, cell, lambda _quantity: "")


def _input(item: AnyInput, value: Any, unit_of: UnitOf) -> dict[str, Any]:
    return {"key": item.key, "label": item.label, "value": value, "shown": value_text(item, value, unit_of)}


def _output(item: Output, value: float | str | Amount | None, unit_of: UnitOf) -> dict[str, Any]:
    quantity = value.quantity if isinstance(value, Amount) else item.quantity
    plain = value.value if isinstance(value, Amount) else value
    if plain is None:
        shown = "–"
    elif isinstance(plain, str):
        shown = plain
    else:
        shown = amount_text(quantity, plain, unit_of(quantity)) if quantity else str(plain)
    return {
        "key": item.key,
        "label": item.label,
        "value": plain,
        "unit": unit_label(quantity),
        "shown": shown,
        "main": item.main,
    }


def _step(line: Step) -> dict[str, str]:
    return {
        "label": line.label,
        "formula": formula_text(line),
        "sum": sum_text(line),
        "result": amount_text(line.result.quantity, line.result.value),
        "source": line.source,
    }


def _listing(listing: Listing, unit_of: UnitOf) -> dict[str, Any]:
    return {
        "title": listing.title,
        "heads": list(listing.heads),
        "rows": [[term_text(term, unit_of) for term in row] for row in listing.rows],
    }


def _chart(chart: LineChart | BarChart, unit_of: UnitOf) -> dict[str, Any]:
    """The chart's canonical numbers and the units in which it was told."""
    names = (chart.quantity,) if isinstance(chart, BarChart) else (chart.x_quantity, chart.y_quantity)
    told_in = {quantity: unit_of(quantity) for quantity in names}
    plain = {"kind": "bars" if isinstance(chart, BarChart) else "lines", "units": told_in, **asdict(chart)}
    for curve in plain.get("curves", ()):
        curve["x"], curve["y"] = list(map(float, curve["x"])), list(map(float, curve["y"]))
    return plain


def _declared(item: AnyInput) -> dict[str, Any]:
    common = {"key": item.key, "name": item.name, "label": item.label, "help": item.help, "default": item.default}
    if isinstance(item, Choice):
        return {**common, "options": dict(item.options)}
    if isinstance(item, Rows):
        columns = [{**_declared(column), "label": column_label(column)} for column in item.columns]
        return {**common, "rows": columns, "least": item.least, "most": item.most}
    return {
        **common,
        "quantity": item.quantity,
        "unit": unit_label(item.quantity),
        "units": [unit.label or unit.key for unit in QUANTITIES[item.quantity]],
        "low": item.low,
        "high": item.high,
        "required": item.default is None and not item.optional,
    }
