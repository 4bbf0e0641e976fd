"""What a typed reading means while it is typed: computed from one JSON declaration and the typed text.

The declaration of a field (``visits.form.declaration`` builds it) carries all that is needed::

    {"quantity": "alkalinity", "possible": [0, 12], "plausible": [1.2, 5.5], "sd": 0.06,
     "band": {"alarm_low": 2.3, "low": 2.6, "target": 2.9, "high": 3.2, "alarm_high": 3.9} | null,
     "last": {"value": 2.9, "days": 7.0, "sd": 0.06} | null,
     "dose": {"product": {... Product ...}, "volume_l": 5200.0, "rise_per_day": 0.5, "start_min": 600} | null}

All numbers are canonical. A browser can hold the same declaration and do the same few sums.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from servicedesk.science import units
from servicedesk.science.water import dosing
from servicedesk.science.water.demand import Drift, drift
from servicedesk.science.water.dosing import Correction, Product
from servicedesk.science.water.plausibility import Suggestion, check_value, expectation


@dataclass(frozen=True, slots=True)
class LiveResult:
    """``state``: empty, error, impossible, ask, in, low, high, alarm_low, alarm_high or noted (no band)."""

    state: str
    value: float | None = None
    below: bool = False
    message: str = ""
    suggestions: tuple[Suggestion, ...] = ()
    drift: Drift | None = None
    correction: Correction | None = None
    excess: float = 0.0


def live_result(field: Mapping[str, Any], typed: str, unit: str, *, confirmed: bool = False) -> LiveResult:
    """Judge a typed value against its declaration. Never raises for what a person may type."""
    if not typed.strip():
        return LiveResult("empty")
    band, last = field.get("band"), field.get("last")
    expected = expectation(
        quantity=field["quantity"],
        possible=tuple(field["possible"]),
        plausible=tuple(field["plausible"]),
        band=(band["low"], band["high"]) if band else None,
        last=last["value"] if last else None,
        sd=field["sd"],
    )
    try:
        verdict = check_value(typed, unit, expected)
        number = units.parse_number(typed)
    except ValueError as error:
        return LiveResult("error", message=str(error))
    if verdict.kind == "impossible":
        return LiveResult("impossible", message=verdict.reason, suggestions=verdict.suggestions)
    value = units.to_canonical(field["quantity"], number.value, unit)
    if verdict.kind == "ask" and not confirmed:
        return LiveResult("ask", value, message=verdict.reason, suggestions=verdict.suggestions)
    change = drift(value, last["value"], last["days"], field["sd"], last["sd"]) if last else None
    state = band_state(value, band) if band else "noted"
    correction = None if confirmed and verdict.kind == "ask" else _correction(field, value, band)
    excess = max(value - band["high"], 0.0) if band else 0.0
    return LiveResult(state, value, number.below, drift=change, correction=correction, excess=excess)


def band_state(value: float, band: Mapping[str, Any]) -> str:
    """Where a value lies in a band."""
    if band["alarm_low"] is not None and value < band["alarm_low"]:
        return "alarm_low"
    if band["alarm_high"] is not None and value > band["alarm_high"]:
        return "alarm_high"
    if value < band["low"]:
        return "low"
    return "high" if value > band["high"] else "in"


def _correction(field: Mapping[str, Any], value: float, band: Mapping[str, Any] | None) -> Correction | None:
    dose = field.get("dose")
    if not dose or band is None or value >= band["low"]:
        return None
    product = Product(**{**dose["product"], "cautions": tuple(dose["product"]["cautions"])})
    return dosing.plan_correction(
        parameter=product.parameter,
        current=value,
        target=band["target"],
        volume_l=dose["volume_l"],
        product=product,
        rise_per_day=dose["rise_per_day"],
        start_min=dose["start_min"],
    )
