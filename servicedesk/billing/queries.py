"""Reads of Accounts: what can be sent today, what blocks the rest, who owes what since when."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from dateutil.relativedelta import relativedelta
from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from servicedesk.billing.charges import month_key
from servicedesk.billing.models import Invoice, InvoiceLine
from servicedesk.clients.models import Agreement, Client, Contact
from servicedesk.visits.models import Visit, VisitReport

ZERO = Decimal(0)
MONTHS_BACK = 12


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


@dataclass(frozen=True, slots=True)
class MonthDue:
    """A month gone by of a monthly agreement whose fee stands on no invoice."""

    agreement: Agreement
    month: date

    @property
    def key(self) -> str:
        return month_key(self.agreement, self.month)


def months_to_bill(on: date, client: Client | None = None) -> list[MonthDue]:
    """Months that ended before ``on``, the last twelve at most, of monthly agreements that had a price then."""
    agreements = Agreement.objects.filter(fee_basis=Agreement.FeeBasis.MONTHLY, archived_at=None)
    if client is not None:
        agreements = agreements.filter(client=client)
    billed = set(
        InvoiceLine.objects.filter(stands=True, source_key__startswith="month:").values_list("source_key", flat=True)
    )
    months = [on.replace(day=1) - relativedelta(months=back) for back in range(MONTHS_BACK, 0, -1)]
    return [
        MonthDue(agreement, month)
        for agreement in agreements.select_related("client", "site").prefetch_related("prices")
        for month in months
        if _fee_fell_due(agreement, month) and month_key(agreement, month) not in billed
    ]


def _fee_fell_due(agreement: Agreement, month: date) -> bool:
    began = month >= agreement.starts_on.replace(day=1)
    going_on = agreement.ends_on is None or month <= agreement.ends_on
    return began and going_on and any(price.valid_from <= month for price in agreement.prices.all())


def clients_to_bill() -> QuerySet[Client]:
    """Clients with signed visits or months that nobody billed, with how many visits."""
    waiting = visits_to_bill().order_by().values("pk")
    monthly = [due.agreement.client_id for due in months_to_bill(timezone.localdate())]
    return (
        Client.objects.filter(Q(sites__visits__in=waiting) | Q(pk__in=monthly))
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
        to_bill=visits_to_bill().count() + len(months_to_bill(on)),
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
