"""Reads of Stores: what runs out first, where it lies, what cannot be used any more."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import QuerySet, Sum
from django.utils import timezone

from servicedesk.consumables.models import Item, Move
from servicedesk.consumables.queries import Balance, balances, is_usable, lot_dead_on
from servicedesk.stores.models import ReorderReminder

ZERO = Decimal(0)
USE_WINDOW_DAYS = 84
SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class ItemStock:
    """An item's usable stock, use a day and how long it lasts."""

    item: Item
    usable: Decimal
    dead: Decimal
    use_per_day: Decimal
    reminder: ReorderReminder | None

    @property
    def cover_days(self) -> int | None:
        """Days until the usable stock is gone at the present use; None when nothing is used."""
        return int(self.usable / self.use_per_day) if self.use_per_day else None

    @property
    def use_per_week(self) -> Decimal:
        return (self.use_per_day * 7).quantize(Decimal("0.1"))

    @property
    def is_short(self) -> bool:
        return self.usable <= self.item.reorder_point and self.item.reorder_point > 0


@dataclass(frozen=True, slots=True)
class LotRow:
    """A lot at a place with the last day it may be used."""

    balance: Balance
    dead_on: date | None
    state: str


def use_per_day() -> dict[int, Decimal]:
    """Mean use a day of each item id over the last twelve weeks."""
    start = timezone.now() - timedelta(days=USE_WINDOW_DAYS)
    rows = Move.objects.filter(to_place__kind="used", at__gte=start).values_list("item").order_by()
    return {item: total / USE_WINDOW_DAYS for item, total in rows.annotate(total=Sum("quantity"))}


def stock_of_items(items: Iterable[Item], on: date) -> list[ItemStock]:
    """Stock of items, the one that runs out first on top, in a fixed number of queries."""
    chosen = list(items)
    usable: dict[int, Decimal] = {}
    dead: dict[int, Decimal] = {}
    for row in balances(items=chosen):
        side = usable if is_usable(row.lot, on) else dead
        side[row.item.pk] = side.get(row.item.pk, ZERO) + row.quantity
    use = use_per_day()
    reminders = {row.item_id: row for row in ReorderReminder.objects.filter(state__in=["open", "ordered"])}
    rows = [
        ItemStock(
            item,
            usable.get(item.pk, ZERO),
            dead.get(item.pk, ZERO),
            use.get(item.pk, ZERO),
            reminders.get(item.pk),
        )
        for item in chosen
    ]
    return sorted(
        rows,
        key=lambda row: (
            not row.is_short,
            row.cover_days if row.cover_days is not None else 10**6,
            row.item.name,
        ),
    )


def lots_of_item(item: Item, on: date) -> list[LotRow]:
    """Where an item lies, lot by lot."""
    rows = []
    for row in balances(items=[item]):
        dead_on = lot_dead_on(row.lot)
        rows.append(LotRow(row, dead_on, lot_state(row, on)))
    return rows


def lot_state(row: Balance, on: date) -> str:
    """blocked, expired, soon or good."""
    dead_on = lot_dead_on(row.lot)
    if row.lot is not None and row.lot.blocked_reason:
        return "blocked"
    if dead_on is None or dead_on > on + timedelta(days=SOON_DAYS):
        return "good"
    return "expired" if dead_on < on else "soon"


def unusable_stock(on: date) -> list[LotRow]:
    """Lots in our hands that are expired, blocked or soon to be, the worst first."""
    rows = [LotRow(row, lot_dead_on(row.lot), lot_state(row, on)) for row in balances() if row.quantity > 0]
    wrong = [row for row in rows if row.state != "good"]
    return sorted(wrong, key=lambda row: (row.dead_on or on, row.balance.item.name))


def reminders_open() -> QuerySet[ReorderReminder]:
    return ReorderReminder.objects.filter(state__in=["open", "ordered"]).select_related("item", "ordered_by")
