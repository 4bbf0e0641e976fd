from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from servicedesk.consumables.models import Move, StockPlace
from servicedesk.consumables.queries import balance, balances, lots_usable, place_of_kind
from servicedesk.consumables.services import move_post
from tests.builders import a_lot, a_technician, an_item, stocked, van_place

pytestmark = pytest.mark.django_db


def test_balance_is_the_sum_of_moves_in_and_out() -> None:
    item, van = an_item(), van_place(a_technician())
    stocked(item, van, 100)
    move_post(
        key="use", item=item, quantity=Decimal(30), from_place=van, to_place=place_of_kind("used"),
        at=timezone.now(), actor=None,
    )  # fmt: skip
    assert balance(item, van) == 70


def test_what_all_places_hold_together_is_nothing() -> None:
    """Double entry: what one place gains another loses."""
    item, van = an_item(), van_place(a_technician())
    stocked(item, van, 100)
    move_post(
        key="use", item=item, quantity=Decimal(30), from_place=van, to_place=place_of_kind("used"),
        at=timezone.now(), actor=None,
    )  # fmt: skip
    assert sum(row.quantity for row in balances(StockPlace.objects.all(), [item])) == 0


def test_the_same_key_posts_once() -> None:
    item, van = an_item(), van_place(a_technician())
    for _again in range(2):
        move_post(
            key="once", item=item, quantity=Decimal(5), from_place=place_of_kind("supplier"), to_place=van,
            at=timezone.now(), actor=None,
        )  # fmt: skip
    assert Move.objects.filter(item=item).count() == 1


def test_more_than_the_books_had_is_kept_and_flagged() -> None:
    item, van = an_item(), van_place(a_technician())
    stocked(item, van, 10)
    move = move_post(
        key="use", item=item, quantity=Decimal(11), from_place=van, to_place=place_of_kind("used"),
        at=timezone.now(), actor=None,
    )  # fmt: skip
    assert (move.below_zero, balance(item, van)) == (True, -1)


@pytest.mark.parametrize("quantity", [0, -1])
def test_the_database_refuses_a_move_of_nothing_or_less(quantity: int) -> None:
    item, van = an_item(), van_place(a_technician())
    with pytest.raises(IntegrityError), transaction.atomic():
        stocked(item, van, quantity)


def test_expired_lots_are_not_usable() -> None:
    item, van = an_item(), van_place(a_technician())
    old, fresh = a_lot(item, expires_on=date(2026, 11, 1)), a_lot(item, expires_on=date(2027, 11, 1))
    stocked(item, van, 10, old)
    stocked(item, van, 10, fresh)
    assert [row.lot for row in lots_usable(item, van, date(2026, 12, 1))] == [fresh]


def test_the_lot_that_expires_first_is_offered_first() -> None:
    item, van = an_item(), van_place(a_technician())
    later, sooner = a_lot(item, expires_on=date(2028, 1, 1)), a_lot(item, expires_on=date(2027, 1, 1))
    stocked(item, van, 10, later)
    stocked(item, van, 10, sooner)
    assert [row.lot for row in lots_usable(item, van, date(2026, 12, 1))] == [sooner, later]
