"""Distances in words."""

import pytest

from servicedesk.routes.times import distance_words


@pytest.mark.parametrize(
    ("metres", "words"),
    [(0, "0.0 km"), (-30, "0.0 km"), (740, "0.7 km"), (9_460, "9.5 km"), (9_980, "10 km"), (12_400, "12 km"),
     (-740, "−0.7 km")],
)  # fmt: skip
def test_short_ways_have_a_decimal_and_a_nought_has_no_sign(metres: float, words: str) -> None:
    assert distance_words(metres) == words
