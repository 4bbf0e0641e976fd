"""The load list of a round: what its visits need, what is on board, what to load, weight and litres."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_CEILING, Decimal
from uuid import UUID

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.common.display import current_display
from servicedesk.common.templatetags.saltround import plain
from servicedesk.consumables.models import Item, Lot, StockPlace
from servicedesk.consumables.queries import balances, is_usable, lot_dead_on
from servicedesk.people.models import Depot, Van
from servicedesk.science import units
from servicedesk.visits.models import HandOn, Visit
from servicedesk.visits.queries.schedule import material_needs, sites_with_notes

ZERO = Decimal(0)
SMALL = 10


@dataclass(frozen=True, slots=True)
class BoardLot:
    """A lot lying in the van, and the last day it may be used."""

    code: str
    quantity: Decimal
    dead_on: date | None
    usable: bool
    blocked_reason: str


@dataclass(slots=True)
class LoadLine:
    """An item the round needs: for which stops, what is on board, what to load from the store."""

    item: Item
    needed: Decimal = ZERO
    stops: list[tuple[int, Decimal]] = field(default_factory=list)
    whys: list[str] = field(default_factory=list)
    on_board: Decimal = ZERO
    in_store: Decimal = ZERO
    lots: list[BoardLot] = field(default_factory=list)
    is_loaded: bool = False  # on an earlier day of the tour

    @property
    def to_load(self) -> Decimal:
        """What is still to be loaded: whole ones of what is counted."""
        if self.is_loaded:
            return ZERO
        lacking = max(self.needed - self.on_board, ZERO)
        return lacking.to_integral_value(ROUND_CEILING) if self.item.unit == Item.Unit.EACH else lacking

    @property
    def load_words(self) -> str:
        """How much to load and, where less than what is counted is used of it, how much of it is."""
        if self.item.unit != Item.Unit.EACH:
            return f"{plain(self.to_load)} {self.item.get_unit_display()}"
        is_part = self.needed != self.needed.to_integral_value()
        return f"{plain(self.to_load)} ({self.use_words})" if is_part else plain(self.to_load)

    @property
    def use_words(self) -> str:
        """How much of it the round uses."""
        if self.item.unit != Item.Unit.EACH or self.needed == self.needed.to_integral_value():
            return f"{plain(self.needed)} {self.item.get_unit_display()}"
        if self.needed < 1:
            return _("uses about %(share)d %%") % {"share": max(round(self.needed * 100), 1)}
        return _("uses about %(used)s") % {"used": f"{self.needed:.1f}"}

    @property
    def short_by(self) -> Decimal:
        return max(self.to_load - max(self.in_store, ZERO), ZERO)

    @property
    def first_stop(self) -> int:
        return min(position for position, _quantity in self.stops)

    @property
    def stop_numbers(self) -> list[int]:
        return sorted({position for position, _quantity in self.stops})

    @property
    def kg(self) -> Decimal:
        return self.to_load * self.item.kg_per_unit

    @property
    def is_water(self) -> bool:
        return bool(self.item.kind == Item.Kind.WATER)

    @property
    def kg_words(self) -> str:
        return weight_words(self.kg)

    @property
    def usable_lots(self) -> list[BoardLot]:
        return [lot for lot in self.lots if lot.usable]

    @property
    def remark_words(self) -> str:
        """Short items and dead lots, for the paper list."""
        unit = str(self.item.get_unit_display())
        words = [_("short of %(n)s %(unit)s") % {"n": plain(self.short_by), "unit": unit}] if self.short_by else []
        words += [_("lot %(code)s on board must not be used") % {"code": lot.code} for lot in self.dead_lots]
        days = [
            _("lot %(code)s use by %(day)s") % {"code": lot.code, "day": date_format(lot.dead_on)}
            for lot in self.usable_lots
            if lot.dead_on
        ]
        return "; ".join([*words, *days])

    @property
    def dead_lots(self) -> list[BoardLot]:
        return [lot for lot in self.lots if not lot.usable]


@dataclass(frozen=True, slots=True)
class NotedThing:
    """Something to bring that is no item of the stores."""

    stop: int
    text: str


@dataclass(frozen=True, slots=True)
class LoadList:
    """Lines in loading order: what the last stops need goes in first."""

    lines: list[LoadLine]
    things: list[NotedThing]
    van: Van | None
    depot: Depot
    on_board_kg: Decimal
    loaded_on: date | None = None  # the day on which the van was loaded for this round too
    until: date | None = None  # the last day for which it is loaded, where nights away follow

    @property
    def load_kg(self) -> Decimal:
        return sum((line.kg for line in self.lines), ZERO)

    @property
    def total_kg(self) -> Decimal:
        return self.on_board_kg + self.load_kg

    @property
    def water_l(self) -> Decimal:
        return sum((line.needed for line in self.lines if line.is_water), ZERO)

    @property
    def may_carry_kg(self) -> Decimal | None:
        """The payload left for goods: less driver and fixed kit."""
        if self.van is None:
            return None
        return Decimal(str(may_carry_kg(self.van)))

    @property
    def tank_l(self) -> Decimal | None:
        return Decimal(str(self.van.water_tank_l)) if self.van is not None else None

    @property
    def too_heavy_kg(self) -> Decimal:
        return max(self.total_kg - self.may_carry_kg, ZERO) if self.may_carry_kg is not None else ZERO

    @property
    def too_wet_l(self) -> Decimal:
        return max(self.water_l - self.tank_l, ZERO) if self.tank_l is not None else ZERO

    @property
    def total_words(self) -> str:
        return weight_words(self.total_kg)

    @property
    def may_carry_words(self) -> str:
        return weight_words(self.may_carry_kg or ZERO)

    @property
    def too_heavy_words(self) -> str:
        return weight_words(self.too_heavy_kg)

    @property
    def water_words(self) -> str:
        return volume_words(self.water_l)

    @property
    def tank_words(self) -> str:
        return volume_words(self.tank_l or ZERO)

    @property
    def short(self) -> list[LoadLine]:
        return [line for line in self.lines if line.short_by > 0]

    @property
    def dead(self) -> list[LoadLine]:
        return [line for line in self.lines if line.dead_lots]


def may_carry_kg(van: Van) -> float:
    """What a van may carry in goods: the payload less driver and fixed kit."""
    return max(van.payload_kg - van.driver_kg - van.fixed_kit_kg, 0.0)


@dataclass(frozen=True, slots=True)
class VisitLoad:
    """What a visit brings: goods by weight, mixed water by volume."""

    kg: float = 0.0
    litres: float = 0.0


NO_LOAD = VisitLoad()


def visit_loads(visits: Sequence[Visit]) -> dict[UUID, VisitLoad]:
    """The load of each visit, by the same needs as the load list; ``visits`` in the order of their dates.

    What lies in the vans already is not taken off: which van comes is not known before the week is planned.
    """
    found: dict[UUID, VisitLoad] = {}
    for need in material_needs(visits):
        before = found.get(need.visit.pk, NO_LOAD)
        litres = _water_l(need.item, need.quantity)
        kg = 0.0 if need.item.kind == Item.Kind.WATER else float(need.quantity * need.item.kg_per_unit)
        found[need.visit.pk] = VisitLoad(before.kg + kg, before.litres + litres)
    return found


def _water_l(item: Item, quantity: Decimal) -> float:
    if item.kind != Item.Kind.WATER:
        return 0.0
    return float(quantity) / (1000 if item.unit == Item.Unit.MILLILITRE else 1)


def weight_words(kg: Decimal) -> str:
    """Kilograms, or pounds in the US system: whole ones, small loads with a decimal."""
    unit = "lb" if current_display().system == "us" else "kg"
    amount = units.from_canonical("mass_kg", float(kg), unit)
    digits = 1 if 0 < amount < SMALL else 0
    return f"{amount:,.{digits}f} {unit}"


def volume_words(litres: Decimal) -> str:
    return units.show("volume", float(litres), current_display().unit_for("volume"))


def load_list(
    visits: Sequence[Visit],
    positions: Mapping[UUID, int],
    van: Van | None,
    depot: Depot,
    on: date,
    notes: Mapping[int, list[HandOn]] | None = None,
    *,
    loaded_on: date | None = None,
    until: date | None = None,
) -> LoadList:
    """What the visits of a round need; ``positions`` gives each visit's place in the order, ``notes`` those by site.

    A van that stays away for the night is loaded once, for all visits ``until`` it is back at its store; what the
    later days need lies in it since the day on which it was ``loaded_on``.
    """
    lines: dict[int, LoadLine] = {}
    noted = sites_with_notes({visit.site_id for visit in visits}) if notes is None else notes
    for need in material_needs(visits, noted):
        line = lines.setdefault(need.item.pk, LoadLine(need.item, is_loaded=loaded_on is not None))
        line.needed += need.quantity
        line.stops.append((positions[need.visit.pk], need.quantity))
        if need.why not in line.whys:
            line.whys.append(need.why)
    on_board_kg = _stock_into(lines, van, depot, on)
    ordered = sorted(lines.values(), key=lambda line: (-line.first_stop, -line.kg, line.item.name))
    return LoadList(ordered, _things(visits, positions, noted), van, depot, on_board_kg, loaded_on, until)


def _stock_into(lines: dict[int, LoadLine], van: Van | None, depot: Depot, on: date) -> Decimal:
    """Fill in what is on board and in the store; returns the weight of all stock in the van, kg."""
    places = list(StockPlace.objects.filter(Q(van=van, van__isnull=False) | Q(depot=depot)))
    weight = ZERO
    for row in balances(places):
        aboard = row.place.van_id is not None
        if aboard and row.quantity > 0:
            weight += row.quantity * row.item.kg_per_unit
        line = lines.get(row.item.pk)
        if line is None:
            continue
        usable = is_usable(row.lot, on)
        if aboard:
            line.on_board += row.quantity if usable else ZERO
            if row.lot is not None and row.quantity > 0:
                line.lots.append(_board_lot(row.lot, row.quantity, usable=usable))
        elif usable:
            line.in_store += row.quantity
    return weight


def _board_lot(lot: Lot, quantity: Decimal, *, usable: bool) -> BoardLot:
    return BoardLot(lot.code, quantity, lot_dead_on(lot), usable, lot.blocked_reason)


def _things(
    visits: Sequence[Visit], positions: Mapping[UUID, int], notes: Mapping[int, list[HandOn]]
) -> list[NotedThing]:
    rows = [
        NotedThing(stop, note.text)
        for site, stop in {visit.site_id: positions[visit.pk] for visit in visits}.items()
        for note in notes.get(site, ())
        if note.kind == HandOn.Kind.LOAD and note.item is None
    ]
    return sorted(rows, key=lambda row: -row.stop)
