"""Totals of an invoice by the rules of EN 16931-1:2017 (BR-CO-10, 13, 14, 15, 17 and BR-S-08/09).

A line is rounded first (BT-131), lines are summed without further rounding (BT-106), tax is computed
once per category and rate on the sum of its lines (BT-116, BT-117) and rounded there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from servicedesk.common.money import round_money

ZERO = Decimal(0)
UNTAXED_CATEGORIES = frozenset({"E", "O", "Z"})


@dataclass(frozen=True, slots=True)
class Line:
    """Quantity, unit price before tax, tax category (UNTDID 5305) and rate in percent."""

    quantity: Decimal
    unit_price: Decimal
    tax_category: str
    tax_rate_percent: Decimal
    tax_name: str = ""

    def __post_init__(self) -> None:
        if self.tax_category in UNTAXED_CATEGORIES and self.tax_rate_percent:
            raise ValueError(f"Category {self.tax_category} carries no tax, so its rate must be 0.")
        if self.tax_rate_percent < 0:
            raise ValueError("A tax rate cannot be negative.")


@dataclass(frozen=True, slots=True)
class TaxLine:
    """Basis (BT-116) and tax (BT-117) of one category and rate."""

    category: str
    rate_percent: Decimal
    name: str
    basis: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Totals:
    """Net lines in order (BT-131), their sum (BT-106), tax by category, tax (BT-110), grand total (BT-112)."""

    nets: tuple[Decimal, ...]
    line_total: Decimal
    tax_lines: tuple[TaxLine, ...]
    tax_total: Decimal
    grand_total: Decimal


def line_net(line: Line, currency: str) -> Decimal:
    return round_money(line.quantity * line.unit_price, currency)


def totals(lines: Sequence[Line], currency: str) -> Totals:
    """All totals of an invoice in ``currency``."""
    nets = tuple(line_net(line, currency) for line in lines)
    basis: dict[tuple[str, Decimal], Decimal] = {}
    names: dict[tuple[str, Decimal], str] = {}
    for line, net in zip(lines, nets, strict=True):
        key = (line.tax_category, line.tax_rate_percent.normalize())
        basis[key] = basis.get(key, ZERO) + net
        names.setdefault(key, line.tax_name)
    tax_lines = tuple(
        TaxLine(category, rate, names[category, rate], amount, round_money(amount * rate / 100, currency))
        for (category, rate), amount in sorted(basis.items())
    )
    line_total = sum(nets, ZERO)
    tax_total = sum((line.tax for line in tax_lines), ZERO)
    return Totals(nets, line_total, tax_lines, tax_total, line_total + tax_total)
