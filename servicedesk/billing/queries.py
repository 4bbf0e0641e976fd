"""Reads of Accounts: what can be sent today, what blocks the rest, who owes what since when."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from servicedesk.billing.models import Invoice, InvoiceLine
from servicedesk.clients.models import Client, Contact
from servicedesk.visits.models import Visit, VisitReport

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Counts:
    """How much waits in each tray of Accounts."""

    reports: int
    to_bill: int
    drafts: int
    unpaid: int
    overdue: int


def newest_reports() -> QuerySet[VisitReport]:
    """The newest revision of each visit's report."""
    newer = VisitReport.objects.filter(visit=OuterRef("visit"), revision__gt=OuterRef("revision"))
    return VisitReport.objects.filter(~Exists(newer)).select_related("visit__site__client", "visit__technician")


def reports_to_send() -> QuerySet[VisitReport]:
    return newest_reports().filter(sent_at=None).order_by("made_at")


def reports_sent() -> QuerySet[VisitReport]:
    return newest_reports().exclude(sent_at=None).order_by("-sent_at")


def visits_to_bill() -> QuerySet[Visit]:
    """Signed visits of which nothing stands on an invoice yet."""
    billed = InvoiceLine.objects.filter(visit=OuterRef("pk"), stands=True)
    return (
        Visit.objects.filter(~Exists(billed), state=Visit.State.SIGNED)
        .select_related("site__client", "agreement", "technician")
        .order_by("site__client__name", "planned_on")
    )


def clients_to_bill() -> QuerySet[Client]:
    """Clients with signed visits that nobody billed, with how many and since when."""
    waiting = visits_to_bill().order_by().values("pk")
    return (
        Client.objects.filter(sites__visits__in=waiting)
        .annotate(waiting=Count("sites__visits", filter=Q(sites__visits__in=waiting), distinct=True))
        .order_by("name")
    )


def invoices() -> QuerySet[Any]:
    found = Invoice.objects.select_related("client").annotate(paid=Coalesce(Sum("payments__amount"), ZERO))
    return found.order_by("-created_at", "-number")


def drafts() -> QuerySet[Any]:
    return invoices().filter(state=Invoice.State.DRAFT)


def unpaid() -> QuerySet[Any]:
    """Issued invoices with something open, the longest overdue first."""
    return invoices().filter(state=Invoice.State.ISSUED).order_by("due_on")


def invoice_for(pk: UUID) -> QuerySet[Any]:
    return invoices().filter(pk=pk)


def counts(on: date) -> Counts:
    issued = Invoice.objects.filter(state=Invoice.State.ISSUED)
    return Counts(
        reports=reports_to_send().count(),
        to_bill=visits_to_bill().count(),
        drafts=Invoice.objects.filter(state=Invoice.State.DRAFT).count(),
        unpaid=issued.count(),
        overdue=issued.filter(due_on__lt=on).count(),
    )


def addresses(client: Client, *, reports: bool) -> list[str]:
    """Where a client's reports or invoices go."""
    wanted = {"gets_reports": True} if reports else {"gets_invoices": True}
    rows = Contact.objects.filter(client=client, archived_at=None, **wanted).exclude(email="")
    return list(rows.order_by("name").values_list("email", flat=True).distinct())


def report_addresses(report: VisitReport) -> list[str]:
    """The contacts of the report's site, and those of its client that belong to no single site."""
    site = report.visit.site
    rows = Contact.objects.filter(client=site.client, archived_at=None, gets_reports=True).exclude(email="")
    rows = rows.filter(Q(site=None) | Q(site=site))
    return list(rows.order_by("name").values_list("email", flat=True).distinct())
