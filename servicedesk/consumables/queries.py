"""Reads of the ledger: a balance is the sum of moves in less the sum of moves out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Case, DecimalField, F, Prefetch, Q, QuerySet, Sum, When

from servicedesk.clients.models import Site
from servicedesk.consumables.models import Item, LoanMachine, LoanReservation, LoanStay, Lot, Move, StockPlace
from servicedesk.people.models import Depot, Van

ZERO = Decimal(0)
OWN_KINDS = (StockPlace.Kind.STORE, StockPlace.Kind.VAN, StockPlace.Kind.SITE)
EXACT: "DecimalField[Decimal, Decimal]" = DecimalField(max_digits=18, decimal_places=3)


@dataclass(frozen=True, slots=True)
class Balance:
    """How much of a lot lies at a place, in the item's unit."""

    item: Item
    lot: Lot | None
    place: StockPlace
    quantity: Decimal


def balance(item: Item, place: StockPlace, lot: Lot | None = None) -> Decimal:
    """The quantity of an item (or of one lot) at a place, in the item's unit."""
    moves = Move.objects.filter(item=item).filter(Q(to_place=place) | Q(from_place=place))
    if lot is not None:
        moves = moves.filter(lot=lot)
    signed = Case(When(to_place=place, then=F("quantity")), default=-F("quantity"), output_field=EXACT)
    total: Decimal | None = moves.aggregate(total=Sum(signed))["total"]
    return total or ZERO


def balances(places: Iterable[StockPlace] | None = None, items: Iterable[Item] | None = None) -> list[Balance]:
    """All balances that are not zero at our own places, in a fixed number of queries."""
    chosen = list(StockPlace.objects.filter(kind__in=OWN_KINDS) if places is None else places)
    moves = Move.objects.all() if items is None else Move.objects.filter(item__in=list(items))
    sums: dict[tuple[int, int | None, int], Decimal] = {}
    for end, sign in (("to_place", 1), ("from_place", -1)):
        rows = moves.filter(**{f"{end}__in": chosen}).values_list("item", "lot", end).order_by()
        for item_id, lot_id, place_id, total in rows.annotate(total=Sum("quantity")):
            key = (item_id, lot_id, place_id)
            sums[key] = sums.get(key, ZERO) + sign * total
    held = {key: quantity for key, quantity in sums.items() if quantity}
    item_by_id = Item.objects.in_bulk({key[0] for key in held})
    lot_by_id = Lot.objects.select_related("item").in_bulk({key[1] for key in held if key[1] is not None})
    place_by_id = {place.pk: place for place in chosen}
    found = [
        Balance(item_by_id[item_id], lot_by_id.get(lot_id) if lot_id else None, place_by_id[place_id], quantity)
        for (item_id, lot_id, place_id), quantity in held.items()
    ]
    return sorted(found, key=lambda row: (row.item.name, row.place.name, lot_dead_on(row.lot) or date.max))


def totals_of_items() -> dict[int, Decimal]:
    """Usable and unusable stock together per item id over our stores, vans and sites."""
    totals: dict[int, Decimal] = {}
    for row in balances():
        totals[row.item.pk] = totals.get(row.item.pk, ZERO) + row.quantity
    return totals


def lot_dead_on(lot: Lot | None) -> date | None:
    """The last day a lot may be used: its printed day, or the days it keeps once opened."""
    if lot is None:
        return None
    days = [lot.expires_on] if lot.expires_on else []
    if lot.opened_on and lot.item.opened_days is not None:
        days.append(lot.opened_on + timedelta(days=lot.item.opened_days))
    return min(days) if days else None


def is_usable(lot: Lot | None, on: date) -> bool:
    dead_on = lot_dead_on(lot)
    return lot is None or (not lot.blocked_reason and (dead_on is None or dead_on >= on))


def lots_usable(item: Item, place: StockPlace, on: date) -> list[Balance]:
    """Lots of an item in stock at a place and fit for use that day, soonest to expire first."""
    return [row for row in balances([place], [item]) if row.quantity > 0 and is_usable(row.lot, on)]


def place_of_kind(kind: str) -> StockPlace:
    """The ledger's outside end of a kind: supplier, used, waste or count."""
    return StockPlace.objects.get_or_create(kind=kind, defaults={"name": str(StockPlace.Kind(kind).label)})[0]


def place_for_van(van: Van) -> StockPlace:
    return StockPlace.objects.get_or_create(van=van, defaults={"kind": "van", "name": van.name})[0]


def place_for_depot(depot: Depot) -> StockPlace:
    return StockPlace.objects.get_or_create(depot=depot, defaults={"kind": "store", "name": depot.name})[0]


def place_for_site(site: Site) -> StockPlace:
    name = f"{site.name} ({site.client})"
    return StockPlace.objects.get_or_create(site=site, defaults={"kind": "site", "name": name[:120]})[0]


def moves_of(item: Item) -> QuerySet[Move]:
    return item.moves.select_related("lot", "from_place", "to_place", "by").order_by("-at")


@dataclass(frozen=True, slots=True)
class LoanRow:
    """A loan machine with where it is, and for whom it is kept from a day on."""

    machine: LoanMachine
    stay: LoanStay | None
    kept: list[LoanReservation]
    on: date

    @property
    def is_out(self) -> bool:
        return self.stay is not None and self.stay.site_id is not None

    @property
    def overdue_days(self) -> int:
        """Days since it should have been back."""
        if self.stay is None or self.stay.due_back_on is None:
            return 0
        return max((self.on - self.stay.due_back_on).days, 0)

    def kept_for(self, first: date, last: date) -> LoanReservation | None:
        """The reservation that takes any of the days."""
        return next((row for row in self.kept if row.days.lower <= last and row.days.upper > first), None)

    def is_free_for(self, site: Site, first: date, last: date) -> bool:
        """Whether it may be taken to a site for the days: in our hands or there already, and kept for nobody else."""
        kept = self.kept_for(first, last)
        if self.stay is None or (self.is_out and self.stay.site_id != site.pk):
            return False
        return kept is None or kept.site_id == site.pk


def loans(on: date, *, archived: bool = False) -> list[LoanRow]:
    """All loan machines; what should be back comes first, then what is out, then what lies ready."""
    stays = LoanStay.objects.filter(until=None).select_related("depot", "van__technician", "site", "installation")
    kept = LoanReservation.objects.filter(ended_at=None, days__endswith__gt=on).select_related("site__client")
    machines = LoanMachine.objects.filter(archived_at__isnull=not archived).prefetch_related(
        Prefetch("stays", queryset=stays, to_attr="now"), Prefetch("reservations", queryset=kept, to_attr="coming")
    )
    rows = [loan_row(machine, on) for machine in machines]
    return sorted(rows, key=lambda row: (-row.overdue_days, not row.is_out, row.machine.kind, row.machine.code))


def loan_row(machine: LoanMachine, on: date) -> LoanRow:
    """One machine as ``loans`` tells it."""
    now: list[LoanStay] | None = getattr(machine, "now", None)
    if now is None:
        now = list(machine.stays.filter(until=None).select_related("depot", "van__technician", "site", "installation"))
    coming: list[LoanReservation] | None = getattr(machine, "coming", None)
    if coming is None:
        rows = machine.reservations.filter(ended_at=None, days__endswith__gt=on)
        coming = list(rows.select_related("site__client"))
    return LoanRow(machine, now[0] if now else None, coming, on)


def loan_history(machine: LoanMachine) -> QuerySet[LoanStay]:
    return machine.stays.select_related("depot", "van", "site", "installation", "by")
