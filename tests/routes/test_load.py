"""The load list of a round."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from servicedesk.consumables.models import Item, Lot, Move, StockPlace
from servicedesk.consumables.queries import place_for_depot, place_for_van, place_of_kind
from servicedesk.routes.models import Round
from servicedesk.routes.queries.load import LoadList, load_list
from servicedesk.routes.queries.round import round_view
from servicedesk.visits.models import HandOn, Visit
from tests.routes.cast import MONDAY, Cast, a_round, a_site, a_visit, the_cast
from tests.routes.test_nights import a_lodging

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 12, 1, tzinfo=UTC)


def an_item(name: str, **over: object) -> Item:
    fields: dict[str, object] = {
        "kind": "salt_mix",
        "unit": "g",
        "pack_quantity": 20_000,
        "kg_per_unit": Decimal("0.001"),
    }
    return Item.objects.create(code=name[:20], name=name, **(fields | over))


def stocked(item: Item, place: StockPlace, quantity: int, *, code: str = "L1", expires_on: date | None = None) -> None:
    lot = Lot.objects.get_or_create(item=item, code=code, defaults={"expires_on": expires_on})[0]
    Move.objects.create(
        key=f"{item.code}-{code}-{place}",
        item=item,
        lot=lot,
        quantity=quantity,
        from_place=place_of_kind("supplier"),
        to_place=place,
        at=NOW,
    )


def noted(visit: Visit, item: Item, quantity: int) -> None:
    HandOn.objects.create(site=visit.site, kind="load", text="bring", item=item, quantity=quantity, at=NOW)


def loaded(cast: Cast, visits: list[Visit]) -> LoadList:
    positions = {visit.pk: number for number, visit in enumerate(visits, start=1)}
    return load_list(visits, positions, cast.rob.van, cast.rob.depot, MONDAY)


def test_what_is_on_board_need_not_be_loaded() -> None:
    cast, salt = the_cast(), an_item("Salt")
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, salt, 5000)
    stocked(salt, place_for_van(cast.rob.van), 2000)
    stocked(salt, place_for_depot(cast.rob.depot), 9000)
    line = loaded(cast, [visit]).lines[0]
    assert (line.needed, line.on_board, line.to_load, line.short_by) == (5000, 2000, 3000, 0)


def test_item_the_store_has_too_little_of_is_short() -> None:
    cast, salt = the_cast(), an_item("Salt")
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, salt, 5000)
    stocked(salt, place_for_depot(cast.rob.depot), 1200)
    result = loaded(cast, [visit])
    assert [line.short_by for line in result.short] == [3800]


def test_counted_things_are_loaded_whole_and_say_how_much_is_used() -> None:
    cast, gas = the_cast(), an_item("Cylinder", kind="part", unit="each", kg_per_unit=Decimal(14))
    visit = a_visit(a_site(cast, "Pier"))
    HandOn.objects.create(site=visit.site, kind="load", item=gas, quantity=Decimal("0.088"), text="gas", at=NOW)
    line = loaded(cast, [visit]).lines[0]
    assert (line.to_load, line.load_words, line.kg) == (1, "1 (uses about 9 %)", 14)


def test_short_amount_on_paper_has_no_needless_digits() -> None:
    cast, salt = the_cast(), an_item("Salt")
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, salt, 240)
    assert loaded(cast, [visit]).lines[0].remark_words == "short of 240 g"


def test_expired_lot_on_board_does_not_count_and_is_shown() -> None:
    cast, reagent = the_cast(), an_item("Reagent", kind="reagent")
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, reagent, 10)
    stocked(reagent, place_for_van(cast.rob.van), 50, code="OLD", expires_on=date(2026, 12, 6))
    line = loaded(cast, [visit]).lines[0]
    assert (line.on_board, [lot.code for lot in line.dead_lots]) == (0, ["OLD"])


def test_what_the_last_stop_needs_goes_in_first() -> None:
    cast = the_cast()
    visits = [a_visit(a_site(cast, name)) for name in ("One", "Two", "Three")]
    for visit, name in zip(visits, ["Carbon", "Feed", "Resin"], strict=True):
        noted(visit, an_item(name, kind="media"), 10)
    assert [line.item.name for line in loaded(cast, visits).lines] == ["Resin", "Feed", "Carbon"]


def test_weight_over_the_payload_left_for_goods() -> None:
    cast, salt = the_cast(), an_item("Salt")
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, salt, 700_000)  # 700 kg; the van may carry 900 less 90 driver and 120 kit
    result = loaded(cast, [visit])
    assert (result.may_carry_kg, result.too_heavy_kg) == (690, 10)


def test_mixed_water_over_the_tank() -> None:
    cast, water = the_cast(), an_item("Mixed water", kind="water", unit="L", kg_per_unit=Decimal("1.025"))
    visit = a_visit(a_site(cast, "Pier"))
    noted(visit, water, 350)
    result = loaded(cast, [visit])
    assert (result.water_l, result.too_wet_l) == (350, 50)


def test_thing_that_is_no_item_is_listed_with_its_stop() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    HandOn.objects.create(site=visit.site, kind="load", text="spare impeller from the bench", at=NOW)
    assert [(thing.stop, thing.text) for thing in loaded(cast, [visit]).things] == [
        (1, "spare impeller from the bench")
    ]


def test_van_that_stays_away_is_loaded_on_the_first_day_for_all_its_rounds() -> None:
    cast, salt = the_cast(), an_item("Salt")
    tuesday = MONDAY + timedelta(days=1)
    near, far = a_visit(a_site(cast, "Near")), a_visit(a_site(cast, "Far"))
    noted(near, salt, 1000)
    noted(far, salt, 3000)
    stocked(salt, place_for_depot(cast.rob.depot), 9000)
    night = a_lodging()
    rows = a_round(cast.rob, [near]), a_round(cast.rob, [far], tuesday)
    Round.objects.filter(pk=rows[0].pk).update(lodging=night)
    Round.objects.filter(pk=rows[1].pk).update(start_lodging=night)
    first, second = (round_view(cast.rob, day, draft=True).load for day in (MONDAY, tuesday))
    assert first is not None
    assert second is not None
    assert (first.lines[0].to_load, first.lines[0].stop_numbers, first.until) == (4000, [1, 2], tuesday)
    assert (second.lines[0].needed, second.lines[0].to_load, second.loaded_on) == (3000, 0, MONDAY)
    Round.objects.filter(pk=rows[0].pk).update(lodging=None)
    Round.objects.filter(pk=rows[1].pk).update(start_lodging=None)
    alone = round_view(cast.rob, MONDAY, draft=True).load
    assert alone is not None
    assert (alone.lines[0].to_load, alone.until) == (1000, None)
