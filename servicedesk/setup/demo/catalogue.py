"""The catalogue of consumables, and which reagent belongs to which method."""

from decimal import Decimal

from servicedesk.consumables.models import Item
from servicedesk.readings.models import Method
from servicedesk.setup.demo.size import fixture
from servicedesk.setup.demo.world import World

DECIMALS = ("kg_per_unit", "cost_per_unit", "price_per_unit", "pack_quantity")


def catalogue_make(world: World) -> None:
    rows = []
    for row in fixture("catalogue")["items"]:
        fields = {key: Decimal(value) if key in DECIMALS else value for key, value in row.items()}
        rows.append(Item(**fields))
    world.items = {item.code: item for item in Item.objects.bulk_create(rows)}
    for item in world.items.values():
        if item.parameter:
            Method.objects.filter(parameter=item.parameter, is_default=True).update(reagent=item)
