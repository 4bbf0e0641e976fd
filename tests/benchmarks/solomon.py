"""Solomon's instances as problems of ours: one long day, a technician per vehicle, cost by distance alone."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from servicedesk.planner.problem import Day, Place, Problem, Table, Technician, Van, Visit, Window

FOLDER = Path(__file__).parent / "public"
START = datetime(2027, 3, 8, tzinfo=UTC)
SCALE = 20  # lengths in the files are so many times the published ones


def names() -> list[str]:
    return sorted(path.stem for path in FOLDER.glob("*.json"))


def best_known(name: str) -> float:
    """The published distance."""
    return float(_raw(name)["best_known"]["distance_first"]["best_known_cost"])


def distance(metres: int) -> float:
    """The length of a plan as published ones are told."""
    return metres / SCALE


def instance(name: str) -> Problem:
    """A metre costs a unit, an hour nothing; leaving a visit out costs more than any plan."""
    raw = _raw(name)
    locations = tuple(row["id"] for row in raw["locations"])
    return Problem(
        first_day=START.date(),
        last_day=START.date(),
        currency="",
        name=name,
        places=tuple(Place(row["id"], row["lat"], row["lon"], "UTC") for row in raw["locations"]),
        technicians=tuple(_technician(row) for row in raw["techs"]),
        visits=tuple(_visit(row) for row in raw["visits"]),
        table=Table(
            locations,
            tuple(tuple(row) for row in raw["travel"]["seconds"]),
            tuple(tuple(row) for row in raw["travel"]["metres"]),
        ),
    )


def _raw(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    return found


def _at(seconds: int) -> datetime:
    return START + timedelta(seconds=seconds)


def _technician(row: dict[str, Any]) -> Technician:
    shift = row["shifts"][0]
    return Technician(
        id=row["id"],
        start=shift["start_loc"],
        end=shift["end_loc"],
        zone="UTC",
        days=(Day(START.date(), _at(shift["open"]), _at(shift["close"])),),
        km_cost=Decimal(1000),
        van=Van(payload_kg=row["capacity"][0]),
    )


def _visit(row: dict[str, Any]) -> Visit:
    option = row["options"][0]
    return Visit(
        id=row["id"],
        place=row["loc"],
        duration_s=row["service_s"],
        skip_cost=Decimal(1_000_000),
        windows=(Window(_at(option["open"]), _at(option["close"])),),
        load_kg=float(row["load"][0]),
    )
