"""Runs a worksheet on canonical values or on typed text."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite
from typing import Any

from servicedesk.science.guard import ScienceError
from servicedesk.science.worksheets.declare import Amount, Answer, Input, Worksheet, say
from servicedesk.science.worksheets.typed import BadInput, parse


def run(sheet: Worksheet, typed: Mapping[str, str], units_of: Mapping[str, str] | None = None) -> Answer:
    """The answer to what was typed. Raises BadInput in words."""
    return answer(sheet, parse(sheet, typed, units_of))


def answer(sheet: Worksheet, values: Mapping[str, Any]) -> Answer:
    """The answer to canonical values. Raises BadInput when the calculation refuses them."""
    try:
        found = sheet.compute(**values)
    except ScienceError as error:
        key = error.field if any(item.key == error.field for item in sheet.inputs) else ""
        raise BadInput({key: str(error)}) from error
    except (OverflowError, ZeroDivisionError) as error:
        raise BadInput({"": "These values together give no finite answer; check them and their units."}) from error
    _check(sheet, found)
    return replace(found, flags=(*_unusual(sheet, values), *found.flags))


def _check(sheet: Worksheet, found: Answer) -> None:
    declared = {output.key for output in sheet.outputs}
    if set(found.values) != declared:
        raise AssertionError(f"{sheet.name} declares {sorted(declared)}, answers {sorted(found.values)}.")
    for key, value in found.values.items():
        if isinstance(value, float) and not isfinite(value):
            raise BadInput({"": f"These values give no finite {key}; check the inputs."})


def _unusual(sheet: Worksheet, values: Mapping[str, Any]) -> list[Any]:
    flags = []
    for item in sheet.inputs:
        value = values.get(item.key)
        if isinstance(item, Input) and item.usual and value is not None and not item.usual[0] <= value <= item.usual[1]:
            low, high = (Amount(item.quantity, limit) for limit in item.usual)
            flags.append(
                say(
                    "{label} {value} is unusual: common practice is {low} to {high}. Check unit and value.",
                    label=item.label,
                    value=Amount(item.quantity, value),
                    low=low,
                    high=high,
                )
            )
    return flags
