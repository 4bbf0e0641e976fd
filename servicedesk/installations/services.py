"""Changes of installations: where they stand, their machines, their animals."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from servicedesk.installations.models import PlantCheck, PlantItem, PlantService
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
