"""Tries a worksheet as people do: at the ends of every range, in words, in US and metric units."""

from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from servicedesk.science.sources import SOURCES
from servicedesk.science.worksheets import run, telling
from servicedesk.science.worksheets.declare import Answer, Choice, LineChart, Rows, Worksheet
from servicedesk.science.worksheets.typed import BadInput, parse


def sentences(answer: Answer) -> str:
    """The instruction, the warnings and the cautions as one text."""
    return " ".join([*(telling.sentence(line) for line in (*answer.do, *answer.flags)), *answer.cautions])


def number(answer: Answer, key: str) -> float:
    """A value that must be a number."""
    value = answer.values[key]
    assert isinstance(value, int | float)
    return float(value)


def tell_all(sheet: Worksheet, answer: Answer) -> None:
    """Every line of the answer can be told, and every source is known."""
    assert answer.do, "an answer without an instruction"
    sentences(answer)
    for line in answer.steps:
        telling.formula_text(line)
        telling.sum_text(line)
        told = telling.amount_text(line.result.quantity, line.result.value)
        assert not {"nan", "None"} & set(told.split())
        assert line.source in SOURCES
    for listing in answer.listings:
        assert all(len(row) == len(listing.heads) for row in listing.rows)
        for row in listing.rows:
            assert all(telling.term_text(term, telling.canonical) for term in row)
    for chart in answer.charts:
        assert not isinstance(chart, LineChart) or all(len(curve.x) == len(curve.y) for curve in chart.curves)
    for output in sheet.outputs:
        value = answer.values[output.key]
        if output.quantity and value is not None:
            assert isinstance(value, int | float)
            telling.amount_text(output.quantity, value)
    assert set(sheet.sources) <= set(SOURCES)


def ends(sheet: Worksheet, typical: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """The typical values, and each input in turn at its low and high end, left out, or at each option."""
    values = parse(sheet, typical)
    yield values
    for item in sheet.inputs:
        if isinstance(item, Choice):
            found: list[Any] = [key for key, _ in item.options]
        elif isinstance(item, Rows):
            found = [()] if item.least == 0 else []
        else:
            found = [item.low, item.high, *([None] if item.optional else [])]
        for value in found:
            yield {**values, item.key: value}


def assert_answers_or_refuses(sheet: Worksheet, typical: Mapping[str, str]) -> None:
    """At every end of every range there is an answer that can be told, or a refusal in words; most are answers."""
    answered = refused = 0
    for values in ends(sheet, typical):
        try:
            tell_all(sheet, run.answer(sheet, values))
            answered += 1
        except BadInput:
            refused += 1
    assert answered > refused


def assert_same_in_us_units(sheet: Worksheet, metric: Mapping[str, str], us: Mapping[str, str]) -> None:
    """The same thing typed in US units gives the same answer."""
    one, other = run.run(sheet, metric), run.run(sheet, us)
    for key, value in one.values.items():
        if isinstance(value, float):
            assert other.values[key] == pytest.approx(value, rel=2e-3), key
        else:
            assert other.values[key] == value, key
