"""Sign-off: one transaction turns what was typed into readings, additions, settings, stock and a frozen report."""

from datetime import datetime, timedelta
from decimal import Decimal
from math import ceil
from uuid import NAMESPACE_URL, UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.care.models import Addition
from servicedesk.care.programme import BY_KEY
from servicedesk.care.queries import programme_in_force
from servicedesk.care.services import addition_record, programme_put_in_force
from servicedesk.common import jobs
from servicedesk.common.display import DisplayUnits, use_display
from servicedesk.consumables.models import Item, Lot, StockPlace
from servicedesk.consumables.queries import place_of_kind
from servicedesk.consumables.services import move_post
from servicedesk.installations.models import Installation, PlantCheck
from servicedesk.installations.services import plant_check_record, plant_service_record
from servicedesk.people.models import User
from servicedesk.readings.models import Sampling
from servicedesk.readings.services import TypedReading, sampling_record
from servicedesk.science import units
from servicedesk.science.water import dosing
from servicedesk.visits import snapshot
from servicedesk.visits.form import declaration
from servicedesk.visits.form.fields import Field, Group
from servicedesk.visits.form.meaning import mass_words, meaning
from servicedesk.visits.models import HandOn, Signature, Visit, VisitReport, VisitUse
from servicedesk.visits.services.signing import Signing, prepare, strokes_of, times

URGENT_DAYS = 3
SOON_DAYS = 7
REST_SHARE = 0.05  # a smaller rest lies within the error of test and balance


@transaction.atomic
def visit_sign_off(*, visit: Visit, actor: User, at: datetime | None = None) -> VisitReport:
    """Sign a visit once; signed already: the report that stands. ValidationError per field key otherwise.

    ``at``: when it was signed, if that was before now.
    """
    visit = (
        Visit.objects.select_for_update(of=("self",))
        .select_related("site__client", "agreement", "technician")
        .get(pk=visit.pk)
    )
    if visit.state == Visit.State.SIGNED:
        return visit.reports.order_by("-revision")[0]
    if visit.state in {Visit.State.CANCELLED, Visit.State.NOT_DONE}:
        raise ValidationError(_("This visit was cancelled or not done."))
    signing = prepare(visit, actor)
    if signing.problems:
        raise ValidationError({key: [text] for key, text in signing.problems.items()})
    visit.started_at, visit.ended_at = times(signing)
    _store_readings(signing)
    _store_doses(signing)
    _store_plant(signing)
    _store_settings(signing)
    _store_tasks(signing)
    _store_uses(signing)
    _store_hand_ons(signing)
    _store_signatures(signing, at or timezone.now())
    _hand_on_the_rest(signing)
    _ask_for_next_visit(signing)
    visit.state, visit.signed_at = Visit.State.SIGNED, at or timezone.now()
    visit.technician = visit.technician or actor
    visit.save()
    text = _frozen(signing)
    report = VisitReport.objects.create(
        visit=visit, revision=1, snapshot=text, sha256=snapshot.digest(text), made_by=actor
    )
    jobs.enqueue("visits.render_report", str(report.pk))
    return report


def _frozen(signing: Signing) -> str:
    """The visit's snapshot, told in the client's units whatever the technician typed in."""
    client = signing.visit.site.client
    with use_display(DisplayUnits(client.unit_system, client.alkalinity_unit)):
        form = declaration.build(signing.context)
        meanings = {
            row.key: meaning(
                row,
                signing.entries.get(row.key),
                told_in=declaration.display_unit(row.quantity) if row.quantity else "",
            )
            for row in form.fields
        }
        built = snapshot.build(signing.visit, signing.context, form, signing.entries, meanings)
    return snapshot.canonical_json(built)


def _own_id(signing: Signing, name: str) -> UUID:
    """A record's id that follows from visit and field, so that a repeated sign-off makes no second."""
    return uuid5(NAMESPACE_URL, f"visit:{signing.visit.pk}:{name}")


def _store_readings(signing: Signing) -> None:
    covers = {cover.installation_id: cover for cover in signing.visit.covers.all()}
    for installation in signing.context.installations:
        rows = []
        for group in signing.groups("test"):
            entry = signing.entries.get(group.key)
            if group.installation != installation.pk or entry is None or not entry.typed.strip():
                continue
            _item, lot, _place = _lot(signing, f"{group.key}.lot")
            rows.append(
                TypedReading(
                    group.reference,
                    entry.typed,
                    entry.unit,
                    reagent_lot_id=lot.pk if lot else None,
                    confirmed=entry.confirmed,
                )
            )
        if rows and signing.visit.ended_at is not None and signing.visit.started_at is not None:
            sampling = sampling_record(
                sampling_id=_own_id(signing, f"sampling:{installation.pk}"),
                installation=installation,
                taken_at=signing.visit.started_at,
                actor=signing.actor,
                source=Sampling.Source.VISIT,
                readings=rows,
            )
            cover = covers[installation.pk]
            cover.sampling = sampling
            cover.save(update_fields=["sampling"])


def _lot(signing: Signing, key: str) -> tuple[Item | None, Lot | None, StockPlace | None]:
    """The item, lot and place that a lot field names as "item:lot:place"; the field's own first choice if untouched."""
    declared = signing.form.field(key)
    if declared is None:
        return None, None, None
    typed = signing.typed(key) or declared.initial
    if typed not in dict(declared.options):
        return None, None, None
    item_id, lot_id, place_id = typed.split(":")
    return (
        Item.objects.get(pk=item_id),
        Lot.objects.get(pk=lot_id) if lot_id else None,
        StockPlace.objects.get(pk=place_id),
    )


def _canonical(signing: Signing, declared: Field) -> float | None:
    entry = signing.entries.get(declared.key)
    if entry is None or not entry.typed.strip():
        return None
    value = units.parse_number(entry.typed).value
    return units.to_canonical(declared.quantity, value, entry.unit) if declared.quantity else value


def _store_doses(signing: Signing) -> None:
    """What was really added: an addition to the water and a use from stock."""
    by_id = {installation.pk: installation for installation in signing.context.installations}
    for group in signing.groups("test"):
        key = f"dose.{group.installation}.{group.reference}"
        declared = signing.form.field(key)
        mass_g = _canonical(signing, declared) if declared else None
        if not mass_g or declared is None or group.installation is None:
            continue
        installation = by_id[group.installation]
        product = _product(signing, group)
        addition_record(
            addition_id=_own_id(signing, key),
            installation=installation,
            kind=Addition.Kind.DOSE,
            at=signing.visit.ended_at or timezone.now(),
            actor=signing.actor,
            product=product.key,
            parameter_id=group.reference,
            mass_g=mass_g,
            change=dosing.rise(product, installation.net_volume_l, mass_g),
            note=product.name,
        )
        item, lot, place = _lot(signing, f"{key}.lot")
        if item is not None and place is not None:
            _use(signing, key, item, lot, place, Decimal(str(mass_g)), installation)


def _product(signing: Signing, group: Group) -> dosing.Product:
    reading = signing.form.field(group.key)
    dose = (reading.live or {}).get("dose") if reading else None
    key = dose["product"]["key"] if dose else dosing.USUAL_PRODUCT[group.reference]
    return dosing.PRODUCTS[key]


def _use(
    signing: Signing,
    key: str,
    item: Item,
    lot: Lot | None,
    place: StockPlace,
    quantity: Decimal,
    installation: Installation,
) -> None:
    VisitUse.objects.get_or_create(
        id=_own_id(signing, f"use:{key}"),
        defaults={
            "visit": signing.visit,
            "installation": installation,
            "item": item,
            "lot": lot,
            "place": place,
            "quantity": quantity.quantize(Decimal("0.001")),
        },
    )


def _store_plant(signing: Signing) -> None:
    plant = {str(item.pk): item for items in signing.context.plant.values() for item in items}
    at = signing.visit.started_at or timezone.now()
    for group in signing.groups("plant"):
        item = plant[group.reference]
        for declared in group.fields:
            if declared.key.endswith(".safe"):
                continue
            entry = signing.entries.get(declared.key)
            if entry is None or not (entry.typed.strip() or entry.not_done_reason):
                continue
            left = declared.key.endswith(".left")
            name = declared.key.removesuffix(".left").rsplit(".", 1)[1]
            value = _canonical(signing, declared) if declared.kind == "number" and entry.typed.strip() else None
            plant_check_record(
                check_id=_own_id(signing, declared.key),
                plant_item=item,
                key=name,
                moment=PlantCheck.Moment.LEFT if left else PlantCheck.Moment.FOUND,
                value=value,
                word=entry.typed.strip() if declared.kind == "choice" else "",
                note=entry.not_done_reason or signing.typed(f"{declared.key}.safe"),
                at=at,
                actor=signing.actor,
            )


def _store_settings(signing: Signing) -> None:
    """Changed settings become a new programme version from now on."""
    for installation in signing.context.installations:
        current = programme_in_force(installation, signing.visit.ended_at)
        settings = dict(current.settings) if current else {}
        changed = False
        for group in signing.groups("set"):
            if group.installation != installation.pk:
                continue
            for declared in group.fields:
                typed = signing.typed(declared.key)
                if not typed:
                    continue
                name = declared.key.split(".", 2)[2]
                setting = BY_KEY[name]
                value = typed if setting.kind == "clock" else _canonical(signing, declared)
                changed = changed or settings.get(name) != value
                settings[name] = value
        if changed:
            programme_put_in_force(
                installation=installation,
                settings=settings,
                at=signing.visit.ended_at or timezone.now(),
                actor=signing.actor,
                reason=_("set at the visit"),
            )


def _store_tasks(signing: Signing) -> None:
    """A done service task counts as the machine's service; a done hand-on is settled."""
    for task in signing.context.tasks:
        if signing.typed(f"do.{task.pk}") != "done":
            continue
        if task.plant_item is not None:
            plant_service_record(
                service_id=_own_id(signing, f"service:{task.pk}"),
                plant_item=task.plant_item,
                done_on=signing.context.day,
                what=task.title,
                actor=signing.actor,
            )
        if task.hand_on_id is not None:
            HandOn.objects.filter(pk=task.hand_on_id, settled_by_visit=None).update(settled_by_visit=signing.visit)


def _store_uses(signing: Signing) -> None:
    """Book every use out of van or site."""
    used = place_of_kind(StockPlace.Kind.USED)
    for use in signing.visit.uses.filter(move=None).select_related("item", "lot", "place"):
        use.move = move_post(
            key=f"visit:{signing.visit.pk}:{use.pk}",
            item=use.item,
            lot=use.lot,
            quantity=use.quantity,
            from_place=use.place,
            to_place=used,
            at=signing.visit.ended_at or timezone.now(),
            actor=signing.actor,
            reason=_("visit at %(site)s") % {"site": signing.visit.site.name},
            document=f"visit:{signing.visit.pk}",
        )
        use.save(update_fields=["move"])


def _store_hand_ons(signing: Signing) -> None:
    """Notes read at this visit are settled, unless they became a task that is still open; new ones are left."""
    open_tasks = {
        task.hand_on_id
        for task in signing.context.tasks
        if signing.typed(f"do.{task.pk}") != "done" and task.hand_on_id
    }
    shown = [note.pk for note in signing.context.hand_ons if note.pk not in open_tasks]
    HandOn.objects.filter(pk__in=shown).update(settled_by_visit=signing.visit)
    for number in range(1, declaration.MAX_HAND_ONS + 1):
        text, item_id = signing.typed(f"next.{number}.text"), signing.typed(f"next.{number}.item")
        if not text and not item_id:
            continue
        quantity = signing.typed(f"next.{number}.quantity")
        item = Item.objects.filter(pk=item_id).first() if item_id.isdigit() else None
        HandOn.objects.get_or_create(
            id=_own_id(signing, f"next:{number}"),
            defaults={
                "site": signing.visit.site,
                "installation": signing.context.installations[0] if len(signing.context.installations) == 1 else None,
                "from_visit": signing.visit,
                "kind": HandOn.Kind.LOAD if item else HandOn.Kind.NOTE,
                "text": text or _("Bring along: %(item)s") % {"item": item.name if item else ""},
                "item": item,
                "quantity": Decimal(str(units.parse_number(quantity).value)) if item and quantity else None,
                "by": signing.actor,
                "at": signing.visit.ended_at or timezone.now(),
            },
        )


def _store_signatures(signing: Signing, now: datetime) -> None:
    Signature.objects.get_or_create(
        visit=signing.visit,
        who=Signature.Who.TECHNICIAN,
        defaults={
            "how": Signature.How.DRAWN,
            "name": signing.typed("sign.technician.name"),
            "strokes": strokes_of(signing, "sign.technician.strokes"),
            "at": now,
        },
    )
    how = signing.typed("sign.client.how")
    Signature.objects.get_or_create(
        visit=signing.visit,
        who=Signature.Who.CLIENT,
        defaults={
            "how": how,
            "name": signing.typed("sign.client.name"),
            "reason": "" if how == Signature.How.DRAWN else signing.typed("sign.client.reason"),
            "strokes": strokes_of(signing, "sign.client.strokes") if how == Signature.How.DRAWN else [],
            "at": now,
        },
    )


def _hand_on_the_rest(signing: Signing) -> None:
    """What a correction still needs after today goes onto the next visit's load list."""
    by_id = {installation.pk: installation for installation in signing.context.installations}
    for group in signing.groups("test"):
        result = signing.meanings[group.key].result
        if result is None or result.correction is None or group.installation is None:
            continue
        correction = result.correction
        declared = signing.form.field(f"dose.{group.installation}.{group.reference}")
        rest_g = correction.mass_g - ((_canonical(signing, declared) if declared else None) or 0.0)
        item = Item.objects.filter(product=correction.product.key, archived_at=None).order_by("code").first()
        if item is None or rest_g < REST_SHARE * correction.mass_g:
            continue
        words = {"name": group.title, "mass": mass_words(rest_g), "product": correction.product.name}
        HandOn.objects.get_or_create(
            id=_own_id(signing, f"rest:{group.key}"),
            defaults={
                "site": signing.visit.site,
                "installation": by_id[group.installation],
                "from_visit": signing.visit,
                "kind": HandOn.Kind.LOAD,
                "text": _("%(name)s is being corrected: %(mass)s of %(product)s still to add") % words,
                "item": item,
                "quantity": Decimal(ceil(rest_g)),
                "by": signing.actor,
                "at": signing.visit.ended_at or timezone.now(),
            },
        )


def _ask_for_next_visit(signing: Signing) -> None:
    """A reading in alarm or a correction over several days brings the site's next visit forward."""
    reasons: list[tuple[int, str]] = []
    for group in signing.groups("test"):
        result = signing.meanings[group.key].result
        if result is None:
            continue
        if result.state in {"alarm_low", "alarm_high"}:
            reasons.append((URGENT_DAYS, _("%(name)s was in alarm on %(day)s") % _told(signing, group)))
        elif result.correction is not None:
            days = min(max(result.correction.days, URGENT_DAYS), SOON_DAYS)
            reasons.append((days, _("%(name)s is being corrected since %(day)s: test again") % _told(signing, group)))
    if not reasons:
        return
    days, why = min(reasons)
    needed = signing.context.day + timedelta(days=days)
    following = (
        Visit.objects.filter(site=signing.visit.site, due_on__gt=signing.context.day)
        .filter(state__in=[Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED], kind=Visit.Kind.ROUTINE)
        .filter(Q(needed_by=None) | Q(needed_by__gt=needed))
        .exclude(pk=signing.visit.pk)
        .order_by("due_on")
        .first()
    )
    if following is None or following.due_on <= needed:
        return
    following.needed_by, following.needed_why = needed, why[:200]
    following.due_on, following.earliest_on = needed, min(following.earliest_on, needed)
    following.due_why = (_("brought forward: %(why)s") % {"why": why})[:200]
    following.save(update_fields=["needed_by", "needed_why", "due_on", "earliest_on", "due_why"])


def _told(signing: Signing, group: Group) -> dict[str, str]:
    return {"name": group.title, "day": signing.context.day.strftime("%-d %b")}
