"""Invoices of the year: issued and paid, one unpaid for forty days, the newest still drafts."""

from collections import defaultdict
from datetime import date, timedelta

from servicedesk.billing.models import Invoice
from servicedesk.billing.services import invoice_draft, invoice_issue, payment_record
from servicedesk.clients.models import Client
from servicedesk.people.models import User
from servicedesk.setup.demo.world import World
from servicedesk.visits.models import Visit

UNPAID_DAYS = 40
ISSUE_DAYS = (350, 265, 180, 110, 70, UNPAID_DAYS, 13)
DRAFTS = 3


def accounts_make(world: World) -> int:
    """Bill what was done up to each issuing day; returns how many invoices there are."""
    office, size = world.first_with("office"), world.size
    visits = Visit.objects.filter(state=Visit.State.SIGNED).select_related("site__client", "agreement")
    visits = visits.prefetch_related("uses__item", "agreement__prices", "agreement__included_materials")
    waiting = list(visits.order_by("planned_on", "pk"))
    clients = {visit.site.client_id: visit.site.client for visit in waiting}
    debtor = world.places[0].site.client_id
    for days in ISSUE_DAYS:
        issued_on = size.today - timedelta(days=days)
        now = [visit for visit in waiting if visit.planned_on is not None and visit.planned_on < issued_on]
        waiting = [visit for visit in waiting if visit not in set(now)]
        for pk, rows in _by_client(now).items():
            _invoice(world, clients[pk], rows, issued_on, office, is_left_open=pk == debtor and days == UNPAID_DAYS)
    _drafts(waiting, clients, office)
    return Invoice.objects.count()


def _by_client(visits: list[Visit]) -> dict[int, list[Visit]]:
    found: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits:
        found[visit.site.client_id].append(visit)
    return dict(sorted(found.items()))


def _invoice(
    world: World, client: Client, visits: list[Visit], issued_on: date, office: User, *, is_left_open: bool
) -> None:
    draft = invoice_draft(client=client, visits=visits, actor=office).invoice
    if draft is None:
        return
    invoice = invoice_issue(invoice=draft, actor=office, on=issued_on)
    paid_on = issued_on + timedelta(
        days=world.size.rng("paid", client.number, issued_on).randint(5, client.payment_days + 3)
    )
    if not is_left_open and paid_on <= world.size.today:
        payment_record(
            invoice=invoice,
            amount=invoice.grand_total,
            paid_on=paid_on,
            reference=f"transfer {invoice.number}",
            key=f"opening:{invoice.number}",
            actor=office,
        )


def _drafts(waiting: list[Visit], clients: dict[int, Client], office: User) -> None:
    """The office has begun with the last fortnight's visits."""
    for pk, rows in list(_by_client(waiting).items())[:DRAFTS]:
        invoice_draft(client=clients[pk], visits=rows, actor=office)
