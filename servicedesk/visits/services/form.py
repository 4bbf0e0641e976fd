"""Storing what is typed into a visit's form, at once and as typed."""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from PIL import Image, UnidentifiedImageError

from servicedesk.consumables.models import Item, Lot, StockPlace
from servicedesk.installations.models import Installation
from servicedesk.people.models import User
from servicedesk.visits.form.arrival import ARRIVAL, arrival_error, day_question
from servicedesk.visits.models import Visit, VisitEntry, VisitPhoto, VisitUse

MAX_PHOTO_BYTES = 12 * 1024 * 1024
OPEN_STATES = {Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED, Visit.State.STARTED}


@dataclass(frozen=True, slots=True)
class Answer:
    """One operation from the page: the field, what is typed now, and the UUIDv7 that names the operation.

    ``begins``: the person was asked, and begins the visit on another day than it is planned for.
    """

    key: str
    typed: str
    unit: str = ""
    confirmed: bool = False
    not_done_reason: str = ""
    operation: UUID | None = None
    entered_at: datetime | None = None
    begins: bool = False


def _open(visit: Visit) -> Visit:
    locked = Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=visit.pk)
    if locked.state not in OPEN_STATES:
        raise ValidationError(_("This visit is signed; a change is a correction with a reason."))
    return locked


@transaction.atomic
def entry_store(*, visit: Visit, answer: Answer, actor: User) -> VisitEntry:
    """Keep an answer as typed, valid or not. The same operation again changes nothing.

    The first answer begins the visit, on another day than planned only when that was asked; an arrival in the future
    begins nothing, and an arrival taken out again ends what nothing else was entered for.
    """
    if answer.operation is not None:
        known = VisitEntry.objects.filter(operation=answer.operation).first()
        if known is not None:
            return known
    locked = _open(visit)
    entered_at = answer.entered_at or timezone.now()
    says_something = bool(answer.typed.strip() or answer.not_done_reason)
    question = day_question(locked, entered_at) if says_something and not answer.begins else ""
    if question:
        raise ValidationError(question)
    entry = VisitEntry.objects.select_for_update().filter(visit=locked, key=answer.key).first()
    if entry is None:
        entry = VisitEntry(visit=locked, key=answer.key, version=0)
    elif entry.entered_at > entered_at:
        return entry
    entry.typed, entry.unit = answer.typed, answer.unit
    entry.confirmed, entry.not_done_reason = answer.confirmed, answer.not_done_reason
    entry.entered_at, entry.by, entry.version = entered_at, actor, entry.version + 1
    if answer.operation is not None:
        entry.operation = answer.operation
    entry.save()
    changes: dict[str, object] = {"form_version": F("form_version") + 1}
    future = answer.key == ARRIVAL and arrival_error(answer.typed, entered_at, _zone(locked))
    if says_something and not future:
        changes |= {"state": Visit.State.STARTED, "started_at": locked.started_at or timezone.now()}
    elif answer.key == ARRIVAL and not says_something and _is_blank(locked):
        changes |= {"state": _before_beginning(locked), "started_at": None}
    Visit.objects.filter(pk=locked.pk).update(**changes)
    return entry


def _is_blank(visit: Visit) -> bool:
    """Begun, and nothing entered for it."""
    said = visit.entries.exclude(typed="", not_done_reason="")
    is_begun = visit.state == Visit.State.STARTED
    return is_begun and not said.exists() and not visit.uses.exists() and not visit.photos.exists()


def _before_beginning(visit: Visit) -> Visit.State:
    if visit.planned_on is None:
        return Visit.State.DUE
    return Visit.State.PUBLISHED if visit.technician_id is not None else Visit.State.PLANNED


@transaction.atomic
def visit_start(*, visit: Visit, at: datetime, actor: User, begins: bool = False) -> Visit:
    """The technician is at the door; started already: nothing changes. ``begins``: on another day, as asked."""
    locked = _open(visit)
    question = "" if begins else day_question(locked, at)
    if question:
        raise ValidationError(question, code="another_day")
    if locked.started_at is None:
        locked.started_at, locked.state = at, Visit.State.STARTED
        locked.save(update_fields=["started_at", "state"])
        typed = at.astimezone(_zone(locked)).strftime("%H:%M")
        arrival, made = VisitEntry.objects.get_or_create(
            visit=locked, key=ARRIVAL, defaults={"typed": typed, "entered_at": at, "by": actor}
        )
        if not made and (not arrival.typed or arrival_error(arrival.typed, at, _zone(locked))):
            arrival.typed, arrival.entered_at, arrival.by = typed, at, actor
            arrival.save()
    return locked


def _zone(visit: Visit) -> ZoneInfo:
    return ZoneInfo(visit.site.time_zone)


@transaction.atomic
def use_add(
    *,
    visit: Visit,
    use_id: UUID,
    item: Item,
    lot: Lot | None,
    place: StockPlace,
    quantity: Decimal,
    installation: Installation | None,
    actor: User,
) -> VisitUse:
    """Note a consumable used; it leaves the books on sign-off. The same id again changes nothing."""
    locked = _open(visit)
    use, _created = VisitUse.objects.get_or_create(
        id=use_id,
        defaults={
            "visit": locked,
            "item": item,
            "lot": lot,
            "place": place,
            "quantity": quantity,
            "installation": installation,
        },
    )
    return use


@transaction.atomic
def use_remove(*, visit: Visit, use: VisitUse, actor: User) -> None:
    """Take a line off before the visit is signed."""
    locked = _open(visit)
    VisitUse.objects.filter(pk=use.pk, visit=locked, move=None).delete()


@transaction.atomic
def photo_add(
    *,
    visit: Visit,
    upload: "UploadedFile[bytes]",
    field_key: str,
    caption: str,
    installation: Installation | None,
    actor: User,
) -> VisitPhoto:
    """Keep a photo once, whatever is tapped; ValidationError when it is no picture or too large."""
    locked = _open(visit)
    if upload.size is None or upload.size > MAX_PHOTO_BYTES:
        raise ValidationError({"photo": [_("This picture is larger than 12 MB.")]})
    try:
        with Image.open(upload) as picture:
            picture.verify()
            kind = picture.format
    except (UnidentifiedImageError, OSError, SyntaxError) as error:
        raise ValidationError({"photo": [_("This file is not a picture we can read (JPEG, PNG or WebP).")]}) from error
    if kind not in {"JPEG", "PNG", "WEBP", "MPO"}:
        raise ValidationError({"photo": [_("This file is not a picture we can read (JPEG, PNG or WebP).")]})
    upload.seek(0)
    digest = hashlib.sha256(upload.read()).hexdigest()
    upload.seek(0)
    known = VisitPhoto.objects.filter(visit=locked, sha256=digest).first()
    if known is not None:
        return known
    suffix = {"PNG": "png", "WEBP": "webp"}.get(kind, "jpg")
    upload.name = f"{digest[:24]}.{suffix}"
    return VisitPhoto.objects.create(
        visit=locked,
        file=upload,
        sha256=digest,
        field_key=field_key,
        caption=caption,
        installation=installation,
        taken_at=timezone.now(),
        by=actor,
    )
