"""Refusals speak of quantities, not of arguments."""

from collections.abc import Callable

import pytest

from servicedesk.science import guard


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("volume_l", "volume"),
        ("alkalinity_meq_l", "alkalinity"),
        ("feed_temp_c", "feed temp"),
        ("per_day", "per day"),
        ("air speed", "air speed"),
        ("N:P", "N:P"),
    ],
)
def test_an_argument_is_said_without_its_unit(name: str, words: str) -> None:
    assert guard.said(name) == words
    with pytest.raises(guard.OutOfRange, match=f"^The {words} must be more than nothing, not -1") as refused:
        guard.positive(name, -1)
    assert refused.value.field == name


REFUSALS: list[Callable[[], float]] = [
    lambda: guard.finite("flow_l_h", float("nan")),
    lambda: guard.within("flow_l_h", -1, 0, 5, "L/h"),
    lambda: guard.not_negative("flow_l_h", -1),
    lambda: guard.share("flow_l_h", 2),
]


@pytest.mark.parametrize("refuse", REFUSALS)
def test_every_refusal_says_the_quantity(refuse: Callable[[], float]) -> None:
    with pytest.raises(guard.ScienceError, match="The flow ") as refused:
        refuse()
    assert refused.value.field == "flow_l_h"
