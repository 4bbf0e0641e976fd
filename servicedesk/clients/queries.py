"""Reads of clients, sites and agreements."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from servicedesk.clients.models import Agreement, AgreementPrice, Client, ClientAddress, Site


@dataclass(frozen=True, slots=True)
class Found:
    """A hit of the search by a few letters."""

    kind: str
    pk: int
    name: str
    detail: str


def clients(*, archived: bool = False) -> QuerySet[Client]:
    return Client.objects.filter(archived_at__isnull=not archived)


def sites(*, archived: bool = False) -> QuerySet[Site]:
    return Site.objects.filter(archived_at__isnull=not archived).select_related("client").order_by("city", "name")


def sites_matching(letters: str) -> QuerySet[Site]:
    """Sites whose name, street, city or client holds every word typed."""
    found = sites()
    for word in letters.split():
        found = found.filter(
            Q(name__icontains=word)
            | Q(street__icontains=word)
            | Q(city__icontains=word)
            | Q(client__name__icontains=word)
            | Q(client__number__istartswith=word)
        )
    return found


def clients_matching(letters: str) -> QuerySet[Client]:
    found = clients()
    for word in letters.split():
        found = found.filter(Q(name__icontains=word) | Q(number__istartswith=word))
    return found


def address_on(client: Client, day: date) -> ClientAddress | None:
    """The billing address in force on a day."""
    return ClientAddress.objects.filter(client=client, valid__contains=day).first()


def price_on(agreement: Agreement, day: date) -> AgreementPrice | None:
    """The price in force on a day."""
    return agreement.prices.filter(valid_from__lte=day).order_by("-valid_from").first()


def agreements_of(client: Client) -> QuerySet[Agreement]:
    return client.agreements.filter(archived_at=None).select_related("site", "preferred_technician")
