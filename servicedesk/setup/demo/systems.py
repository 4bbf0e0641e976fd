"""Installations: volumes, machines sized to them, animals, bands, and where they stand."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from psycopg.types.range import DateRange

from servicedesk.consumables.models import IncludedMaterial
from servicedesk.installations.models import Animal, Coverage, Installation, Placement, PlantItem
from servicedesk.readings.models import Band
from servicedesk.readings.services import bands_from_template
from servicedesk.setup.demo.size import fixture
from servicedesk.setup.demo.tank import tank_begin
from servicedesk.setup.demo.world import Place, System, World

WEEKS_BETWEEN = {"twice": 0.5, "weekly": 1, "biweekly": 2, "monthly": 4.5}
FEED_AND_SALTS = {"BICARB": 0.16, "CALCHL": 0.14, "MAGCHL": 0.08, "PELLET": 0.025, "FROZEN": 0.03, "CYSTS": 0.008}
INCLUDED = {"RALK": 3, "RCA": 3, "RMG": 3, "RNO3": 3, "RPO4": 3, "SOCK": 2, "CARBON": 150}


def systems_make(world: World, rows: list[dict[str, Any]]) -> None:
    plates, number = fixture("plant"), 0
    for place, row in zip(world.places, rows, strict=True):
        for data in row["systems"]:
            number += 1
            place.systems.append(_system(world, place, data, number, plates))
        _cover(world, place)


def _system(world: World, place: Place, data: dict[str, Any], number: int, plates: dict[str, Any]) -> System:
    chance = world.size.rng("system", number)
    since = world.size.begins_on - timedelta(days=chance.randint(200, 1800))
    net = data["display_l"] + data["sump_l"] - data["displacement_l"]
    installation = Installation.objects.create(
        code=f"NB-{number:03}",
        started_on=since,
        evaporation_l_day=round(net * chance.uniform(0.006, 0.011), 1),
        **data,
    )
    Placement.objects.create(installation=installation, site=place.site, valid=DateRange(since, None))
    plant = _plant(world, installation, plates["plant"], since)
    Animal.objects.bulk_create(_animals(world, installation, plates["animals"][installation.kind], since))
    bands_from_template(installation=installation, actor=None)
    if installation.kind == "jellyfish":
        _nettle_bands(installation)
    bands = {band.parameter_id: band for band in Band.objects.filter(installation=installation)}
    tank = tank_begin(installation, {item.kind for item in plant}, bands, world.size, wrong=place.wrong)
    return System(installation, place.site, plant, tank, wrong=place.wrong)


def _nettle_bands(installation: Installation) -> None:
    """Jellies are kept cool; the firm keeps a narrower band than the usual one."""
    Band.objects.filter(installation=installation, parameter="temperature").update(low=15.5, target=17, high=18.5)


def _plant(world: World, installation: Installation, plates: list[dict[str, Any]], since: date) -> list[PlantItem]:
    chance, net = world.size.rng("plant", installation.code), installation.net_volume_l
    rows = []
    for position, plate in enumerate(plates):
        if installation.kind not in plate["kinds"] or net < plate.get("min_l", 0):
            continue
        capacity = float(plate.get("fixed") or _rounded(plate["factor"] * net ** plate.get("power", 1)))
        rows.append(
            PlantItem(
                installation=installation,
                kind=plate["kind"],
                label=plate["label"],
                model=f"{plate['model']} {capacity:g}" if plate["factor"] else plate["model"],
                serial=f"{plate['model'][:2].upper()}{chance.randint(10000, 99999)}",
                power_w=plate.get("fixed_w") or max(4.0, _rounded(capacity * plate["w"])),
                capacity=capacity,
                capacity_unit=plate["unit"],
                where=plate["where"],
                installed_on=since + timedelta(days=chance.randint(0, 120)),
                service_interval_days=plate.get("service_days"),
                position=position,
            )
        )
    return PlantItem.objects.bulk_create(rows)


def _rounded(value: float) -> float:
    """To two digits, as nameplates are."""
    return float(f"{value:.2g}")


def _animals(world: World, installation: Installation, rows: list[list[Any]], since: date) -> list[Animal]:
    chance = world.size.rng("animals", installation.code)
    share = (installation.net_volume_l / 1000) ** 0.75
    found = []
    for group, name, species, per_1000_l, mass in rows:
        count = round(per_1000_l * share * chance.uniform(0.8, 1.25))
        if count < 1 or (mass and mass > 80 and installation.net_volume_l < mass * 6):
            continue
        arrived = since + timedelta(days=chance.randint(30, 160))
        found.append(
            Animal(
                installation=installation,
                group=group,
                name=name,
                species=species,
                count=count,
                mass_g=mass,
                arrived_on=arrived,
            )
        )
    return found


def _cover(world: World, place: Place) -> None:
    if place.agreement is None:
        return
    Coverage.objects.bulk_create(
        Coverage(
            agreement=place.agreement,
            installation=system.installation,
            valid=DateRange(place.agreement.starts_on, None),
        )
        for system in place.systems
    )
    litres = sum(system.installation.net_volume_l for system in place.systems)
    quantities = {code: float(quantity * len(place.systems)) for code, quantity in INCLUDED.items()}
    for code, grams_per_l_week in FEED_AND_SALTS.items():
        quantities[code] = round(litres * grams_per_l_week * WEEKS_BETWEEN[place.cadence], -1)
    IncludedMaterial.objects.bulk_create(
        IncludedMaterial(agreement=place.agreement, item=world.items[code], quantity_per_visit=Decimal(str(quantity)))
        for code, quantity in quantities.items()
    )
