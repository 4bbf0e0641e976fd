"""Published check values (data/values.json), by id."""

import json
from functools import cache
from pathlib import Path
from typing import Any

VALUES = Path(__file__).parent / "data" / "values.json"


@cache
def published_values() -> dict[str, dict[str, Any]]:
    return {entry["id"]: entry for entry in json.loads(VALUES.read_text())}


def published(entry_id: str) -> dict[str, Any]:
    """The entry: inputs, expected, unit, tolerance, source, provenance."""
    return published_values()[entry_id]
