"""Changes of the ledger. A move is never edited: a mistake is moved back."""

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from servicedesk.clients.models import Agreement
from servicedesk.consumables.models import IncludedMaterial, Item, Lot, Move, StockPlace
from servicedesk.consumables.queries import balance
from servicedesk.people.models import User

COUNTED = {StockPlace.Kind.STORE, StockPlace.Kind.VAN}


@transaction.atomic
def move_post(
    *,
    key: str,
    item: Item,
    quantity: Decimal,
    from_place: StockPlace,
    to_place: StockPlace,
    at: datetime,
    actor: User | None,
    lot: Lot | None = None,
    reason: str = "",
    document: str = "",
) -> Move:
    """Post one entry; the same ``key`` again returns the entry that stands.

    A store or van that goes below zero is not refused (the goods were there, whatever the books
    said): the entry is flagged for the office to count.
    """
    existing = Move.objects.filter(key=key).first()
    if existing is not None:
        return existing
    StockPlace.objects.select_for_update().get(pk=from_place.pk)
    below_zero = from_place.kind in COUNTED and balance(item, from_place, lot) < quantity
    move, _created = Move.objects.get_or_create(
        key=key,
        defaults={
            "item": item,
            "lot": lot,
            "quantity": quantity,
            "from_place": from_place,
            "to_place": to_place,
            "at": at,
            "by": actor,
            "reason": reason,
            "document": document,
            "below_zero": below_zero,
        },
    )
    return move


@transaction.atomic
def lot_get_or_create(*, item: Item, code: str, expires_on: date | None) -> Lot:
    """The lot with this code, made if it is new; a known lot keeps its printed day."""
    lot, _created = Lot.objects.get_or_create(item=item, code=code.strip(), defaults={"expires_on": expires_on})
    return lot


@transaction.atomic
def item_save(*, item: Item, actor: User) -> Item:
    """Store a new or changed item of the catalogue."""
    item.full_clean()
    item.save()
    return item


@transaction.atomic
def included_set(*, agreement: Agreement, item: Item, quantity: Decimal, actor: User) -> None:
    """Set how much of ``item`` the fee includes at each visit; nothing takes it off the list."""
    if quantity == 0:
        IncludedMaterial.objects.filter(agreement=agreement, item=item).delete()
        return
    IncludedMaterial.objects.update_or_create(agreement=agreement, item=item, defaults={"quantity_per_visit": quantity})
