"""The frozen snapshot of a signed visit: canonical JSON and its SHA-256.

Canonical: keys sorted, no white space, UTF-8, numbers that matter as text, so that the same facts
always give the same bytes (in the manner of RFC 8785). The report is rendered from this alone.
"""

import hashlib
import json
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from servicedesk.care.models import Addition
from servicedesk.clients.models import ClientAddress
from servicedesk.installations.models import Animal, PlantCheck
from servicedesk.installations.plant_checks import check_for
from servicedesk.people.models import Firm
from servicedesk.science import units
from servicedesk.visits.form.context import VisitContext
from servicedesk.visits.form.fields import Form
from servicedesk.visits.form.meaning import Meaning
from servicedesk.visits.models import Visit, VisitEntry

SCHEMA = "saltround.visit/1"
HISTORY = 8


def canonical_json(data: dict[str, Any]) -> str:
    """The one text of a snapshot."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def number(value: float | Decimal | None) -> str | None:
    """A number as text: exact for Decimal, the shortest exact form for float."""
    if value is None:
        return None
    return f"{value.normalize():f}" if isinstance(value, Decimal) else repr(float(value))


def build(
    visit: Visit, context: VisitContext, form: Form, entries: dict[str, VisitEntry], meanings: dict[str, Meaning]
) -> dict[str, Any]:
    """Everything the report says, as plain data."""
    zone = context.zone
    return {
        "schema": SCHEMA,
        "firm": _firm(),
        "client": _client(visit, context.day),
        "site": _site(visit),
        "visit": {
            "id": str(visit.pk),
            "kind": str(visit.get_kind_display()),
            "date": context.day.isoformat(),
            "zone": zone.key,
            "arrived": _local(visit.started_at, zone),
            "left": _local(visit.ended_at, zone),
            "technician": str(visit.technician or ""),
            "agreement": str(visit.agreement.title) if visit.agreement else "",
        },
        "display": {"unit_system": visit.site.client.unit_system, "alkalinity_unit": visit.site.client.alkalinity_unit},
        "installations": [
            _installation(visit, context, form, entries, meanings, installation)
            for installation in context.installations
        ],
        "tasks": _tasks(form, entries),
        "uses": _uses(visit),
        "note": _typed(entries, "notes.client"),
        "photos": [
            {
                "sha256": photo.sha256,
                "file": photo.file.name,
                "caption": photo.caption,
                "taken": _local(photo.taken_at, zone),
            }
            for photo in visit.photos.filter(for_client=True)
        ],
        "signatures": [
            {
                "who": signature.who,
                "how": signature.how,
                "name": signature.name,
                "reason": signature.reason,
                "strokes": signature.strokes,
                "at": _local(signature.at, zone),
            }
            for signature in visit.signatures.order_by("-who")
        ],
    }


def _firm() -> dict[str, Any]:
    firm = Firm.objects.get()
    return {
        key: getattr(firm, key)
        for key in ("name", "strapline", "address", "phone", "emergency_phone", "email", "paper")
    }


def _client(visit: Visit, on: date) -> dict[str, Any]:
    client = visit.site.client
    address = ClientAddress.objects.filter(client=client, valid__contains=on).first()
    lines = [address.street, f"{address.city}, {address.region} {address.postcode}"] if address else []
    return {"number": client.number, "name": client.name, "address": lines}


def _site(visit: Visit) -> dict[str, Any]:
    site = visit.site
    return {"name": site.name, "address": [site.street, f"{site.city}, {site.region} {site.postcode}"]}


def _installation(
    visit: Visit,
    context: VisitContext,
    form: Form,
    entries: dict[str, VisitEntry],
    meanings: dict[str, Meaning],
    installation: Any,
) -> dict[str, Any]:
    return {
        "code": installation.code,
        "name": installation.name,
        "kind": str(installation.get_kind_display()),
        "net_volume_l": number(installation.net_volume_l),
        "animals": _animals(installation, context.day),
        "look": {part: _choice_words(form, entries, f"look.{installation.pk}.{part}") for part in ("animals", "water")}
        | {"note": _typed(entries, f"look.{installation.pk}.note")},
        "readings": _readings(context, form, entries, meanings, installation.pk),
        "plant": _plant(visit, context, installation.pk),
        "settings": _settings(form, entries, installation.pk),
        "additions": _additions(installation, visit),
    }


def _animals(installation: Any, day: date) -> list[str]:
    rows = Animal.objects.filter(installation=installation, left_on=None)
    return [f"{row.count} × {row.name}" for row in rows if row.arrived_on is None or row.arrived_on <= day]


def _readings(
    context: VisitContext, form: Form, entries: dict[str, VisitEntry], meanings: dict[str, Meaning], installation: int
) -> list[dict[str, Any]]:
    rows = []
    for band in context.bands.get(installation, []):
        key = f"test.{installation}.{band.parameter_id}"
        entry, declared = entries.get(key), form.field(key)
        if entry is None or declared is None or not (entry.typed.strip() or entry.not_done_reason):
            continue
        row: dict[str, Any] = {
            "parameter": band.parameter_id,
            "name": band.parameter.name,
            "quantity": band.parameter.quantity,
            "typed": entry.typed,
            "unit": entry.unit,
            "not_done": entry.not_done_reason,
            "confirmed_odd": entry.confirmed,
        }
        found = meanings[key]
        if found.result is not None and found.result.value is not None:
            row |= {
                "value": number(found.result.value),
                "below": found.result.below,
                "state": found.result.state,
                "words": found.words,
                "advice": [*found.sentences, *found.steps],
                "cautions": list(found.cautions),
                "sd": number(band.parameter.sd_abs + band.parameter.sd_rel * abs(found.result.value)),
                "band": {
                    edge: number(getattr(band, edge)) for edge in ("alarm_low", "low", "target", "high", "alarm_high")
                },
                "history": [
                    {"at": past.taken_at.isoformat(), "value": number(past.value), "sd": number(past.sd)}
                    for past in context.recent.get(installation, {}).get(band.parameter_id, [])[-HISTORY:]
                ],
            }
        rows.append(row)
    return rows


def _plant(visit: Visit, context: VisitContext, installation: int) -> list[dict[str, Any]]:
    rows = []
    plant = {item.pk: item for item in context.plant.get(installation, [])}
    checks = PlantCheck.objects.filter(plant_item__in=plant, at__gte=visit.started_at, at__lte=visit.ended_at)
    for check in checks.order_by("plant_item__position", "plant_item_id", "key", "moment"):
        item = plant[check.plant_item_id]
        spec = check_for(item.kind, check.key)
        if spec is None:
            continue
        rows.append(
            {
                "item": item.label,
                "check": str(spec.label),
                "moment": check.moment if spec.as_left else "",
                "quantity": spec.quantity,
                "value": number(check.value),
                "word": str(dict(spec.choices).get(check.word, check.word)),
                "failed": check.word in spec.bad_words,
                "note": check.note,
            }
        )
    return rows


def _settings(form: Form, entries: dict[str, VisitEntry], installation: int) -> list[dict[str, Any]]:
    rows = []
    for group in form.step("set").groups:
        if group.installation != installation:
            continue
        for declared in group.fields:
            entry = entries.get(declared.key)
            left = ""
            if entry is not None and entry.typed.strip():
                label = dict(declared.units).get(entry.unit, "")
                left = f"{entry.typed.strip()} {label}".strip()
            if declared.before or left:
                rows.append({"name": declared.label, "found": declared.before, "left": left or declared.before})
    return rows


def _additions(installation: Any, visit: Visit) -> list[dict[str, Any]]:
    rows = Addition.objects.filter(installation=installation, at__gte=visit.started_at, at__lte=visit.ended_at)
    return [
        {
            "kind": str(row.get_kind_display()),
            "what": row.note,
            "mass_g": number(row.mass_g),
            "volume_l": number(row.volume_l),
        }
        for row in rows.order_by("at")
    ]


def _tasks(form: Form, entries: dict[str, VisitEntry]) -> list[dict[str, Any]]:
    rows = []
    for group in form.step("do").groups:
        entry = entries.get(group.key)
        rows.append(
            {
                "title": group.title,
                "done": entry is not None and entry.typed == "done",
                "reason": entry.not_done_reason if entry else "",
                "note": _typed(entries, f"{group.key}.note"),
            }
        )
    return rows


def _uses(visit: Visit) -> list[dict[str, Any]]:
    return [
        {
            "item": use.item.name,
            "unit": str(use.item.get_unit_display()),
            "quantity": number(use.quantity),
            "lot": use.lot.code if use.lot else "",
            "place": use.place.name,
        }
        for use in visit.uses.select_related("item", "lot", "place").order_by("item__name")
    ]


def _typed(entries: dict[str, VisitEntry], key: str) -> str:
    entry = entries.get(key)
    return entry.typed.strip() if entry else ""


def _choice_words(form: Form, entries: dict[str, VisitEntry], key: str) -> str:
    declared = form.field(key)
    return dict(declared.options).get(_typed(entries, key), "") if declared else ""


def _local(at: datetime | None, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(timespec="minutes") if at else ""


def shown(quantity: str, value: str | None, unit: str) -> str:
    """A canonical value of a snapshot in a unit people read."""
    return units.show(quantity, float(value), unit) if value is not None else ""
