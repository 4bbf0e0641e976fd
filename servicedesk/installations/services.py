"""Changes of installations: where they stand, their machines, their animals."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from psycopg.types.range import DateRange

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.once import once
from servicedesk.installations.models import (
    Animal,
    Coverage,
    Installation,
    Placement,
    PlantCheck,
    PlantItem,
    PlantService,
)
from servicedesk.people.models import User


def plant_check_record(
    *,
    check_id: UUID,
    plant_item: PlantItem,
    key: str,
    moment: str,
    value: float | None,
    word: str,
    note: str,
    at: datetime,
    actor: User | None,
) -> PlantCheck:
    """Record a value found or left on a machine; the same id again changes nothing."""
    check, created = PlantCheck.objects.get_or_create(
        id=check_id,
        defaults={
            "plant_item": plant_item,
            "key": key,
            "moment": moment,
            "value": value,
            "word": word,
            "note": note[:200],
            "at": at,
            "by": actor,
        },
    )
    if created and moment == PlantCheck.Moment.LEFT and value is not None:
        with transaction.atomic():
            fresh = PlantItem.objects.select_for_update().get(pk=plant_item.pk)
            fresh.settings = {**fresh.settings, key: value}
            fresh.save(update_fields=["settings"])
    return check


def plant_service_record(
    *, service_id: UUID, plant_item: PlantItem, done_on: date, what: str, actor: User | None
) -> PlantService:
    """Note a service done; the same id again changes nothing."""
    service, _created = PlantService.objects.get_or_create(
        id=service_id,
        defaults={"plant_item": plant_item, "done_on": done_on, "what": what[:200], "done_by": actor},
    )
    return service


@transaction.atomic
def installation_create(
    *, installation: Installation, site: Site, since: date, token: str, actor: User
) -> Installation:
    """A new installation at a site from a day on; the same form sent twice makes one."""
    made = once(token, "installation")
    if made is not None:
        return Installation.objects.get(pk=made)
    installation.full_clean()
    installation.save()
    Placement.objects.create(installation=installation, site=site, valid=DateRange(since, None))
    once(token, "installation", installation.pk)
    return installation


@transaction.atomic
def installation_move(*, installation: Installation, site: Site, since: date, actor: User) -> Placement:
    """Another site from a day on; reports of earlier days keep the old one."""
    Installation.objects.select_for_update().get(pk=installation.pk)
    current = installation.placements.filter(valid__endswith=None).first()
    if current is not None and current.valid.lower is not None:
        if current.site_id == site.pk:
            raise ValidationError({"site": [_("It stands there already.")]})
        if since <= current.valid.lower:
            raise ValidationError(
                {"since": [_("It came to the present site on that day or later; choose a later day.")]}
            )
        current.valid = DateRange(current.valid.lower, since)
        current.save(update_fields=["valid"])
    return Placement.objects.create(installation=installation, site=site, valid=DateRange(since, None))


@transaction.atomic
def record_save(*, record: Installation | PlantItem | Animal, token: str, actor: User) -> None:
    """Store an installation, a machine or animals; a new one once per form."""
    adding = record._state.adding
    name = record._meta.model_name or ""
    if adding and once(token, name) is not None:
        return
    record.full_clean()
    record.save()
    if adding:
        once(token, name, record.pk)


@transaction.atomic
def installation_archive(*, installation: Installation, actor: User) -> None:
    """Put an installation away, or bring it back."""
    locked = Installation.objects.select_for_update().get(pk=installation.pk)
    locked.archived_at = None if locked.archived_at else timezone.now()
    locked.save(update_fields=["archived_at"])


@transaction.atomic
def coverage_set(*, installation: Installation, agreements: Sequence[Agreement], since: date, actor: User) -> None:
    """Which agreements look after an installation from a day on."""
    wanted = {agreement.pk for agreement in agreements}
    open_rows = Coverage.objects.select_for_update().filter(installation=installation, valid__endswith=None)
    for row in open_rows:
        if row.agreement_id in wanted:
            wanted.discard(row.agreement_id)
        elif row.valid.lower is not None and row.valid.lower < since:
            row.valid = DateRange(row.valid.lower, since)
            row.save(update_fields=["valid"])
        else:
            row.delete()
    Coverage.objects.bulk_create(
        [Coverage(installation=installation, agreement_id=pk, valid=DateRange(since, None)) for pk in wanted]
    )
