"""Refusals speak of values by their human names, in the reader's units."""

from collections.abc import Callable

import pytest

from servicedesk.science import guard
from servicedesk.science.words import Amount, say
from servicedesk.science.worksheets.telling import sentence

REFUSALS: list[Callable[[], float]] = [
    lambda: guard.finite("flow", float("nan")),
    lambda: guard.within("flow", -1, 0, 5, "flow"),
    lambda: guard.positive("flow", 0),
    lambda: guard.not_negative("flow", -1),
    lambda: guard.share("flow", 2),
]


@pytest.mark.parametrize("refuse", REFUSALS)
def test_every_refusal_says_the_name(refuse: Callable[[], float]) -> None:
    with pytest.raises(guard.ScienceError, match=r"^The flow ") as refused:
        refuse()
    assert refused.value.field == "flow"


def test_a_range_is_told_in_the_readers_units() -> None:
    with pytest.raises(guard.OutOfRange, match=r"^The room 50.0 °C is outside 0.0 °C to 40.0 °C.$") as refused:
        guard.within("room", 50, 0, 40, "temperature")
    told = sentence(refused.value.words, lambda _quantity: "degF")
    assert told == "The room 122.0 °F is outside 32.0 °F to 104.0 °F."


def test_amounts_in_a_refusal_are_told() -> None:
    error = guard.ScienceError(say("{water} is too much.", water=Amount("volume", 20)))
    assert str(error) == "20 L is too much."


def test_braces_in_plain_words_stay() -> None:
    assert str(guard.ScienceError("No {such} thing.")) == "No {such} thing."


def test_a_bare_number_is_written_out() -> None:
    with pytest.raises(guard.OutOfRange, match=r"200000000 is outside 0\.000001 to 100000000\."):
        guard.within("number", 2e8, 1e-6, 1e8)
