"""Clients and sites from a table. A name that is in the books already is left as it stands.

Clients: ``name``, ``street``, ``city``, ``postcode`` and, if wanted, ``region``, ``country``, ``customer_type``
(business, private, public), ``currency``, ``payment_days``, ``tax_id``, ``email`` (gets reports and invoices).
Sites: ``client`` (name or number), ``name``, ``street``, ``city``, ``region``, ``postcode``, ``latitude``,
``longitude``, ``time_zone`` and, if wanted, ``country``, ``holiday_region``, ``phone``, ``access_notes``.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Client, ClientAddress, Contact, Site
from servicedesk.clients.services import Address, client_create, record_create
from servicedesk.common.tables import Fate, fit, given, known, problems, wrong
from servicedesk.people.models import User

CLIENTS_REQUIRED = ("name", "street", "city", "postcode")
CLIENT_FIELDS = ("name", "customer_type", "tax_id", "currency", "payment_days")
ADDRESS_FIELDS = ("street", "city", "region", "postcode", "country")
SITES_REQUIRED = ("client", "name", "street", "city", "region", "postcode", "latitude", "longitude", "time_zone")
SITE_FIELDS = (*SITES_REQUIRED[1:], "country", "holiday_region", "phone", "access_notes")


@dataclass(frozen=True, slots=True)
class ClientRow:
    """A fit client with its address and the contact its papers go to."""

    client: Client
    address: Address
    email: str


def client_fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row of clients without storing anything."""
    names = {name.lower() for name in Client.objects.values_list("name", flat=True)}
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple(row.values())
        name = row.get("name", "").strip()
        if name.lower() in names:
            found.append(known(line, cells))
            continue
        try:
            payload = _client_row(row)
        except ValidationError as error:
            found.append(wrong(line, cells, problems(error)))
            continue
        names.add(name.lower())
        found.append(fit(line, cells, payload))
    return found


def _client_row(row: dict[str, str]) -> ClientRow:
    client = Client(**given(row, CLIENT_FIELDS))
    client.full_clean(exclude=["number"])
    cells = given(row, ADDRESS_FIELDS)
    ClientAddress(**cells).clean_fields(exclude=["client", "valid"])
    address = Address(**{"region": "", **cells})
    email = row.get("email", "").strip()
    if email:
        Contact(name=client.name, email=email).clean_fields(exclude=["client"])
    return ClientRow(client, address, email)


@transaction.atomic
def client_store(found: Sequence[Fate], *, actor: User) -> int:
    """Store the fit clients, each once. Returns how many."""
    rows = [fate.payload for fate in found if isinstance(fate.payload, ClientRow)]
    for row in rows:
        token = str(uuid5(NAMESPACE_URL, f"client:{row.client.name}"))
        made = client_create(
            client=row.client, address=row.address, since=timezone.localdate(), token=token, actor=actor
        )
        if row.email:
            Contact.objects.get_or_create(
                client=made, email=row.email, defaults={"name": made.name, "gets_reports": True, "gets_invoices": True}
            )
    return len(rows)


def site_fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row of sites without storing anything."""
    clients = {key.lower(): client for client in Client.objects.all() for key in (client.name, client.number)}
    stored = {(client, name.lower()) for client, name in Site.objects.values_list("client_id", "name")}
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple(row.values())
        client = clients.get(row.get("client", "").strip().lower())
        if client is None:
            found.append(wrong(line, cells, _("No client “%(client)s”.") % {"client": row.get("client", "").strip()}))
            continue
        key = (client.pk, row.get("name", "").strip().lower())
        if key in stored:
            found.append(known(line, cells))
            continue
        site = Site(client=client, **given(row, SITE_FIELDS))
        try:
            site.full_clean()
            _check_zone(site)
        except ValidationError as error:
            found.append(wrong(line, cells, problems(error)))
            continue
        stored.add(key)
        found.append(fit(line, cells, site))
    return found


def _check_zone(site: Site) -> None:
    if site.time_zone not in available_timezones():
        raise ValidationError({"time_zone": [_("“%(zone)s” is no time zone.") % {"zone": site.time_zone}]})


@transaction.atomic
def site_store(found: Sequence[Fate], *, actor: User) -> int:
    """Store the fit sites, each once. Returns how many."""
    sites = [fate.payload for fate in found if isinstance(fate.payload, Site)]
    for site in sites:
        token = str(uuid5(NAMESPACE_URL, f"site:{site.client_id}:{site.name}"))
        record_create(record=site, token=token, actor=actor)
    return len(sites)
