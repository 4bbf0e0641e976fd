"""What an installation and an instrument already know."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.urls import reverse

from servicedesk.installations.models import Animal, PlantCheck
from servicedesk.readings.models import Instrument
from servicedesk.readings.queries import bands, parameters
from servicedesk.science.worksheets import catalogue
from servicedesk.science.worksheets.declare import Choice, Input
from servicedesk.worksheets.recall import found_by, recall
from servicedesk.worksheets.services import remember
from tests.builders import a_kept_worksheet, a_machine, a_user, an_installation, readings
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
ROOMS = {
    "reading", "previous", "between", "target", "limit", "sd", "product", "check", "programme", "plant", "instrument",
}  # fmt: skip
OWN = {"net_volume", "display_volume", "sump_volume", "evaporation", "animals.fish_kg"}


def known(name: str, installation: Any, instrument: Instrument | None = None) -> dict[str, Any]:
    found = recall(catalogue.worksheet(name), installation, instrument)
    return {key: row.value for key, row in found.items()}


def test_every_recall_of_every_sheet_is_understood() -> None:
    for sheet in catalogue.all_worksheets():
        for item in sheet.inputs:
            if item.recall and item.recall not in OWN and found_by(item.recall) is None:
                assert item.recall.partition(".")[0] in ROOMS, f"{sheet.name}.{item.key}: {item.recall}"


def test_what_sheets_find_for_others_exists() -> None:
    asked = [found_by(item.recall) for sheet in catalogue.all_worksheets() for item in sheet.inputs]
    for name, key in filter(None, asked):
        assert key in {output.key for output in catalogue.worksheet(name).outputs}


def test_parameters_checks_and_plant_recalled_exist() -> None:
    from servicedesk.care.programme import BY_KEY
    from servicedesk.installations.models import PlantKind
    from servicedesk.installations.plant_checks import check_for

    for sheet in catalogue.all_worksheets():
        for item in sheet.inputs:
            room, _, rest = item.recall.partition(".")
            kind, _, key = rest.partition(".")
            if room in {"reading", "previous", "between", "target", "limit", "sd"}:
                assert rest in parameters(), f"{sheet.name}.{item.key}: {item.recall}"
            if room == "check":
                assert check_for(kind, key) is not None, f"{sheet.name}.{item.key}: {item.recall}"
            if room == "plant":
                assert kind in {*PlantKind.values, "pumps"}
                assert key in {"capacity", "power"}
            if room == "programme":
                assert rest in BY_KEY, f"{sheet.name}.{item.key}: {item.recall}"


def test_readings_bands_and_volume_fill_a_dose() -> None:
    installation = an_installation()
    readings(installation, datetime.now(UTC), alkalinity=("7.5", "dKH"))
    found = known("raise-alkalinity", installation)
    assert found["volume_l"] == installation.net_volume_l
    assert found["alkalinity_meq_l"] == pytest.approx(7.5 / 2.8039, rel=1e-3)
    assert found["target_meq_l"] == bands(installation)["alkalinity"].target


def test_the_last_two_readings_fill_the_consumption() -> None:
    installation = an_installation()
    now = datetime.now(UTC)
    readings(installation, now - timedelta(days=10), alkalinity=("8.5", "dKH"))
    readings(installation, now, alkalinity=("7.8", "dKH"))
    found = known("alkalinity-demand", installation)
    assert found["first_meq_l"] > found["second_meq_l"]
    assert found["days_d"] == pytest.approx(10)


def test_a_kept_consumption_fills_the_setting_of_the_reactor() -> None:
    installation = an_installation()
    a_kept_worksheet(installation, a_user("lead_aquarist"), "alkalinity-demand", volume="10000", first="3.0",
                     second="2.8", days="10", supplied="800")  # fmt: skip
    assert known("reactor-setting", installation)["demand_meq_l_day"] == pytest.approx(0.1)


def test_the_last_check_of_a_machine_is_recalled() -> None:
    installation = an_installation()
    reactor = a_machine(installation, "reactor")
    now = datetime.now(UTC)
    for days, value in ((9, 40.0), (1, 55.0)):
        PlantCheck.objects.create(plant_item=reactor, key="drip_ml_min", value=value, at=now - timedelta(days=days))
    assert known("reactor-delivery", installation)["flow_ml_min"] == 55.0


def test_a_nameplate_in_other_units_is_converted_and_a_strange_one_left_out() -> None:
    sheet = next(
        sheet for sheet in catalogue.all_worksheets() if any(i.recall == "plant.chiller.capacity" for i in sheet.inputs)
    )
    item = next(i for i in sheet.inputs if i.recall == "plant.chiller.capacity")
    installation = an_installation()
    chiller = a_machine(installation, "chiller", capacity=12_000, capacity_unit="Btu/h")
    assert known(sheet.name, installation)[item.key] == pytest.approx(3516.85, rel=1e-4)
    chiller.capacity_unit = "bananas"
    chiller.save()
    assert item.key not in known(sheet.name, installation)


def test_fish_alive_are_weighed_together() -> None:
    installation = an_installation()
    for count, gone in ((4, None), (9, datetime.now(UTC).date())):
        Animal.objects.create(
            installation=installation, group="fish", name="Tang", count=count, mass_g=250, left_on=gone
        )
    sheets = [sheet for sheet in catalogue.all_worksheets() if any(i.recall == "animals.fish_kg" for i in sheet.inputs)]
    for sheet in sheets:
        item = next(i for i in sheet.inputs if i.recall == "animals.fish_kg")
        assert known(sheet.name, installation)[item.key] == pytest.approx(1.0)
    assert sheets


def test_what_was_typed_on_a_kept_sheet_is_remembered_on_the_next() -> None:
    installation = an_installation()
    a_kept_worksheet(installation, a_user("lead_aquarist"), "room-air-and-ph", alkalinity="2.9", room_co2="830")
    assert known("limewater-hours", installation)["room_co2_ppm"] == 830.0


def test_what_was_typed_for_one_thing_is_not_taken_for_another() -> None:
    installation = an_installation()
    lead = a_user("lead_aquarist")
    a_kept_worksheet(installation, lead, "limewater-share", volume="10000", evaporation="50", demand="0.2",
                     efficiency="61")  # fmt: skip
    assert "efficiency_pct" not in known("standby-power", installation)
    assert known("limewater-share", installation)["efficiency_pct"] == 61.0


def test_a_measurement_is_never_filled_in_from_an_earlier_sheet() -> None:
    installation = an_installation(bands=False)
    a_kept_worksheet(installation, a_user("lead_aquarist"), "raise-calcium", volume="10000", calcium="380")
    assert "calcium_mg_l" not in known("raise-calcium", installation)


def test_the_power_of_like_machines_is_added() -> None:
    installation = an_installation()
    for label in ("left", "right"):
        a_machine(installation, "flow_pump", label=label, power_w=150.0)
    assert known("heat-balance", installation)[_recalling("heat-balance", "plant.flow_pump.power")] == 300.0


def _recalling(sheet: str, recalled: str) -> str:
    return next(item.key for item in catalogue.worksheet(sheet).inputs if item.recall == recalled)


def test_what_lies_outside_an_inputs_range_is_not_filled_in() -> None:
    installation = an_installation(display_l=3.0, sump_l=0, displacement_l=0)
    assert "volume_l" not in known("raise-alkalinity", installation)


def test_an_instrument_remembers_what_a_sheet_asks_of_it(signed_in: SignedIn) -> None:
    client = signed_in("technician")
    name, keys = _instrument_sheet()
    sheet = catalogue.worksheet(name)
    typed = {item.key: _typical(item) for item in sheet.inputs}
    response = client.post(
        reverse("worksheets:remember", args=[name]), {**typed, "instrument_name": "Hydrometer 3, plant room"}
    )
    assert response.status_code == 302
    instrument = Instrument.objects.get()
    assert set(known(name, None, instrument)) == set(keys)
    page = client.get(response["Location"]).content.decode()
    assert "Hydrometer 3, plant room" in page


def test_an_instrument_needs_its_name(signed_in: SignedIn) -> None:
    name, _keys = _instrument_sheet()
    typed = {item.key: _typical(item) for item in catalogue.worksheet(name).inputs}
    response = signed_in("technician").post(reverse("worksheets:remember", args=[name]), typed)
    assert response.status_code == 422
    assert "name that is written on it" in response.content.decode()


def test_an_instrument_out_of_use_is_offered_no_more(signed_in: SignedIn) -> None:
    client = signed_in("lead_aquarist")
    row = remember(name="Old pen", worksheet="ph-meter-check", data={"ph_scale": "nbs"}, actor=a_user("owner"))
    assert "Old pen" in client.get(reverse("worksheets:sheet", args=["ph-scale"])).content.decode()
    client.post(reverse("worksheets:instrument-archive", args=[row.pk]), follow=True)
    assert "Old pen" not in client.get(reverse("worksheets:sheet", args=["ph-scale"])).content.decode()


def _instrument_sheet() -> tuple[str, list[str]]:
    sheet = catalogue.worksheet("hydrometer-reading")
    return sheet.name, [item.key for item in sheet.inputs if item.recall.startswith("instrument.")]


def _typical(item: Any) -> str:
    if isinstance(item, Choice):
        return item.default
    if isinstance(item, Input):
        value = item.default if item.default is not None else (item.low + item.high) / 2
        return f"{value:.6g}"
    return str(item.default)
