"""Worksheets the lead aquarist has kept, and the instruments they remember."""

from typing import Any

from servicedesk.common.ids import new_id
from servicedesk.people.models import Role, User
from servicedesk.science.units import canonical_unit
from servicedesk.science.worksheets import catalogue, run
from servicedesk.science.worksheets.declare import Input
from servicedesk.science.worksheets.record import record
from servicedesk.science.worksheets.typed import BadInput, parse
from servicedesk.setup.demo.tank import ALK_SOLUTION_MEQ_ML
from servicedesk.setup.demo.world import System, World
from servicedesk.worksheets.forms import number_for_field
from servicedesk.worksheets.recall import recall
from servicedesk.worksheets.services import keep, remember

INSTRUMENTS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    (
        "pH pen P2, blue case",
        "ph-meter-check",
        {"ph_scale": "nbs", "first_buffer": "7", "second_buffer": "10", "resolution": 0.01},
    ),
    ("Hydrometer H1, long", "hydrometer-reading", {"marked": "25/25", "resolution": 0.0005}),
    (
        "Conductivity meter C4",
        "conductivity-reading",
        {"compensation": "linear", "reference_c": 25.0, "coefficient_pct": 2.0},
    ),
)
PLACES = 8


def worksheets_keep(world: World) -> int:
    """What the lead aquarist worked out for the first reefs; the number of kept sheets."""
    lead = world.first_with(Role.LEAD_AQUARIST)
    for name, sheet, data in INSTRUMENTS:
        remember(name=name, worksheet=sheet, data=data, actor=lead)
    kept = 0
    for system in [each for each in world.systems() if each.installation.kind == "reef_stony"][:PLACES]:
        tank = system.tank
        supplied = (
            tank.reactor_meq()
            + tank.lime_meq()
            + tank.settings.get("dose_alkalinity_ml_day", 0.0) * ALK_SOLUTION_MEQ_ML
        )
        kept += _work("alkalinity-demand", system, lead, "round of the month", supplied_meq_day=f"{supplied:.0f}")
        kept += _work("room-air-and-ph", system, lead, "meter left for a day", room_co2_ppm="740")
    return kept


def _work(name: str, system: System, by: User, note: str, **typed: str) -> int:
    """Work and keep a sheet with what the system remembers; 1, or 0 where too little is known."""
    sheet = catalogue.worksheet(name)
    known = recall(sheet, system.installation, None)
    for item in sheet.inputs:
        row = known.get(item.key)
        if row is not None and item.key not in typed and isinstance(item, Input) and isinstance(row.value, int | float):
            typed[item.key] = number_for_field(item.quantity, row.value, canonical_unit(item.quantity).key)
    try:
        values = parse(sheet, typed)
        told = record(sheet, values, run.answer(sheet, values), lambda _quantity: "")
    except BadInput:
        return 0
    keep(installation=system.installation, record=told, note=note, token=str(new_id()), actor=by)
    return 1
