"""Changes of clients, sites and agreements. Nothing is deleted: it is archived."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max, Model
from django.utils import timezone
from django.utils.translation import gettext as _
from psycopg.types.range import DateRange

from servicedesk.clients.models import (
    AccessWindow,
    Agreement,
    AgreementPrice,
    Client,
    ClientAddress,
    Closure,
    Contact,
    GateCode,
    Site,
    SiteKey,
)
from servicedesk.common.once import once
from servicedesk.people.models import PermissionKind, User

Record = TypeVar("Record", bound=Model)


@dataclass(frozen=True, slots=True)
class Address:
    street: str
    city: str
    region: str
    postcode: str
    country: str = "US"


@transaction.atomic
def client_create(*, client: Client, address: Address, since: date, token: str, actor: User) -> Client:
    """A new client with its billing address; the same form sent twice makes one."""
    made = once(token, "client")
    if made is not None:
        return Client.objects.get(pk=made)
    client.number = _next_number("C", Client.objects.aggregate(newest=Max("number"))["newest"], 4)
    client.full_clean()
    client.save()
    ClientAddress.objects.create(client=client, valid=DateRange(since, None), **_fields(address))
    once(token, "client", client.pk)
    return client


def _fields(address: Address) -> dict[str, str]:
    return {key: getattr(address, key) for key in ("street", "city", "region", "postcode", "country")}


def _next_number(prefix: str, newest: str | None, digits: int) -> str:
    last = int(newest.removeprefix(prefix)) if newest and newest.removeprefix(prefix).isdigit() else 0
    return f"{prefix}{last + 1:0{digits}}"


@transaction.atomic
def client_move(*, client: Client, address: Address, since: date, actor: User) -> ClientAddress:
    """A new billing address from a day on; yesterday's papers keep yesterday's."""
    Client.objects.select_for_update().get(pk=client.pk)
    current = ClientAddress.objects.filter(client=client, valid__endswith=None).first()
    if current is not None and current.valid.lower is not None:
        if since <= current.valid.lower:
            raise ValidationError(
                {"since": [_("The present address holds from that day or later; choose a later day.")]}
            )
        current.valid = DateRange(current.valid.lower, since)
        current.save(update_fields=["valid"])
    return ClientAddress.objects.create(client=client, valid=DateRange(since, None), **_fields(address))


@transaction.atomic
def record_save(*, record: Record, actor: User) -> Record:
    """Store a client, site, contact, key, closure or gate code after its own checks."""
    record.full_clean()
    record.save()
    return record


@transaction.atomic
def record_create(*, record: Record, token: str, actor: User) -> Record:
    """Store a new record once, however often its form is sent."""
    name = record._meta.model_name or ""
    made = once(token, name)
    if made is not None:
        return type(record)._default_manager.get(pk=made)
    record.full_clean()
    record.save()
    once(token, name, record.pk)
    return record


@transaction.atomic
def site_permissions_set(*, site: Site, kinds: Sequence[PermissionKind], actor: User) -> None:
    """What a person needs to get in."""
    site.needed_permissions.set(kinds)


@transaction.atomic
def archive(*, record: Client | Site | Agreement | Contact | SiteKey | GateCode, actor: User) -> None:
    """Put a record away; archived already: nothing changes."""
    if isinstance(record, Client) and record.sites.filter(archived_at=None).exists():
        raise ValidationError(_("This client still has sites. Archive them first."))
    type(record)._default_manager.filter(pk=record.pk, archived_at=None).update(archived_at=timezone.now())


@transaction.atomic
def unarchive(*, record: Client | Site | Agreement, actor: User) -> None:
    type(record)._default_manager.filter(pk=record.pk).update(archived_at=None)


@transaction.atomic
def part_remove(*, part: AccessWindow | Closure, actor: User) -> None:
    """Take an access window or a closure off; the audit trail keeps it."""
    part.delete()


@transaction.atomic
def agreement_save(
    *, agreement: Agreement, barred: Sequence[User], fee: Decimal, hourly_rate: Decimal, callout_fee: Decimal,
    prices_from: date, token: str, actor: User,
) -> Agreement:  # fmt: skip
    """Store an agreement with its prices from a day on. Prices of earlier days stay as they were."""
    adding = agreement._state.adding
    if adding:
        made = once(token, "agreement")
        if made is not None:
            return Agreement.objects.get(pk=made)
        agreement.number = _next_number("A", Agreement.objects.aggregate(newest=Max("number"))["newest"], 5)
    agreement.full_clean()
    agreement.save()
    agreement.barred_technicians.set(barred)
    AgreementPrice.objects.update_or_create(
        agreement=agreement,
        valid_from=prices_from,
        defaults={"fee": fee, "hourly_rate": hourly_rate, "callout_fee": callout_fee},
    )
    if adding:
        once(token, "agreement", agreement.pk)
    return agreement


@transaction.atomic
def agreement_reschedule(*, agreement: Agreement, rule: str, first_visit_on: date, actor: User) -> Agreement:
    """Give an agreement another rhythm from a first visit on; the audit trail keeps the one before."""
    agreement.rule, agreement.first_visit_on = rule, first_visit_on
    agreement.full_clean()
    agreement.save(update_fields=["rule", "first_visit_on"])
    return agreement
