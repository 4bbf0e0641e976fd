"""All worksheets by name, in the order they are shown."""

from collections.abc import Iterable
from functools import cache
from importlib import import_module

from servicedesk.science.worksheets.declare import Worksheet

MODULES = (
    "water.additions",
    "water.solutions",
    "water.demand",
    "water.reactor",
    "water.reactor_gas",
    "water.limewater",
    "water.ph_day",
    "water.carbonate",
    "water.carbonate_pair",
    "water.ph_effects",
    "water.salinity",
    "water.volume",
    "water.exchange",
    "water.top_off",
    "water.reverse_osmosis",
    "water.nitrate",
    "water.phosphate",
    "water.export",
    "water.ammonia",
    "water.oxygen",
    "water.feeding",
    "plant.heat",
    "plant.chiller",
    "plant.heater",
    "plant.exchanger",
    "plant.air",
    "plant.condensation",
    "plant.failures",
    "water.oxygen_outage",
    "plant.pipes",
    "plant.pumps",
    "plant.drains",
    "plant.loads",
    "plant.electricity",
    "instruments.salinity",
    "instruments.meters",
    "instruments.kits",
)


@cache
def all_worksheets() -> tuple[Worksheet, ...]:
    """Every worksheet, by subject; raises ValueError when two share a name."""
    found = [sheet for module in MODULES for sheet in _sheets(module)]
    names = [sheet.name for sheet in found]
    if len(set(names)) != len(names):
        raise ValueError("Two worksheets share a name.")
    return tuple(found)


def worksheet(name: str) -> Worksheet:
    """The worksheet of a name; raises KeyError."""
    for sheet in all_worksheets():
        if sheet.name == name:
            return sheet
    raise KeyError(name)


def by_subject() -> list[tuple[str, list[Worksheet]]]:
    """Worksheets grouped under their subjects, in order of first appearance."""
    groups: dict[str, list[Worksheet]] = {}
    for sheet in all_worksheets():
        groups.setdefault(sheet.subject, []).append(sheet)
    return list(groups.items())


def _sheets(module: str) -> Iterable[Worksheet]:
    loaded: Iterable[Worksheet] = import_module(f"servicedesk.science.worksheets.{module}").SHEETS
    return loaded
