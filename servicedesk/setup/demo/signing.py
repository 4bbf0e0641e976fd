"""The last weeks' visits: typed into the form as a technician would, and signed by the real sign-off."""

import json
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.utils import timezone

from servicedesk.care.models import Addition
from servicedesk.care.programme import BY_KEY
from servicedesk.care.services import addition_record
from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.common.ids import new_id
from servicedesk.people.models import Technician
from servicedesk.setup.demo.care import PRODUCT_ITEMS, REAGENTS, Care, Hand
from servicedesk.setup.demo.ledger import Ledger
from servicedesk.setup.demo.signature import scribble
from servicedesk.setup.demo.world import Place, World
from servicedesk.visits.models import Visit, VisitEntry, VisitReport, VisitUse
from servicedesk.visits.services.sign_off import visit_sign_off

THREE = Decimal("0.001")
REVIEWED_AFTER = timedelta(days=3)
NOTES = (
    "All systems well. Glass cleaned, pumps and skimmer checked.",
    "Water clear, animals feeding. We trimmed the corals that came near the glass.",
    "Routine visit. Please keep the cabinet doors open a hand's breadth in warm rooms.",
    "Everything in order. A new filter sock is in; the next change is planned.",
)


def visits_sign(world: World, hand: Hand, ledger: Ledger, visits: list[Visit]) -> list[VisitReport]:
    """Sign these visits in the order of their hours."""
    by_site = {place.site.pk: place for place in world.places}
    return [_visit(world, hand, ledger, by_site[visit.site_id], visit) for visit in visits]


def _visit(world: World, hand: Hand, ledger: Ledger, place: Place, visit: Visit) -> VisitReport:
    technician = next(row for row in world.technicians if row.user_id == visit.technician_id)
    zone, chance = ZoneInfo(place.site.time_zone), world.size.rng("signed", place.site.name, visit.planned_on)
    if visit.planned_on is None or visit.planned_start is None:
        raise ValueError("Only a planned visit is signed.")
    starts = datetime.combine(visit.planned_on, visit.planned_start, tzinfo=zone) + timedelta(
        minutes=chance.randint(-4, 9)
    )
    ends = starts + timedelta(minutes=round(visit.duration_min * chance.uniform(0.88, 1.12)))
    Visit.objects.filter(pk=visit.pk).update(state=Visit.State.STARTED, started_at=starts)
    visit.refresh_from_db()
    systems = [
        row for row in place.systems if row.installation.pk in set(visit.covers.values_list("installation", flat=True))
    ]
    cares = [hand.care(system, starts, place.cadence) for system in systems]
    for care in cares:
        _stock(world, ledger, place, technician, visit, care)
    ledger.flush()
    _enter(visit, technician, _answers(world, visit, technician, cares, starts, ends))
    for care in cares:
        _water_change(care, technician, ends)
    with use_display(DisplayUnits(visit.site.client.unit_system, visit.site.client.alkalinity_unit)):
        report = _sign(visit, technician, ends)
    return _sent_or_waiting(world, report, ends)


def _stock(world: World, ledger: Ledger, place: Place, technician: Technician, visit: Visit, care: Care) -> None:
    """Note the uses; sign-off books them. Salts and tests only have to be there."""
    at, actor = care.at, technician.user
    shelf, van = ledger.place_of(place, technician), ledger.van(technician)
    for parameter in (test.parameter for test in care.tests if test.parameter in REAGENTS):
        item = world.items[REAGENTS[parameter]]
        ledger.ensure(depot=place.depot, place=van, item=item, quantity=Decimal(1), at=at, actor=actor)
    for dose in care.doses:
        item = world.items[PRODUCT_ITEMS[dose.product]]
        ledger.ensure(depot=place.depot, place=van, item=item, quantity=Decimal(str(dose.mass_g)), at=at, actor=actor)
    rows = []
    for code, quantity in care.uses.items():
        item, amount = world.items[code], Decimal(str(quantity)).quantize(THREE)
        for lot, part in ledger.take(depot=place.depot, place=shelf, item=item, quantity=amount, at=at, actor=actor):
            rows.append((item, lot, part))
    ledger.flush()
    VisitUse.objects.bulk_create(
        VisitUse(
            id=new_id(),
            visit=visit,
            installation=care.system.installation,
            item=item,
            lot=lot,
            place=shelf,
            quantity=part,
        )
        for item, lot, part in rows
    )


def _answers(
    world: World, visit: Visit, technician: Technician, cares: list[Care], starts: datetime, ends: datetime
) -> dict[str, tuple[str, str]]:
    """{field key: (typed, unit)} of the whole form."""
    number = (visit.due_on.toordinal() + visit.site_id) % len(NOTES)
    contact = visit.site.contacts.order_by("pk").first()
    found = {
        "arrive.at": (starts.strftime("%H:%M"), ""),
        "leave.at": (ends.strftime("%H:%M"), ""),
        "notes.client": (NOTES[number], ""),
        "sign.technician.name": (technician.user.name, ""),
        "sign.technician.strokes": (json.dumps(scribble(technician.user.name)), ""),
    }
    if contact is not None and number != 2:
        found["sign.client.how"] = ("drawn", "")
        found["sign.client.name"] = (contact.name, "")
        found["sign.client.strokes"] = (json.dumps(scribble(contact.name)), "")
    else:
        found["sign.client.how"] = ("absent", "")
        found["sign.client.reason"] = ("nobody at hand; report by email", "")
    for task in visit.tasks.all():
        found[f"do.{task.pk}"] = ("done", "")
    for care in cares:
        found |= _care_answers(care)
    return found


def _care_answers(care: Care) -> dict[str, tuple[str, str]]:
    pk = care.system.installation.pk
    found = {f"look.{pk}.animals": ("good", ""), f"look.{pk}.water": ("good", "")}
    for test in care.tests:
        found[f"test.{pk}.{test.parameter}"] = (test.typed, test.unit)
    for dose in care.doses:
        found[f"dose.{pk}.{dose.parameter}"] = (f"{dose.mass_g:g}", "g")
    for check in care.checks:
        key = f"plant.{check.item.pk}.{check.key}"
        found[key] = (check.word, "") if check.value is None else (f"{check.value:g}", _unit(check.key))
    if care.settings:
        for name, value in care.settings.items():
            setting = BY_KEY[name]
            found[f"set.{pk}.{name}"] = (value, "") if setting.kind == "clock" else (f"{value:g}", setting.unit)
    return found


CHECK_UNITS = {
    "set_point_c": "degC",
    "differential_k": "K",
    "effluent_alkalinity": "meq_l",
    "effluent_ph": "pH",
    "drip_ml_min": "mL_min",
    "cylinder_kg": "kg",
    "lime_level_pct": "pct",
    "delivered_ml": "mL",
    "used_l": "L",
    "tds": "count",
}


def _unit(check: str) -> str:
    return CHECK_UNITS[check]


def _enter(visit: Visit, technician: Technician, answers: dict[str, tuple[str, str]]) -> None:
    VisitEntry.objects.bulk_create(
        VisitEntry(
            visit=visit,
            key=key,
            typed=typed,
            unit=unit,
            entered_at=visit.started_at or timezone.now(),
            by=technician.user,
        )
        for key, (typed, unit) in answers.items()
    )


def _water_change(care: Care, technician: Technician, ends: datetime) -> None:
    if care.water_change_l:
        addition_record(
            addition_id=new_id(),
            installation=care.system.installation,
            kind=Addition.Kind.WATER_CHANGE,
            at=ends - timedelta(minutes=10),
            actor=technician.user,
            volume_l=care.water_change_l,
            note="water change",
        )


def _sign(visit: Visit, technician: Technician, ends: datetime) -> VisitReport:
    """Sign; what the form asks about once (an odd value) is kept as typed, as a technician who tested twice would."""
    try:
        return visit_sign_off(visit=visit, actor=technician.user, at=ends)
    except ValidationError as error:
        odd = [key for key in error.message_dict if key.startswith("test.")]
        if not odd or len(odd) < len(error.message_dict):
            raise
        VisitEntry.objects.filter(visit=visit, key__in=odd).update(confirmed=True)
        return visit_sign_off(visit=visit, actor=technician.user, at=ends)


def _sent_or_waiting(world: World, report: VisitReport, ends: datetime) -> VisitReport:
    """Reports older than three days were sent by the office; the newest wait for it."""
    changes: dict[str, Any] = {"made_at": ends}
    if ends.date() < world.size.today - REVIEWED_AFTER:
        sent = ends + timedelta(hours=20)
        contacts = report.visit.site.contacts.exclude(email="").values_list("email", flat=True)
        changes |= {
            "reviewed_at": sent,
            "reviewed_by": world.first_with("office"),
            "sent_at": sent,
            "sent_to": sorted(contacts),
        }
    VisitReport.objects.filter(pk=report.pk).update(**changes)
    return report
