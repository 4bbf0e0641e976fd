"""Reorder reminders: one per shortage, again after a refill and a new shortage, mailed to the office list."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection

from servicedesk.common.models import MailMessage
from servicedesk.consumables.models import Item, Move, StockPlace
from servicedesk.consumables.queries import balance, lots_usable, place_for_depot, place_of_kind
from servicedesk.stores.models import ReorderReminder
from servicedesk.stores.queries import stock_of_items, unusable_stock
from servicedesk.stores.services import reminder_ordered, reminders_raise, stock_receive
from tests.builders import a_depot, a_firm, a_lot, a_user, an_item, number, stocked
from tests.conftest import SignedIn

TODAY = date(2026, 11, 24)


def a_store() -> StockPlace:
    a_firm(office_list=["office@test.example", "stores@test.example"])
    return place_for_depot(a_depot())


def a_short_item(store: StockPlace, stock: int = 500, **over: Any) -> Item:
    item = an_item(**({"reorder_point": Decimal(1000), "reorder_quantity": Decimal(2000)} | over))
    if stock:
        stocked(item, store, stock)
    return item


def used_up(item: Item, store: StockPlace, quantity: int) -> None:
    Move.objects.create(
        key=f"used:{number()}",
        item=item,
        quantity=Decimal(quantity),
        from_place=store,
        to_place=place_of_kind("used"),
        at=datetime.now(UTC),
    )


@pytest.mark.django_db
def test_a_shortage_is_told_once() -> None:
    item = a_short_item(a_store())
    assert [row.item for row in reminders_raise(on=TODAY)] == [item]
    assert reminders_raise(on=TODAY) == []
    assert ReorderReminder.objects.count() == 1


@pytest.mark.django_db
def test_it_is_told_again_after_a_refill_and_a_new_shortage() -> None:
    store = a_store()
    item = a_short_item(store)
    reminders_raise(on=TODAY)
    stocked(item, store, 5000)
    assert reminders_raise(on=TODAY) == []
    assert ReorderReminder.objects.get().state == ReorderReminder.State.CLOSED
    used_up(item, store, 4900)
    assert len(reminders_raise(on=TODAY)) == 1
    assert MailMessage.objects.filter(kind="reorder").count() == 2


@pytest.mark.django_db
def test_an_ordered_shortage_is_not_told_again() -> None:
    a_short_item(a_store())
    reminder_ordered(reminder=reminders_raise(on=TODAY)[0], note="PO 7", actor=a_user("office"))
    assert reminders_raise(on=TODAY) == []


@pytest.mark.django_db
def test_the_mail_goes_to_the_office_list_and_says_how_much() -> None:
    item = a_short_item(a_store())
    reminders_raise(on=TODAY)
    mail = MailMessage.objects.get()
    assert mail.to == ["office@test.example", "stores@test.example"]
    assert item.name in mail.subject
    assert "500" in mail.body
    assert "2000" in mail.body


@pytest.mark.django_db
def test_enough_stock_raises_nothing() -> None:
    a_short_item(a_store(), 1001)
    assert reminders_raise(on=TODAY) == []


@pytest.mark.django_db
def test_a_stock_of_expired_lots_only_is_a_shortage() -> None:
    store = a_store()
    item = a_short_item(store, 0)
    stocked(item, store, 9000, a_lot(item, expires_on=TODAY - timedelta(days=1)))
    found = reminders_raise(on=TODAY)
    assert [row.balance for row in found] == [0]
    assert "cannot be used" in found[0].reason


@pytest.mark.django_db
def test_the_suggestion_comes_in_whole_packs() -> None:
    a_short_item(a_store(), pack_quantity=Decimal(750))
    assert reminders_raise(on=TODAY)[0].suggested == 2250


@pytest.mark.usefixtures("committed")
def test_two_beats_at_once_raise_one_reminder() -> None:
    a_short_item(a_store())

    def beat(_number: int) -> int:
        try:
            return len(reminders_raise(on=TODAY))
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as threads:
        assert sum(threads.map(beat, range(3))) == 1
    assert MailMessage.objects.count() == 1


@pytest.mark.django_db
def test_an_expired_or_blocked_lot_is_not_usable_and_the_soonest_comes_first() -> None:
    store, item = a_store(), an_item()
    late, soon = a_lot(item, expires_on=date(2027, 6, 1)), a_lot(item, expires_on=TODAY)
    for lot in (late, soon, a_lot(item, expires_on=TODAY - timedelta(days=1)), a_lot(item, blocked_reason="Wet")):
        stocked(item, store, 100, lot)
    assert [row.lot for row in lots_usable(item, store, TODAY)] == [soon, late]
    assert stock_of_items([item], TODAY)[0].usable == 200
    assert {row.state for row in unusable_stock(TODAY)} == {"expired", "blocked", "soon"}


@pytest.mark.django_db
def test_an_opened_bottle_keeps_only_its_days() -> None:
    store, item = a_store(), an_item(opened_days=30)
    stocked(item, store, 100, a_lot(item, opened_on=TODAY - timedelta(days=31)))
    assert lots_usable(item, store, TODAY) == []


@pytest.mark.django_db
def test_a_delivery_sent_twice_is_booked_once() -> None:
    store, item, key = a_store(), an_item(), uuid4()
    for _ in range(2):
        stock_receive(item=item, quantity=Decimal(1000), lot_code="B7", expires_on=None, place=store, key=key,
                      actor=a_user("office"))  # fmt: skip
    assert balance(item, store) == 1000


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "wrong"),
    [("quantity", "some"), ("quantity", "-3"), ("quantity", "1e30"), ("expires_on", "31.2.2027"), ("item", "999999")],
)
def test_a_wrong_delivery_is_told_beside_the_field_and_keeps_the_rest(
    signed_in: SignedIn, field: str, wrong: str
) -> None:
    store, item = a_store(), an_item()
    data = {"item": str(item.pk), "quantity": "1000", "lot_code": "B7", "expires_on": "2027-01-31",
            "place": str(store.pk), "key": str(uuid4())} | {field: wrong}  # fmt: skip
    answer = signed_in("owner").post("/stores/receive/", data)
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() == {field}
    assert 'value="B7"' in answer.content.decode()
    assert not Move.objects.exists()


@pytest.mark.django_db
def test_a_use_by_date_needs_its_lot(signed_in: SignedIn) -> None:
    data = {"item": str(an_item().pk), "quantity": "1", "expires_on": "2027-01-31", "place": str(a_store().pk),
            "key": str(uuid4())}  # fmt: skip
    answer = signed_in("owner").post("/stores/receive/", data)
    assert answer.context["form"].errors.keys() == {"lot_code"}


@pytest.mark.django_db
@pytest.mark.parametrize(("quantity", "same", "field"), [("none", False, "quantity"), ("5", True, "to_place")])
def test_a_wrong_move_is_told_beside_the_field_and_keeps_the_rest(
    signed_in: SignedIn, quantity: str, same: bool, field: str
) -> None:
    store, item = a_store(), an_item()
    other = store if same else place_for_depot(a_depot())
    data = {"quantity": quantity, "from_place": str(store.pk), "to_place": str(other.pk), "reason": "For Monday",
            "key": str(uuid4())}  # fmt: skip
    answer = signed_in("owner").post(f"/stores/items/{item.pk}/move/", data)
    assert answer.status_code == 422
    assert answer.context["form"].errors.keys() == {field}
    assert 'value="For Monday"' in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "field", ["pack_quantity", "kg_per_unit", "cost_per_unit", "price_per_unit", "shelf_days", "reorder_point"]
)
def test_a_wrong_item_is_told_beside_the_field_and_keeps_the_rest(signed_in: SignedIn, field: str) -> None:
    a_store()
    data = {"code": "GAC", "name": "Carbon", "kind": "media", "unit": "g", "pack_name": "bucket",
            "pack_quantity": "1000", "kg_per_unit": "0.001", "cost_per_unit": "1", "price_per_unit": "2",
            "reorder_point": "0", "reorder_quantity": "0"} | {field: "heavy"}  # fmt: skip
    answer = signed_in("owner").post("/stores/items/new/", data)
    assert answer.status_code == 422
    assert field in answer.context["form"].errors
    assert 'value="heavy"' in answer.content.decode()
    assert not Item.objects.exists()
