"""The year's stock: deliveries into stores, loads into vans and onto sites, uses, all as moves, oldest lot first."""

from collections import defaultdict, deque
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import ROUND_CEILING, Decimal
from math import ceil

from servicedesk.common.ids import new_id
from servicedesk.consumables.models import Item, Lot, Move, StockPlace
from servicedesk.consumables.queries import place_for_depot, place_for_site, place_for_van, place_of_kind
from servicedesk.people.models import Technician, User
from servicedesk.setup.demo.many import many_create
from servicedesk.setup.demo.world import Place, World

LARGE_L = 4000
PACKS_A_DELIVERY = 4


@dataclass(slots=True)
class Held:
    lot: Lot
    quantity: Decimal


@dataclass(slots=True)
class Ledger:
    """Keeps what lies where in memory while the history is made, and the moves to be stored."""

    world: World
    moves: list[Move] = field(default_factory=list)
    lots: dict[tuple[int, str], Lot] = field(default_factory=dict)
    held: dict[tuple[int, int], deque[Held]] = field(default_factory=lambda: defaultdict(deque))
    places: dict[object, StockPlace] = field(default_factory=dict)
    used: StockPlace = field(default_factory=lambda: place_of_kind(StockPlace.Kind.USED))
    supplier: StockPlace = field(default_factory=lambda: place_of_kind(StockPlace.Kind.SUPPLIER))
    number: int = 0

    def van(self, technician: Technician) -> StockPlace:
        if technician.pk not in self.places:
            self.places[technician.pk] = place_for_van(technician.van)
        return self.places[technician.pk]

    def store(self, depot: str) -> StockPlace:
        if depot not in self.places:
            self.places[depot] = place_for_depot(self.world.depots[depot])
        return self.places[depot]

    def place_of(self, place: Place, technician: Technician) -> StockPlace:
        """Large sites have their own shelf; the others are served from the van."""
        if max(system.installation.net_volume_l for system in place.systems) < LARGE_L:
            return self.van(technician)
        key = f"site:{place.site.pk}"
        if key not in self.places:
            self.places[key] = place_for_site(place.site)
        return self.places[key]

    def take(
        self, *, depot: str, place: StockPlace, item: Item, quantity: Decimal, at: datetime, actor: User
    ) -> list[tuple[Lot, Decimal]]:
        """Which lots a quantity comes from; the place is loaded from the store first when it holds too little."""
        self.ensure(depot=depot, place=place, item=item, quantity=quantity, at=at, actor=actor)
        return self._draw(place, item, quantity)

    def ensure(
        self, *, depot: str, place: StockPlace, item: Item, quantity: Decimal, at: datetime, actor: User
    ) -> None:
        """Load whole packs so that the place holds the quantity."""
        missing = quantity - self.balance(place, item)
        if missing <= 0:
            return
        loaded = (missing / item.pack_quantity).to_integral_value(ROUND_CEILING) * item.pack_quantity
        store, morning = self.store(depot), at - timedelta(hours=2)
        if self.balance(store, item) < loaded:
            self._deliver(store, item, loaded, at - timedelta(days=2), actor)
        for lot, part in self._draw(store, item, loaded):
            self.post(item, lot, part, store, place, morning, actor, "loaded")
            self._put(place, item, lot, part)

    def use(
        self,
        item: Item,
        lot: Lot,
        quantity: Decimal,
        place: StockPlace,
        at: datetime,
        actor: User,
        reason: str,
        document: str,
    ) -> Move:
        return self.post(item, lot, quantity, place, self.used, at, actor, reason, document)

    def post(
        self,
        item: Item,
        lot: Lot | None,
        quantity: Decimal,
        from_place: StockPlace,
        to_place: StockPlace,
        at: datetime,
        actor: User | None,
        reason: str,
        document: str = "",
    ) -> Move:
        self.number += 1
        move = Move(
            id=new_id(),
            key=f"opening:{self.number}",
            item=item,
            lot=lot,
            quantity=quantity,
            from_place=from_place,
            to_place=to_place,
            at=at,
            by=actor,
            reason=reason,
            document=document,
        )
        self.moves.append(move)
        return move

    def balance(self, place: StockPlace, item: Item) -> Decimal:
        return sum((row.quantity for row in self.held[place.pk, item.pk]), Decimal(0))

    def _deliver(self, store: StockPlace, item: Item, least: Decimal, at: datetime, actor: User) -> None:
        """A delivery of whole packs, and of what is used for some weeks."""
        packs = max(ceil(least / item.pack_quantity * Decimal("1.5")), 1 if item.code == "UVLAMP" else PACKS_A_DELIVERY)
        quantity, lot = item.pack_quantity * packs, self.lot(item, at.date())
        self.post(item, lot, quantity, self.supplier, store, at, actor, "received")
        self._put(store, item, lot, quantity)

    def lot(self, item: Item, on: date) -> Lot:
        """The maker's lot of a month; its last day follows from how long the goods keep."""
        code = f"{item.code[:2]}{on:%y%m}"
        if (item.pk, code) not in self.lots:
            expires = on.replace(day=1) + timedelta(days=item.shelf_days) if item.shelf_days else None
            self.lots[item.pk, code] = Lot(item=item, code=code, expires_on=expires)
        return self.lots[item.pk, code]

    def _put(self, place: StockPlace, item: Item, lot: Lot, quantity: Decimal) -> None:
        row = self.held[place.pk, item.pk]
        if row and row[-1].lot is lot:
            row[-1].quantity += quantity
        else:
            row.append(Held(lot, quantity))

    def _draw(self, place: StockPlace, item: Item, quantity: Decimal) -> list[tuple[Lot, Decimal]]:
        row, parts = self.held[place.pk, item.pk], []
        while quantity > 0:
            part = min(row[0].quantity, quantity)
            parts.append((row[0].lot, part))
            row[0].quantity -= part
            quantity -= part
            if not row[0].quantity:
                row.popleft()
        return parts

    def flush(self) -> None:
        """Store new lots and the moves made since the last time."""
        many_create(Lot, [lot for lot in self.lots.values() if lot.pk is None])
        for move in self.moves:
            move.lot = move.lot  # the lot has its number only now
        many_create(Move, self.moves)
        self.moves = []
