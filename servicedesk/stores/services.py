"""Reorder reminders: one per shortage, raised by the worker, closed when stock is back."""

from datetime import date
from decimal import ROUND_CEILING, Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.mail.send import mail_queue
from servicedesk.consumables.models import Item, StockPlace
from servicedesk.consumables.queries import place_of_kind
from servicedesk.consumables.services import lot_get_or_create, move_post
from servicedesk.people.models import Firm, User
from servicedesk.stores.models import ReorderReminder
from servicedesk.stores.queries import ItemStock, stock_of_items

State = ReorderReminder.State


def reminders_raise(*, on: date | None = None) -> list[ReorderReminder]:
    """Raise a reminder for each new shortage and close those whose stock came back. Safe to run twice."""
    day = on or timezone.localdate()
    raised = []
    for stock in stock_of_items(Item.objects.filter(archived_at=None, reorder_point__gt=0), day):
        if stock.is_short:
            reminder = _raise(stock)
            raised += [reminder] if reminder else []
        elif stock.reminder is not None:
            ReorderReminder.objects.filter(pk=stock.reminder.pk).update(state=State.CLOSED, closed_at=timezone.now())
    return raised


@transaction.atomic
def _raise(stock: ItemStock) -> ReorderReminder | None:
    item = Item.objects.select_for_update().get(pk=stock.item.pk)
    if ReorderReminder.objects.filter(item=item, state__in=[State.OPEN, State.ORDERED]).exists():
        return None
    reminder = ReorderReminder.objects.create(
        item=item,
        balance=stock.usable,
        reorder_point=item.reorder_point,
        suggested=suggested_quantity(stock),
        reason=_reason(stock),
    )
    _mail(reminder)
    return reminder


def suggested_quantity(stock: ItemStock) -> Decimal:
    """The usual order, or what fills up to the reorder point and the usual order again, in whole packs."""
    item = stock.item
    wanted = max(item.reorder_quantity, item.reorder_point - stock.usable)
    packs = (wanted / item.pack_quantity).to_integral_value(ROUND_CEILING)
    return max(packs, Decimal(1)) * item.pack_quantity


def _reason(stock: ItemStock) -> str:
    words = _("%(usable)s %(unit)s usable, reorder at %(point)s %(unit)s") % {
        "usable": f"{stock.usable.normalize():f}",
        "unit": stock.item.get_unit_display(),
        "point": f"{stock.item.reorder_point.normalize():f}",
    }
    if stock.cover_days is not None:
        words += _("; lasts about %(days)s days") % {"days": stock.cover_days}
    if stock.dead:
        words += _("; %(dead)s %(unit)s more cannot be used any more") % {
            "dead": f"{stock.dead.normalize():f}",
            "unit": stock.item.get_unit_display(),
        }
    return words


def _mail(reminder: ReorderReminder) -> None:
    firm = Firm.objects.first()
    if firm is None or not firm.office_list:
        return
    mail_queue(
        dedupe_key=f"reorder:{reminder.pk}",
        kind="reorder",
        to=firm.office_list,
        subject=_("Order soon: %(item)s") % {"item": reminder.item.name},
        body=_("%(item)s: %(reason)s.\nSuggested order: %(suggested)s %(unit)s from %(supplier)s.\n")
        % {
            "item": reminder.item.name,
            "reason": reminder.reason,
            "suggested": f"{reminder.suggested.normalize():f}",
            "unit": reminder.item.get_unit_display(),
            "supplier": reminder.item.supplier or _("the usual supplier"),
        },
        about=f"item:{reminder.item_id}",
    )


@transaction.atomic
def reminder_ordered(*, reminder: ReorderReminder, note: str, actor: User) -> None:
    """Note that a shortage was ordered; ordered already: nothing changes."""
    locked = ReorderReminder.objects.select_for_update().get(pk=reminder.pk)
    if locked.state != State.OPEN:
        return
    locked.state, locked.ordered_at, locked.ordered_by, locked.order_note = (
        State.ORDERED,
        timezone.now(),
        actor,
        note,
    )
    locked.save(update_fields=["state", "ordered_at", "ordered_by", "order_note"])


@transaction.atomic
def stock_receive(
    *,
    item: Item,
    quantity: Decimal,
    lot_code: str,
    expires_on: date | None,
    place: StockPlace,
    key: UUID,
    actor: User,
) -> None:
    """Book a delivery into a store."""
    lot = lot_get_or_create(item=item, code=lot_code, expires_on=expires_on) if lot_code else None
    move_post(
        key=f"receive:{key}",
        item=item,
        lot=lot,
        quantity=quantity,
        from_place=place_of_kind("supplier"),
        to_place=place,
        at=timezone.now(),
        actor=actor,
        reason=_("received"),
    )


@transaction.atomic
def stock_move(
    *,
    item: Item,
    lot_id: int | None,
    quantity: Decimal,
    from_place: StockPlace,
    to_place: StockPlace,
    reason: str,
    key: UUID,
    actor: User,
) -> None:
    """Move stock by hand, e.g. from the store into a van, or into waste."""
    if from_place == to_place:
        raise ValidationError({"to_place": [_("Choose two different places.")]})
    lot = item.lots.filter(pk=lot_id).first() if lot_id else None
    move_post(
        key=f"hand:{key}",
        item=item,
        lot=lot,
        quantity=quantity,
        from_place=from_place,
        to_place=to_place,
        at=timezone.now(),
        actor=actor,
        reason=reason,
    )
