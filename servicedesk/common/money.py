"""Money: Decimal amounts with a currency, rounded in one place."""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

MINOR_DIGITS = {"JPY": 0, "KWD": 3}


def round_money(amount: Decimal, currency: str) -> Decimal:
    """Round half up to the currency's minor unit (EN 16931: two decimals; ISO 4217 digits otherwise)."""
    quantum = Decimal(1).scaleb(-MINOR_DIGITS.get(currency, 2))
    return amount.quantize(quantum, rounding=ROUND_HALF_UP)


@dataclass(frozen=True, slots=True)
class Money:
    amount: Decimal
    currency: str

    def __str__(self) -> str:
        return f"{round_money(self.amount, self.currency):,} {self.currency}"
