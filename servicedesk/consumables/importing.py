"""Items and opening stock from a table. An item that is in the books stays as it is; its stock lines are still posted.

Header: ``code``, ``name``, ``kind``, ``unit``, ``pack_quantity`` and, if wanted, ``pack_name``, ``reorder_point``,
``reorder_quantity``, ``supplier``, ``cost_per_unit``, ``price_per_unit``, ``kg_per_unit``, ``parameter``; for stock
``quantity``, ``place`` (name), ``lot`` and ``expires_on``. A row with the same code, lot, place and quantity is
posted once, however often the file is read.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from uuid import NAMESPACE_URL, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.tables import Fate, fit, given, known, problems, wrong
from servicedesk.consumables.models import Item, Move, StockPlace
from servicedesk.consumables.queries import place_of_kind
from servicedesk.consumables.services import lot_get_or_create, move_post
from servicedesk.people.models import User

REQUIRED = ("code", "name", "kind", "unit", "pack_quantity")
FIELDS = (
    *REQUIRED, "pack_name", "reorder_point", "reorder_quantity", "supplier", "cost_per_unit", "price_per_unit",
    "kg_per_unit", "parameter",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Stock:
    """What lies where at the start."""

    place: StockPlace
    quantity: Decimal
    lot: str
    expires_on: date | None
    key: str


@dataclass(frozen=True, slots=True)
class ItemRow:
    item: Item
    stock: Stock | None


def fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row without storing anything."""
    items = {item.code.lower(): item for item in Item.objects.all()}
    places = {place.name.lower(): place for place in StockPlace.objects.filter(kind__in=("store", "van", "site"))}
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple(row.values())
        try:
            item = items.get(row.get("code", "").strip().lower()) or _item(row)
            stock = _stock(row, item, places)
        except ValidationError as error:
            found.append(wrong(line, cells, problems(error)))
            continue
        posted = stock is None or Move.objects.filter(key=stock.key).exists()
        items[item.code.lower()] = item
        nothing_new = posted and not item._state.adding
        found.append(known(line, cells) if nothing_new else fit(line, cells, ItemRow(item, stock)))
    return found


def _item(row: dict[str, str]) -> Item:
    item = Item(**given(row, FIELDS))
    item.full_clean()
    return item


def _stock(row: dict[str, str], item: Item, places: dict[str, StockPlace]) -> Stock | None:
    cells = given(row, ("quantity", "place", "lot", "expires_on"))
    if "quantity" not in cells:
        return None
    place = places.get(cells.get("place", "").lower())
    if place is None:
        raise ValidationError({"place": [_("No store, van or site “%(place)s”.") % {"place": cells.get("place", "")}]})
    try:
        quantity = Decimal(cells["quantity"])
        expires_on = date.fromisoformat(cells["expires_on"][:10]) if "expires_on" in cells else None
    except (InvalidOperation, ValueError) as error:
        raise ValidationError(_("quantity must be a number and expires_on a date such as 2027-03-31.")) from error
    if quantity <= 0:
        raise ValidationError({"quantity": [_("must be above 0.")]})
    lot = cells.get("lot", "")
    key = f"import:{uuid5(NAMESPACE_URL, f'{item.code}:{lot}:{place.pk}:{quantity}')}"
    return Stock(place, quantity, lot, expires_on, key)


@transaction.atomic
def store(found: Sequence[Fate], *, actor: User) -> int:
    """Store the fit items and post their stock, each once. Returns how many rows."""
    rows = [fate.payload for fate in found if isinstance(fate.payload, ItemRow)]
    supplier = place_of_kind("supplier")
    for row in rows:
        if row.item._state.adding:
            row.item.save()
        if row.stock is None:
            continue
        lot = (
            lot_get_or_create(item=row.item, code=row.stock.lot, expires_on=row.stock.expires_on)
            if row.stock.lot
            else None
        )
        move_post(
            key=row.stock.key, item=row.item, quantity=row.stock.quantity, from_place=supplier,
            to_place=row.stock.place, at=timezone.now(), actor=actor, lot=lot, reason=_("opening stock"),
        )  # fmt: skip
    return len(rows)
