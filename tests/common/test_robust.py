"""The robust mean against its definition."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import fsolve

from servicedesk.common.robust import robust_mean

MINUTES = st.lists(st.integers(20, 240).map(float), min_size=4, max_size=12)


@pytest.mark.source("ISO 13528:2015, annex C.3 (algorithm A): fixed point of its two equations; constants from memory")
def test_mean_and_spread_are_the_fixed_point_that_the_standard_defines() -> None:
    values = [62.0, 58.0, 61.0, 66.0, 59.0, 64.0, 180.0]

    def off(at: list[float]) -> list[float]:
        mean, spread = at
        pulled = [min(max(value, mean - 1.5 * spread), mean + 1.5 * spread) for value in values]
        middle = sum(pulled) / len(pulled)
        deviation = (sum((value - middle) ** 2 for value in pulled) / (len(pulled) - 1)) ** 0.5
        return [middle - mean, 1.134 * deviation - spread]

    mean, spread = fsolve(off, [62.0, 4.0])
    found = robust_mean(values)
    assert found.mean == pytest.approx(mean, abs=1e-3)
    assert found.spread == pytest.approx(spread, abs=1e-3)


@pytest.mark.source("common practice: without odd values a robust mean is the mean")
def test_even_values_have_their_plain_mean() -> None:
    assert robust_mean([58, 59, 60, 61, 62]).mean == pytest.approx(60)


def test_one_forgotten_tablet_moves_it_by_less_than_two_spreads() -> None:
    usual = [62.0, 58.0, 61.0, 66.0, 59.0, 64.0]
    plain, odd = robust_mean(usual), robust_mean([*usual, 900.0])
    assert abs(odd.mean - plain.mean) < 2 * plain.spread


@given(MINUTES, st.floats(1, 50))
def test_later_clock_and_other_unit_move_it_alike(values: list[float], by: float) -> None:
    plain = robust_mean(values)
    moved = robust_mean([value + by for value in values])
    scaled = robust_mean([value * 60 for value in values])
    assert moved.mean == pytest.approx(plain.mean + by, abs=0.01)
    assert scaled.mean == pytest.approx(plain.mean * 60, rel=1e-4)


@given(MINUTES)
def test_it_lies_among_the_values_and_their_order_does_not_matter(values: list[float]) -> None:
    found = robust_mean(values)
    assert min(values) <= found.mean <= max(values)
    assert robust_mean(sorted(values)).mean == pytest.approx(found.mean)


def test_nothing_has_no_mean() -> None:
    with pytest.raises(ValueError, match="at least one"):
        robust_mean([])
