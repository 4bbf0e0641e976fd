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
from servicedesk.visits.models import Visit, VisitEntry, VisitPhoto, VisitUse

MAX_PHOTO_BYTES = 12 * 1024 * 1024
OPEN_STATES = {Visit.State.DUE, Visit.State.PLANNED, Visit.State.PUBLISHED, Visit.State.STARTED}


@dataclass(frozen=True, slots=True)
class Answer:
    """One operation from the page: the field, what is typed now, and the UUIDv7 that names the operation."""

    key: str
    typed: str
    unit: str = ""
    confirmed: bool = False
    not_done_reason: str = ""
    operation: UUID | None = None
    entered_at: datetime | None = None


def _open(visit: Visit) -> Visit:
    locked = Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=visit.pk)
    if locked.state not in OPEN_STATES:
        raise ValidationError(_("This visit is signed; a change is a correction with a reason."))
    return locked


@transaction.atomic
def entry_store(*, visit: Visit, answer: Answer, actor: User) -> VisitEntry:
    """Keep an answer as typed, valid or not. The same operation again changes nothing."""
    if answer.operation is not None:
        known = VisitEntry.objects.filter(operation=answer.operation).first()
        if known is not None:
            return known
    locked = _open(visit)
    entered_at = answer.entered_at or timezone.now()
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
    if locked.state != Visit.State.STARTED:
        changes["state"] = Visit.State.STARTED
    if locked.started_at is None:
        changes["started_at"] = timezone.now()
    Visit.objects.filter(pk=locked.pk).update(**changes)
    return entry


@transaction.atomic
def visit_start(*, visit: Visit, at: datetime, actor: User) -> Visit:
    """The technician is at the door; started already: nothing changes."""
    locked = _open(visit)
    if locked.started_at is None:
        locked.started_at, locked.state = at, Visit.State.STARTED
        locked.save(update_fields=["started_at", "state"])
        typed = at.astimezone(_zone(locked)).strftime("%H:%M")
        VisitEntry.objects.get_or_create(
            visit=locked, key="arrive.at", defaults={"typed": typed, "entered_at": at, "by": actor}
        )
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
