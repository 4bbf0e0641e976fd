"""Reads of people: who works when, whose permissions hold on a day, what lapses soon."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import DateField, ExpressionWrapper, F, QuerySet, Subquery

from servicedesk.people.models import Firm, Permission, Technician, User


@dataclass(frozen=True, slots=True)
class PermissionRow:
    """A permission with what stands on a day: valid, soon, lapsed or not yet begun."""

    permission: Permission
    state: str
    days_left: int


def zone_of(user: User) -> ZoneInfo:
    """The clock a person goes by: a technician's own, else the firm's."""
    own = Technician.objects.filter(user=user).values("time_zone")
    zones = Firm.objects.annotate(own=Subquery(own[:1])).values("own", "time_zone").first()
    if zones is not None:
        return ZoneInfo(zones["own"] or zones["time_zone"])
    return ZoneInfo(own.values_list("time_zone", flat=True).first() or "UTC")


def permission_row(permission: Permission, on: date) -> PermissionRow:
    left = (permission.last_day - on).days
    if permission.first_day > on:
        return PermissionRow(permission, "later", left)
    if left < 0:
        return PermissionRow(permission, "lapsed", left)
    return PermissionRow(permission, "soon" if left <= permission.kind.warn_days else "valid", left)


def permissions_of(user: User, on: date) -> list[PermissionRow]:
    """A person's permissions, the next to lapse first."""
    return [permission_row(row, on) for row in user.permissions_held.select_related("kind")]


def permissions_valid(user: User, on: date) -> set[int]:
    """The kinds of permission a person holds on a day; what counts is validity on the day of the visit."""
    rows = Permission.objects.filter(user=user, first_day__lte=on, last_day__gte=on)
    return set(rows.values_list("kind_id", flat=True))


def renewals_due(on: date) -> QuerySet[Permission]:
    """The newest permission of each person and kind that lapses within its kind's days of warning."""
    newest = Permission.objects.order_by("user_id", "kind_id", "-last_day").distinct("user_id", "kind_id")
    rows = Permission.objects.filter(pk__in=newest.values("pk"), user__is_active=True).select_related("user", "kind")
    warn_from = ExpressionWrapper(F("last_day") - F("kind__warn_days"), output_field=DateField())
    return rows.annotate(warn_from=warn_from).filter(warn_from__lte=on).order_by("last_day")


def people() -> QuerySet[User]:
    return User.objects.select_related("technician__depot", "technician__van").order_by("-is_active", "name")


def technicians_on(day: date) -> QuerySet[Technician]:
    """The technicians employed on a day."""
    rows = Technician.objects.filter(first_day__lte=day, user__is_active=True).exclude(last_day__lt=day)
    return rows.select_related("user", "depot", "van").order_by("user__name")


def letterhead(firm: Firm) -> dict[str, Any]:
    """The firm's letterhead as it stands today, copied into an issued invoice."""
    return {
        "name": firm.name,
        "strapline": firm.strapline,
        "address": firm.address,
        "phone": firm.phone,
        "email": firm.email,
        "tax_id": firm.tax_id,
        "bank_details": firm.bank_details,
        "paper": firm.paper,
    }
