from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.instruments import measured
from servicedesk.science.instruments.measured import Measured

POSITIVE = st.floats(1e-3, 1e3)


@pytest.mark.source("JCGM 100:2008 (GUM) 4.3.7: a rectangular distribution of full width 2a has variance a²/3")
def test_rounding_is_a_rectangular_error() -> None:
    assert measured.rounding_sd(0.2) ** 2 == pytest.approx(0.1**2 / 3)


@pytest.mark.source("JCGM 100:2008 (GUM) 5.1.2: law of propagation of uncertainty, product and sum")
@given(x=POSITIVE, y=POSITIVE)
def test_errors_carry_through_products_and_sums(x: float, y: float) -> None:
    product = measured.propagate(lambda a, b: a * b, ((x, 0.01 * x), (y, 0.02 * y)))
    assert product.value == pytest.approx(x * y)
    assert product.sd / product.value == pytest.approx(sqrt(0.01**2 + 0.02**2), rel=1e-6)
    total = measured.propagate(lambda a, b: a + b, ((x, 3.0), (y, 4.0)), 12.0)
    assert total.sd == pytest.approx(13.0)


@pytest.mark.source("JCGM 100:2008 (GUM) 4.2.3: experimental standard deviation of the mean")
def test_mean_of_repeats() -> None:
    assert measured.mean([8.0, 8.0, 8.0, 8.0], sd=0.2) == Measured(8.0, 0.1)
    spread = measured.mean([1.0, 3.0], sd=0.0)
    assert spread.sd == pytest.approx(1.0)  # s = √2, over √2


@pytest.mark.source("JCGM 100:2008 (GUM) 4.3.7: a value anywhere between two limits")
def test_below_detection_is_a_bound() -> None:
    found = measured.below(0.03)
    assert found.below
    assert found.value == 0.03
    assert found.sd == pytest.approx(0.03 / sqrt(12))


@pytest.mark.source("JCGM 100:2008 (GUM) 5.1.2: independent errors add in squares")
def test_combined() -> None:
    assert measured.combined_sd(3, 4) == 5


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_refuses_impossible_errors(bad: float) -> None:
    for call in (measured.rounding_sd, measured.combined_sd, measured.below):
        with pytest.raises(ScienceError):
            call(bad)
    with pytest.raises(ScienceError):
        measured.mean([], 0.1)


@pytest.mark.source("JCGM 100:2008 (GUM) 5.1.3: the slope is the same from one side where the other is out of range")
def test_errors_at_the_edge_of_a_range() -> None:
    def doubled(value: float) -> float:
        if value < 0:
            raise ScienceError("Under the range.")
        return 2 * value

    assert measured.propagate(doubled, ((0.0, 0.1),)).sd == pytest.approx(0.2)
