"""Things wrong, to be found: each is put here and nowhere else, but for the waters that the tanks themselves spoil."""

from datetime import date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from zoneinfo import ZoneInfo

from servicedesk.common.ids import new_id
from servicedesk.consumables.models import Item
from servicedesk.consumables.queries import totals_of_items
from servicedesk.people.models import Permission, PermissionKind
from servicedesk.people.services import renewals_warn
from servicedesk.setup.demo.ledger import Ledger
from servicedesk.setup.demo.world import Place, World
from servicedesk.stores.queries import use_per_day
from servicedesk.stores.services import reminders_raise
from servicedesk.visits.models import HandOn, Visit, VisitInstallation

BADGE_DAYS_LEFT = 10
OVERDUE_DAYS = 9
EXPIRED_DAYS = 23
SHORT_ITEM = "RPO4"
REORDER_DAYS, ORDER_DAYS = 21, 56


def badge_lapses(world: World) -> None:
    """The badge of a lead's hospital or tower ends in ten days."""
    lead = world.technicians[0]
    permission = Permission.objects.filter(user=lead.user, kind__kind=PermissionKind.Kind.BADGE).order_by("pk").first()
    if permission is not None:
        permission.last_day = world.size.today + timedelta(days=BADGE_DAYS_LEFT)
        permission.save(update_fields=["last_day"])
    renewals_warn(on=world.size.today)


def reagent_expires(world: World, ledger: Ledger) -> None:
    """A few tests of an old lot were left in a van."""
    today, technician, item = world.size.today, world.technicians[0], world.items["RPO4"]
    lot = ledger.lot(item, today - timedelta(days=600))
    lot.code, lot.expires_on = f"{lot.code}X", today - timedelta(days=EXPIRED_DAYS)
    store, van = ledger.store("nashville"), ledger.van(technician)
    at = datetime.combine(world.size.begins_on, datetime.min.time(), tzinfo=ZoneInfo("America/Chicago"))
    ledger.post(item, lot, Decimal(18), ledger.supplier, store, at, technician.user, "received")
    ledger.post(item, lot, Decimal(18), store, van, at + timedelta(days=1), technician.user, "loaded")
    ledger.flush()


def visit_overdue(world: World, place: Place) -> None:
    """A visit that nobody put on a round: nine days late."""
    agreement, day = place.agreement, world.size.today - timedelta(days=OVERDUE_DAYS)
    if agreement is None:
        return
    visit = Visit.objects.create(
        site=place.site,
        agreement=agreement,
        occurrence_on=_free_day(place, day),
        due_on=day,
        earliest_on=day - timedelta(days=agreement.slack_days_before),
        latest_on=day + timedelta(days=agreement.slack_days_after),
        duration_min=agreement.duration_min,
    )
    VisitInstallation.objects.bulk_create(
        VisitInstallation(visit=visit, installation=system.installation) for system in place.systems
    )


def _free_day(place: Place, day: date) -> date:
    taken = set(Visit.objects.filter(agreement=place.agreement).values_list("occurrence_on", flat=True))
    while day in taken:
        day -= timedelta(days=1)
    return day


def note_left(world: World, place: Place) -> None:
    """For whoever comes next: something to bring along, and a second thing to look at."""
    by = place.technician.user if place.technician else world.technicians[0].user
    at = datetime.combine(
        world.size.monday - timedelta(days=4), datetime.min.time(), tzinfo=ZoneInfo("America/Chicago")
    )
    installation = place.systems[0].installation
    HandOn.objects.create(
        id=new_id(),
        site=place.site,
        installation=installation,
        kind=HandOn.Kind.LOAD,
        by=by,
        at=at + timedelta(hours=11),
        text="Bring 5 kg of carbon: the reactor bag is down to a third and the water yellows.",
        item=world.items["CARBON"],
        quantity=Decimal(5000),
    )
    HandOn.objects.create(
        id=new_id(),
        site=place.site,
        installation=installation,
        kind=HandOn.Kind.NOTE,
        by=by,
        at=at + timedelta(hours=11),
        text="The left circulation pump ticks when it starts. Listen to it before you open the cabinet.",
    )


def stock_levels(world: World, ledger: Ledger) -> None:
    """Reorder points from the use of the last weeks; every store is filled but for one item."""
    use, store = use_per_day(), ledger.store("nashville")
    actor, at = (
        world.first_with("office"),
        datetime.combine(world.size.today - timedelta(days=1), datetime.min.time(), tzinfo=ZoneInfo("America/Chicago"))
        + timedelta(hours=10),
    )
    totals = totals_of_items()
    for item in world.items.values():
        daily = use.get(item.pk, Decimal(0))
        item.reorder_point = _packs(item, daily * REORDER_DAYS, least=1)
        item.reorder_quantity = _packs(item, daily * ORDER_DAYS, least=2)
        have = totals.get(item.pk, Decimal(0))
        if item.code == SHORT_ITEM:
            item.reorder_point = max(item.reorder_point, _packs(item, have, least=1))
        elif have < item.reorder_point * 2:
            lot = ledger.lot(item, at.date())
            quantity = _packs(item, item.reorder_point * 2 - have, least=1) + item.reorder_quantity
            ledger.post(item, lot, quantity, ledger.supplier, store, at, actor, "received")
    Item.objects.bulk_update(world.items.values(), ["reorder_point", "reorder_quantity"])
    ledger.flush()
    reminders_raise(on=world.size.today)


def _packs(item: Item, quantity: Decimal, *, least: int) -> Decimal:
    """Whole packs, at least so many."""
    packs = (quantity / item.pack_quantity).to_integral_value(ROUND_CEILING)
    return max(packs, Decimal(least)) * item.pack_quantity
