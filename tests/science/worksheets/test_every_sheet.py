"""What holds for every worksheet of the catalogue."""

import ast
import inspect
import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.sources import SOURCES
from servicedesk.science.worksheets import catalogue
from servicedesk.science.worksheets.declare import Choice, Input, Rows, Worksheet
from servicedesk.science.worksheets.record import declaration, record
from servicedesk.science.worksheets.run import answer, run
from servicedesk.science.worksheets.telling import canonical
from servicedesk.science.worksheets.typed import BadInput, parse, parse_input
from tests.science import published
from tests.science.worksheets.trying import assert_answers_or_refuses, tell_all
from tests.science.worksheets.typical import TYPICAL

SHEETS = catalogue.all_worksheets()
by_name = pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
SCIENCE = Path(inspect.getfile(catalogue)).parents[1]
TESTS = Path(__file__).parents[1]
DANGERS = {
    "limewater": "caustic",
    "reactor-": "CO₂",
    "chiller": "efrigerant",
    "electrical": "esidual-current",
    "weight": "tructural engineer",
    "exchanger": "licensed trade",
    "standby": "esidual-current",
    "co2-cylinder": "CO₂",
    "ph-over-the-day": "caustic",
}


def _columns(sheet: Worksheet) -> list[Input]:
    found = [item for item in sheet.inputs if isinstance(item, Input)]
    for item in sheet.inputs:
        if isinstance(item, Rows):
            found += [column for column in item.columns if isinstance(column, Input)]
    return found


@by_name
def test_names_are_plain_and_do_not_clash(sheet: Worksheet) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", sheet.name)
    names = Counter([item.name for item in sheet.inputs])
    assert not [name for name, count in names.items() if count > 1]
    assert len({output.key for output in sheet.outputs}) == len(sheet.outputs)


@by_name
def test_quantities_ranges_and_defaults_are_sound(sheet: Worksheet) -> None:
    for item in _columns(sheet):
        assert item.quantity in QUANTITIES
        assert item.low <= item.high
        assert item.default is None or item.low <= item.default <= item.high
    for choice in (item for item in sheet.inputs if isinstance(item, Choice)):
        assert choice.default in dict(choice.options)
    for output in sheet.outputs:
        assert not output.quantity or output.quantity in QUANTITIES


@by_name
def test_it_says_where_it_holds_and_whence(sheet: Worksheet) -> None:
    assert sheet.valid
    assert sheet.sources
    assert set(sheet.sources) <= set(SOURCES)
    assert any(output.main for output in sheet.outputs)


@by_name
def test_what_can_hurt_is_cautioned(sheet: Worksheet) -> None:
    for start, words in DANGERS.items():
        if sheet.name.startswith(start):
            assert any(words in caution for caution in sheet.cautions), f"{sheet.name} gives no caution of {words}"


def test_every_sheet_has_typical_values() -> None:
    assert set(TYPICAL) == {sheet.name for sheet in SHEETS}


@by_name
def test_typical_values_are_answered_with_an_instruction_and_its_sum(sheet: Worksheet) -> None:
    found = run(sheet, TYPICAL[sheet.name])
    tell_all(sheet, found)
    assert found.steps


@by_name
def test_every_end_of_every_range_is_answered_or_refused_in_words(sheet: Worksheet) -> None:
    assert_answers_or_refuses(sheet, TYPICAL[sheet.name])


@by_name
def test_its_declaration_is_plain_data(sheet: Worksheet) -> None:
    assert json.loads(json.dumps(declaration(sheet)))["worksheet"] == sheet.name


@by_name
@pytest.mark.parametrize("typed", ["nan", "inf", "-1e12", "1e12", "5 furlongs", "many", "< 3", "1.2.3"])
def test_what_cannot_be_is_refused_beside_each_input(sheet: Worksheet, typed: str) -> None:
    numbers = [item for item in sheet.inputs if isinstance(item, Input)]
    with pytest.raises(BadInput) as refused:
        parse(sheet, {item.key: typed for item in numbers})
    assert {item.key for item in numbers} <= set(refused.value.errors)


@by_name
def test_every_unit_shown_may_be_typed(sheet: Worksheet) -> None:
    from servicedesk.science.worksheets.typed import find_unit

    for item in _columns(sheet):
        for unit in QUANTITIES[item.quantity]:
            if unit.label:
                assert find_unit(item.quantity, unit.label) == unit
            assert find_unit(item.quantity, unit.key) == unit


def _public_functions() -> list[str]:
    found = []
    for room in ("water", "plant", "instruments"):
        for path in sorted((SCIENCE / room).glob("*.py")):
            functions = [node for node in ast.parse(path.read_text()).body if isinstance(node, ast.FunctionDef)]
            found += [f"{room}.{path.stem}.{node.name}" for node in functions if not node.name.startswith("_")]
    return found


def _used_in(path: Path) -> set[str]:
    """Names called or handed on as values in a test."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    return {node.id for node in nodes if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load)} | {
        node.attr for node in nodes if isinstance(node, ast.Attribute)
    }


def test_every_public_function_of_the_science_is_called_in_a_check() -> None:
    called = {name for path in TESTS.rglob("test_*.py") for name in _used_in(path)}
    missing = [name for name in _public_functions() if name.rpartition(".")[2] not in called]
    assert not missing


def test_every_published_value_is_used() -> None:
    text = "\n".join(path.read_text() for path in TESTS.rglob("test_*.py"))
    assert not [entry for entry in published.published_values() if f'"{entry}"' not in text]


@st.composite
def typed_values(draw: st.DrawFn) -> tuple[Worksheet, dict[str, Any]]:
    """A sheet with any values inside its ranges, many at once."""
    sheet = draw(st.sampled_from(SHEETS))
    values: dict[str, Any] = {}
    for item in sheet.inputs:
        if isinstance(item, Input):
            inside = st.sampled_from([item.low, item.high]) | st.floats(item.low, item.high)
            usual = st.just(item.default) if item.default is not None else inside
            values[item.key] = draw((st.none() | inside) if item.optional else (usual | inside))
        elif isinstance(item, Choice):
            values[item.key] = draw(st.sampled_from([key for key, _ in item.options]))
        else:
            values[item.key] = parse_input(item, "") if item.default or item.optional else None
    assume(None not in [values[item.key] for item in sheet.inputs if isinstance(item, Rows)])
    return sheet, values


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(typed_values())
def test_any_values_together_give_an_answer_or_a_refusal_in_words(case: tuple[Worksheet, dict[str, Any]]) -> None:
    sheet, values = case
    try:
        told = record(sheet, values, answer(sheet, values), canonical)
    except BadInput as refused:
        _check_words(sheet, refused)
        return
    json.dumps(told, allow_nan=False)


def _check_words(sheet: Worksheet, refused: BadInput) -> None:
    """A refusal names things as people do, beside an input of the sheet or above them all."""
    for key, words in refused.errors.items():
        assert key in {"", *(item.key for item in sheet.inputs)}
        assert not re.search(r"[a-z]_[a-z]|\de\+\d", words), words


def test_a_long_blank_is_refused_at_once() -> None:
    with pytest.raises(BadInput, match="not a number"):
        parse(catalogue.worksheet("ph-scale"), {"ph": " " * 20_000 + "x"})
