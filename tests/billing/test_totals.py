"""Totals by EN 16931-1:2017, its business rules BR-CO-10 to BR-CO-17 and BR-S-08/09.

The worked figures marked "from memory" are those of published EN 16931 sample invoices as remembered; each is also
worked out beside the assertion, so that it stands by arithmetic alone.
"""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from servicedesk.billing.totals import Line, totals

CENT = Decimal("0.01")


def line(quantity: str, price: str, rate: str = "19", category: str = "S") -> Line:
    return Line(Decimal(quantity), Decimal(price), category, Decimal(rate))


def test_two_rates_as_in_the_hybrid_standards_sample_invoice() -> None:
    """Factur-X/ZUGFeRD 2 sample "Einfach" (from memory): 20 × 9.90 at 19 %, 50 × 5.50 at 7 %; 473.00 + 56.87."""
    found = totals([line("20", "9.90"), line("50", "5.50", "7")], "EUR")
    assert found.nets == (Decimal("198.00"), Decimal("275.00"))
    assert [(row.rate_percent, row.basis, row.tax) for row in found.tax_lines] == [
        (7, Decimal("275.00"), Decimal("19.25")),
        (19, Decimal("198.00"), Decimal("37.62")),
    ]
    assert (found.line_total, found.tax_total, found.grand_total) == (473, Decimal("56.87"), Decimal("529.87"))


def test_one_rate_and_exempt_lines() -> None:
    """25 % of 4000 + 0 % of 1200 (figures of our own; the rules are BR-S-08, BR-E-08)."""
    found = totals([line("10", "400", "25"), line("3", "400", "0", "E")], "EUR")
    assert {row.category: (row.basis, row.tax) for row in found.tax_lines} == {
        "E": (Decimal(1200), Decimal(0)),
        "S": (Decimal(4000), Decimal(1000)),
    }
    assert found.grand_total == 6200


def test_tax_is_rounded_once_on_the_sum_not_line_by_line() -> None:
    """BR-CO-17: three lines of 0.35 at 7 %: 7 % of 1.05 is 0.0735 → 0.07; line by line it would be 3 × 0.02."""
    assert totals([line("1", "0.35", "7")] * 3, "EUR").tax_total == Decimal("0.07")


def test_each_line_is_rounded_before_the_sum() -> None:
    """BT-131 has two decimals: 3 × (1 × 0.005) gives 3 × 0.01, half up."""
    found = totals([line("1", "0.005", "0", "Z")] * 3, "EUR")
    assert found.line_total == Decimal("0.03")


def test_a_currency_without_cents_rounds_to_whole_units() -> None:
    """ISO 4217 gives the yen no minor unit: 10 % of 105 is 10.5 → 11."""
    found = totals([line("1", "105", "10")], "JPY")
    assert (found.tax_total, found.grand_total) == (11, 116)


@pytest.mark.parametrize("category", ["E", "O", "Z"])
def test_an_untaxed_category_cannot_carry_a_rate(category: str) -> None:
    with pytest.raises(ValueError, match="no tax"):
        line("1", "10", "19", category)


BRIEFLY = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
LINES = st.lists(
    st.builds(
        Line,
        quantity=st.decimals("0.001", "9999", places=3),
        unit_price=st.decimals("0", "9999", places=4),
        tax_category=st.just("S"),
        tax_rate_percent=st.sampled_from([Decimal(7), Decimal("9.75"), Decimal(19), Decimal("19.000")]),
    ),
    min_size=1,
    max_size=12,
)


@BRIEFLY
@given(LINES)
def test_the_rules_hold_for_any_invoice(lines: list[Line]) -> None:
    found = totals(lines, "EUR")
    assert found.line_total == sum(found.nets)  # BR-CO-10
    assert found.tax_total == sum(row.tax for row in found.tax_lines)  # BR-CO-14
    assert found.grand_total == found.line_total + found.tax_total  # BR-CO-15
    assert sum(row.basis for row in found.tax_lines) == found.line_total  # BR-S-08
    for row in found.tax_lines:  # BR-CO-17
        assert row.tax == (row.basis * row.rate_percent / 100).quantize(CENT, ROUND_HALF_UP)
    rates = [row.rate_percent for row in found.tax_lines]
    assert len(rates) == len(set(rates))
    amounts = [*found.nets, found.line_total, found.tax_total, found.grand_total]
    assert all(amount == amount.quantize(CENT) for amount in amounts)


@BRIEFLY
@given(LINES, st.randoms(use_true_random=False))
def test_the_order_of_lines_changes_no_total(lines: list[Line], order: object) -> None:
    turned = list(lines)
    order.shuffle(turned)  # type: ignore[attr-defined]
    one, other = totals(lines, "EUR"), totals(turned, "EUR")
    assert (one.line_total, one.tax_total, one.grand_total) == (other.line_total, other.tax_total, other.grand_total)
