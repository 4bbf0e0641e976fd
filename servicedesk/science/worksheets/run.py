"""Runs a worksheet on canonical values or on typed text."""

from collections.abc import Mapping
from dataclasses import replace
from math import isclose, isfinite
from typing import Any

from servicedesk.science.guard import ScienceError
from servicedesk.science.words import Amount, say
from servicedesk.science.worksheets.declare import Answer, Input, Worksheet
from servicedesk.science.worksheets.telling import UnitOf, canonical, sentence
from servicedesk.science.worksheets.typed import BadInput, parse


def run(sheet: Worksheet, typed: Mapping[str, str], units_of: Mapping[str, str] | None = None) -> Answer:
    """The answer to what was typed. Raises BadInput in words."""
    return answer(sheet, parse(sheet, typed, units_of))


def answer(sheet: Worksheet, values: Mapping[str, Any], unit_of: UnitOf = canonical) -> Answer:
    """The answer to canonical values. Raises BadInput, in the reader's units, when the calculation refuses them."""
    try:
        found = sheet.compute(**values)
    except ScienceError as error:
        raise BadInput({_blamed(sheet, values, error): sentence(error.words, unit_of)}) from error
    except (OverflowError, ZeroDivisionError) as error:
        raise BadInput({"": "These values together give no finite answer; check them and their units."}) from error
    _check(sheet, found)
    return replace(found, flags=(*_unusual(sheet, values), *found.flags))


def _blamed(sheet: Worksheet, values: Mapping[str, Any], error: ScienceError) -> str:
    """The key of the input to blame: named by key or label, or the only one typed of the refused value."""
    for item in sheet.inputs:
        if error.field and error.field in (item.key, item.name.replace("_", " "), item.label.lower()):
            return item.key
    typed = {item.key: values[item.key] for item in sheet.inputs if isinstance(item, Input)}
    same = [key for key, value in typed.items() if value is not None and _is_same(key, value, error.value)]
    return same[0] if len(same) == 1 else ""


def _is_same(key: str, typed: float, refused: float | None) -> bool:
    return refused is not None and (typed == refused or (key.endswith("_pct") and isclose(typed / 100, refused)))


def _check(sheet: Worksheet, found: Answer) -> None:
    declared = {output.key: output.label for output in sheet.outputs}
    if set(found.values) != set(declared):
        raise AssertionError(f"{sheet.name} declares {sorted(declared)}, answers {sorted(found.values)}.")
    for key, value in found.values.items():
        if isinstance(value, float) and not isfinite(value):
            raise BadInput({"": f"These values give no finite answer for “{declared[key]}”; check the inputs."})


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
