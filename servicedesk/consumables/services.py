"""Changes of the ledger. A move is never edited: a mistake is moved back."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.backends.postgresql.psycopg_any import DateRange
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Agreement, Site
from servicedesk.consumables.models import (
    IncludedMaterial,
    Item,
    LoanMachine,
    LoanReservation,
    LoanStay,
    Lot,
    Move,
    StockPlace,
)
from servicedesk.consumables.queries import balance
from servicedesk.installations.models import Installation
from servicedesk.people.models import Depot, User, Van

NOTES_BETWEEN = "; "
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


@transaction.atomic
def loan_save(*, machine: LoanMachine, at: Depot | None, actor: User) -> LoanMachine:
    """Store a loan machine; a new one lies in the store ``at``."""
    machine.full_clean()
    machine.save()
    if at is not None and not machine.stays.exists():
        LoanStay.objects.create(machine=machine, depot=at, since=timezone.now(), by=actor, note=_("entered"))
    return machine


@transaction.atomic
def loan_move(
    *,
    machine: LoanMachine,
    to: Depot | Van | Site | Installation,
    site: Site | None = None,
    due_back_on: date | None = None,
    at: datetime | None = None,
    note: str = "",
    though_kept: bool = False,
    actor: User,
) -> LoanStay:
    """Note that a machine went somewhere else: the old stay ends and a new one begins. The same place again is no move.

    ``site`` is needed with an installation. What was kept for the site is taken out by coming there. A machine that is
    kept for somebody else while it is lent goes only ``though_kept``; the reservation stays.
    """
    LoanMachine.objects.select_for_update().get(pk=machine.pk)
    moment = at or timezone.now()
    where = _where(to, site)
    now = machine.stays.filter(until=None).first()
    if moment > timezone.now():
        raise ValidationError({"at": [_("This is still to come; reserve it instead.")]})
    if now is not None and moment < now.since:
        words = _("It came to where it is on %(day)s; a move cannot be earlier.")
        raise ValidationError({"at": [words % {"day": date_format(timezone.localtime(now.since), "D j M Y, H:i")}]})
    place = where["site"]
    if isinstance(place, Site) and due_back_on is not None and due_back_on < timezone.localdate(moment):
        raise ValidationError({"due_back_on": [_("It cannot be due back before it went.")]})
    if now is not None and all(getattr(now, name) == value for name, value in where.items()):
        return _stays(now, due_back_on, note)
    if isinstance(place, Site) and not though_kept:
        _refuse_kept(machine, place, timezone.localdate(moment), due_back_on)
    if now is not None:
        now.until = moment
        now.save(update_fields=["until"])
    if isinstance(place, Site):
        kept = machine.reservations.filter(ended_at=None, site=place, days__contains=timezone.localdate(moment))
        kept.update(ended_at=moment)
    return LoanStay.objects.create(
        machine=machine, since=moment, due_back_on=due_back_on if place else None, note=note, by=actor, **where
    )


def _where(to: Depot | Van | Site | Installation, site: Site | None) -> dict[str, object]:
    if isinstance(to, Installation):
        return {"depot": None, "van": None, "site": site, "installation": to}
    return {
        "depot": to if isinstance(to, Depot) else None,
        "van": to if isinstance(to, Van) else None,
        "site": to if isinstance(to, Site) else None,
        "installation": None,
    }


def _stays(now: LoanStay, due_back_on: date | None, note: str) -> LoanStay:
    """More is noted of a machine where it is: what was noted before stays, and the same note twice is one."""
    notes = [part for part in now.note.split(NOTES_BETWEEN) if part]
    if note and note not in notes:
        notes.append(note)
    now.note, now.due_back_on = NOTES_BETWEEN.join(notes), due_back_on or now.due_back_on
    room = LoanStay._meta.get_field("note").max_length or 0
    if len(now.note) > room:
        words = _("With what is noted of this stay already that is more than %(n)d signs. Make it shorter.")
        raise ValidationError({"note": [words % {"n": room}]})
    now.save(update_fields=["due_back_on", "note"])
    return now


def _refuse_kept(machine: LoanMachine, site: Site, first: date, last: date | None) -> None:
    """A loan without a day to be back on may last into any reservation to come."""
    other = machine.reservations.filter(ended_at=None, days__endswith__gt=first).exclude(site=site)
    if last is not None:
        other = other.filter(days__startswith__lte=last)
    kept = [f"{row.site}, {date_format(row.first_day)} – {date_format(row.last_day)}" for row in
            other.select_related("site")]  # fmt: skip
    if kept:
        words = _("It is kept for %(kept)s. To lend it to %(site)s all the same, tick so below.")
        raise ValidationError({"to": [words % {"kept": "; ".join(kept), "site": site}]})


@transaction.atomic
def loan_reserve(
    *, reservation_id: UUID, machine: LoanMachine, site: Site, first: date, last: date, why: str, actor: User
) -> LoanReservation:
    """Keep a machine for a site; the same id again changes nothing."""
    LoanMachine.objects.select_for_update().get(pk=machine.pk)
    found = LoanReservation.objects.filter(pk=reservation_id).first()
    if found is not None:
        return found
    if last < first:
        raise ValidationError({"last_day": [_("The last day is before the first.")]})
    if first < timezone.localdate():
        raise ValidationError({"first_day": [_("This day is over.")]})
    days = DateRange(first, last + timedelta(days=1))
    taken = machine.reservations.filter(ended_at=None, days__overlap=days).select_related("site").first()
    if taken is not None:
        words = _("It is kept for %(site)s from %(first)s to %(last)s.") % {
            "site": taken.site,
            "first": date_format(taken.days.lower),
            "last": date_format(taken.days.upper - timedelta(days=1)),
        }
        raise ValidationError({"first_day": [words]})
    return LoanReservation.objects.create(
        id=reservation_id, machine=machine, site=site, days=days, why=why[:160], by=actor
    )


@transaction.atomic
def loan_reservation_end(*, reservation: LoanReservation, actor: User) -> None:
    """Give a reservation up; ended already: nothing changes."""
    LoanReservation.objects.filter(pk=reservation.pk, ended_at=None).update(ended_at=timezone.now())


@transaction.atomic
def loan_archive(*, machine: LoanMachine, actor: User) -> None:
    """Take a machine out of the register; one that is at a client's must come back first."""
    locked = LoanMachine.objects.select_for_update().get(pk=machine.pk)
    if locked.stays.filter(until=None).exclude(site=None).exists():
        raise ValidationError(_("It is still at a client's. Note where it went first."))
    locked.archived_at = locked.archived_at or timezone.now()
    locked.save(update_fields=["archived_at"])
