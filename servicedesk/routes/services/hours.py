"""Changes of what is reckoned as hours: pay rules, and work that no visit shows."""

from datetime import datetime, timedelta
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import PayRule, Technician, User
from servicedesk.people.permissions import allows
from servicedesk.routes.models import HoursEntry

LONGEST = timedelta(hours=24)


@transaction.atomic
def entry_add(
    *, entry_id: UUID, technician: Technician, kind: str, began_at: datetime, ended_at: datetime, note: str, actor: User
) -> HoursEntry:
    """Note other work or a break; the same id again changes nothing. People note their own; the office anybody's."""
    _refuse_strangers(technician, actor)
    found = HoursEntry.objects.filter(pk=entry_id).first()
    if found is not None:
        return found
    if ended_at <= began_at:
        raise ValidationError({"ended_at": [_("The end is not after the beginning.")]})
    if ended_at - began_at > LONGEST:
        raise ValidationError({"ended_at": [_("That is more than a day. Note each day by itself.")]})
    if began_at > timezone.now():
        raise ValidationError({"began_at": [_("This is still to come.")]})
    Technician.objects.select_for_update().get(pk=technician.pk)
    same = HoursEntry.objects.filter(technician=technician, archived_at=None, kind=kind)
    if same.filter(began_at__lt=ended_at, ended_at__gt=began_at).exists():
        raise ValidationError({"began_at": [_("Some of this time is noted already.")]})
    return HoursEntry.objects.create(
        id=entry_id, technician=technician, kind=kind, began_at=began_at, ended_at=ended_at, note=note, by=actor
    )


@transaction.atomic
def entry_take_off(*, entry: HoursEntry, actor: User) -> None:
    """Take an entry off the sheet; the trail keeps it."""
    _refuse_strangers(entry.technician, actor)
    HoursEntry.objects.filter(pk=entry.pk, archived_at=None).update(archived_at=timezone.now())


def _refuse_strangers(technician: Technician, actor: User) -> None:
    if technician.user_id != actor.pk and not allows(actor.roles, "people.edit"):
        raise ValidationError(_("You note only your own hours."))


@transaction.atomic
def rule_set(*, rule: PayRule, actor: User) -> PayRule:
    """A pay rule from a day on; the same day again replaces that day's rule. Sheets before it stay as they were."""
    old = PayRule.objects.filter(technician=rule.technician, valid_from=rule.valid_from).first()
    if old is not None:
        rule.pk = old.pk
        rule._state.adding = False
    rule.full_clean()
    rule.save()
    return rule
