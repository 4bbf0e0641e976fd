"""Changes of people, their hours, vans and permissions."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.common.mail.send import mail_queue
from servicedesk.people.models import (
    Depot,
    Firm,
    Leave,
    Lodging,
    Permission,
    PermissionKind,
    Technician,
    User,
    Van,
    WorkingHours,
)
from servicedesk.people.permissions import allows
from servicedesk.people.queries import renewals_due


@dataclass(frozen=True, slots=True)
class DayHours:
    """Working hours of a weekday; ``starts`` None: a day off."""

    weekday: int
    starts: time | None
    ends: time | None
    lunch_min: int = 30


@transaction.atomic
def user_save(*, user: User, roles: Sequence[str], actor: User, password: str = "") -> User:
    """Store a person. Only who may change roles changes them; nobody takes the owner's role from the last owner."""
    before = User.objects.filter(pk=user.pk).values_list("roles", flat=True).first() or []
    if set(roles) != set(before):
        if not allows(actor.roles, "people.roles"):
            raise ValidationError({"roles": [_("Only the owner changes roles.")]})
        owners = User.objects.select_for_update().filter(roles__contains=["owner"], is_active=True).exclude(pk=user.pk)
        if "owner" in before and "owner" not in roles and not owners.exists():
            raise ValidationError({"roles": [_("Somebody must stay the owner.")]})
        user.roles = list(roles)
    if password:
        user.set_password(password)
    elif user._state.adding:
        user.set_unusable_password()
    user.full_clean(exclude=["password"])
    user.save()
    return user


@transaction.atomic
def theme_set(*, user: User, theme: str) -> None:
    User.objects.filter(pk=user.pk).update(theme=theme)


@transaction.atomic
def own_settings_save(*, user: User) -> None:
    user.full_clean(exclude=["password"])
    user.save()


@transaction.atomic
def technician_save(*, technician: Technician, actor: User) -> Technician:
    technician.full_clean()
    technician.save()
    return technician


@transaction.atomic
def hours_set(*, technician: Technician, days: Sequence[DayHours], valid_from: date, actor: User) -> None:
    """New working hours from a day on; the ones before end the day before."""
    locked = Technician.objects.select_for_update().get(pk=technician.pk)
    current = WorkingHours.objects.filter(technician=locked)
    current.filter(valid_from__gte=valid_from).delete()
    current.filter(valid_to=None).update(valid_to=valid_from - timedelta(days=1))
    rows = [
        WorkingHours(
            technician=locked,
            weekday=day.weekday,
            starts=day.starts,
            ends=day.ends,
            lunch_min=day.lunch_min,
            valid_from=valid_from,
        )
        for day in days
        if day.starts is not None and day.ends is not None
    ]
    WorkingHours.objects.bulk_create(rows)


@transaction.atomic
def leave_add(*, leave: Leave, actor: User) -> Leave:
    """Note leave; the same days twice make one."""
    leave.full_clean()
    found, _created = Leave.objects.get_or_create(
        technician=leave.technician,
        first_day=leave.first_day,
        last_day=leave.last_day,
        part=leave.part,
        defaults={"reason": leave.reason},
    )
    return found


@transaction.atomic
def leave_remove(*, leave: Leave, actor: User) -> None:
    leave.delete()


@transaction.atomic
def permission_add(*, permission: Permission, actor: User) -> Permission:
    """Note a permission or its renewal; the same first day twice is the same permission."""
    permission.full_clean(validate_constraints=False)
    if permission.last_day < permission.first_day:
        raise ValidationError({"last_day": [_("The last day is before the first.")]})
    found, _created = Permission.objects.update_or_create(
        user=permission.user,
        kind=permission.kind,
        first_day=permission.first_day,
        defaults={"last_day": permission.last_day, "number": permission.number, "warned_at": None},
    )
    return found


@transaction.atomic
def record_save(*, record: Depot | Van | Lodging | PermissionKind | Firm, actor: User) -> None:
    """Store a depot, a van, a lodging, a kind of permission or the firm's own data."""
    record.full_clean()
    record.save()


@transaction.atomic
def lodging_archive(*, lodging: Lodging, archived: bool, actor: User) -> None:
    """Take a lodging out of planning, or back into it; nights planned there stay."""
    found = Lodging.objects.select_for_update().get(pk=lodging.pk)
    if (found.archived_at is not None) != archived:
        found.archived_at = timezone.now() if archived else None
        found.save(update_fields=["archived_at"])


def renewals_warn(*, on: date | None = None) -> int:
    """Mail the office once for each permission about to lapse; returns how many."""
    day = on or timezone.localdate()
    firm = Firm.objects.first()
    if firm is None or not firm.office_list:
        return 0
    warned = 0
    for permission in renewals_due(day).filter(warned_at=None):
        with transaction.atomic():
            claimed = Permission.objects.filter(pk=permission.pk, warned_at=None).update(warned_at=timezone.now())
            if not claimed:
                continue
            mail_queue(
                dedupe_key=f"renewal:{permission.pk}:{permission.last_day}",
                kind="renewal",
                to=firm.office_list,
                subject=_("Renew: %(kind)s of %(name)s") % {"kind": permission.kind.name, "name": permission.user.name},
                body=_(
                    "%(kind)s of %(name)s is valid to %(day)s. Visits that need it after that day cannot be planned.\n"
                )
                % {
                    "kind": permission.kind.name,
                    "name": permission.user.name,
                    "day": date_format(permission.last_day, "D j M Y"),
                },
                about=f"user:{permission.user_id}",
            )
            warned += 1
    return warned
