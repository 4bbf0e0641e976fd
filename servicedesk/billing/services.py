"""Changes of invoices and payments, and the sending of reports."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.billing import charges, documents
from servicedesk.billing.models import Invoice, InvoiceLine, InvoiceSeries, Payment
from servicedesk.billing.queries import MonthDue
from servicedesk.billing.totals import Line, totals
from servicedesk.clients.models import Client, ClientAddress
from servicedesk.common import jobs
from servicedesk.common.mail.send import Attachment, mail_queue
from servicedesk.people.models import Firm, User
from servicedesk.people.queries import letterhead
from servicedesk.visits.models import Visit, VisitReport

State = Invoice.State
Change = Callable[[], object]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A visit that a billing run left out, and why."""

    visit: Visit
    reason: str


@dataclass(frozen=True, slots=True)
class DraftResult:
    invoice: Invoice | None
    left_out: list[LeftOut]


@transaction.atomic
def invoice_draft(
    *, client: Client, visits: Sequence[Visit], actor: User | None, months: Sequence[MonthDue] = ()
) -> DraftResult:
    """One draft for a client from signed visits and months gone by. Nothing is billed twice."""
    Client.objects.select_for_update().get(pk=client.pk)
    lines: list[charges.Charge] = []
    left_out: list[LeftOut] = []
    for visit in visits:
        try:
            lines += charges.charges_of_visit(visit)
        except charges.NotChargeable as reason:
            left_out.append(LeftOut(visit, str(reason)))
    try:
        lines += [charges.monthly_charge(due.agreement, due.month) for due in months]
    except charges.NotChargeable as reason:
        raise ValidationError(str(reason)) from reason
    lines = _not_billed_yet(lines)
    if not lines:
        return DraftResult(None, left_out)
    invoice = Invoice.objects.create(client=client, currency=client.currency, created_by=actor)
    _add_lines(invoice, lines)
    _total(invoice)
    return DraftResult(invoice, left_out)


def _not_billed_yet(lines: Sequence[charges.Charge]) -> list[charges.Charge]:
    keys = [line.source_key for line in lines]
    lines = [line for place, line in enumerate(lines) if line.source_key not in keys[:place]]
    billed = set(InvoiceLine.objects.filter(source_key__in=keys, stands=True).values_list("source_key", flat=True))
    return [line for line in lines if line.source_key not in billed]


def _add_lines(invoice: Invoice, lines: Sequence[charges.Charge]) -> None:
    start = invoice.lines.count()
    rows = [
        InvoiceLine(
            invoice=invoice,
            position=start + position,
            kind=line.kind,
            source_key=line.source_key,
            visit=line.visit,
            agreement=line.agreement,
            description=line.description,
            quantity=line.quantity,
            unit_code=line.unit_code,
            unit_price=line.unit_price,
            net=Decimal(0),
            tax_category=line.tax.category,
            tax_rate_percent=line.tax.rate_percent,
            tax_name=line.tax.name,
        )
        for position, line in enumerate(lines, 1)
    ]
    try:
        with transaction.atomic():
            InvoiceLine.objects.bulk_create(rows)
    except IntegrityError as error:
        raise ValidationError(_("Something on this invoice was billed a moment ago by somebody else.")) from error


def _total(invoice: Invoice) -> None:
    rows = list(invoice.lines.all())
    sums = totals(
        [Line(row.quantity, row.unit_price, row.tax_category, row.tax_rate_percent, row.tax_name) for row in rows],
        invoice.currency,
    )
    for row, net in zip(rows, sums.nets, strict=True):
        row.net = net
    InvoiceLine.objects.bulk_update(rows, ["net"])
    invoice.line_total, invoice.tax_total, invoice.grand_total = (
        sums.line_total,
        sums.tax_total,
        sums.grand_total,
    )
    invoice.tax_lines = [
        {
            "category": line.category,
            "rate_percent": f"{line.rate_percent:f}",
            "name": line.name,
            "basis": f"{line.basis:f}",
            "tax": f"{line.tax:f}",
        }
        for line in sums.tax_lines
    ]
    invoice.save(update_fields=["line_total", "tax_total", "grand_total", "tax_lines"])


@transaction.atomic
def invoice_line_add(
    *,
    invoice: Invoice,
    description: str,
    quantity: Decimal,
    unit_price: Decimal,
    is_material: bool,
    actor: User,
) -> InvoiceLine:
    """A line typed by the office on a draft."""
    invoice = _draft(invoice)
    site = invoice.lines.exclude(visit=None).values_list("visit__site__region", flat=True).first() or ""
    try:
        tax = charges.tax_rule(
            region=site,
            line_kind="material" if is_material else "service",
            customer_type=invoice.client.customer_type,
            on=timezone.localdate(),
        )
    except charges.NotChargeable as reason:
        raise ValidationError(str(reason)) from reason
    position = (invoice.lines.order_by("-position").values_list("position", flat=True).first() or 0) + 1
    line = InvoiceLine.objects.create(
        invoice=invoice,
        position=position,
        kind=InvoiceLine.Kind.MATERIAL if is_material else InvoiceLine.Kind.OTHER,
        description=description,
        quantity=quantity,
        unit_code="C62",
        unit_price=unit_price,
        net=Decimal(0),
        tax_category=tax.category,
        tax_rate_percent=tax.rate_percent,
        tax_name=tax.name,
    )
    _total(invoice)
    return line


@transaction.atomic
def invoice_line_remove(*, line: InvoiceLine, actor: User) -> None:
    """Take a line off a draft; what it billed can be billed later."""
    invoice = _draft(line.invoice)
    invoice.lines.filter(pk=line.pk).delete()
    _total(invoice)


def _draft(invoice: Invoice) -> Invoice:
    locked = Invoice.objects.select_for_update().select_related("client").get(pk=invoice.pk)
    if locked.state != State.DRAFT:
        raise ValidationError(_("Only a draft can be changed; this invoice was issued or discarded."))
    return locked


@transaction.atomic
def invoice_issue(*, invoice: Invoice, actor: User | None, on: date | None = None) -> Invoice:
    """Give a draft its gapless number and freeze it; issued already: nothing changes."""
    invoice = Invoice.objects.select_for_update().select_related("client").get(pk=invoice.pk)
    if invoice.number:
        return invoice
    if invoice.state != State.DRAFT:
        raise ValidationError(_("This draft was discarded."))
    if not invoice.lines.exists():
        raise ValidationError(_("An invoice needs at least one line."))
    firm = Firm.objects.get()
    day = on or timezone.localdate()
    invoice.buyer = _buyer(invoice.client, day)
    invoice.seller = letterhead(firm)
    days = [d for d in invoice.lines.values_list("visit__planned_on", flat=True) if d]
    invoice.period_from, invoice.period_to = (min(days), max(days)) if days else (None, None)
    invoice.number = _next_number(firm, day)
    invoice.issued_on, invoice.due_on = day, day + timedelta(days=invoice.client.payment_days)
    invoice.state = State.ISSUED
    invoice.save()
    jobs.enqueue("billing.render_invoice", str(invoice.pk))
    return invoice


def _next_number(firm: Firm, day: date) -> str:
    InvoiceSeries.objects.get_or_create(name=firm.invoice_prefix, year=day.year)
    series = InvoiceSeries.objects.select_for_update().get(name=firm.invoice_prefix, year=day.year)
    series.last_number += 1
    series.save(update_fields=["last_number"])
    return f"{series.name}{series.year}-{series.last_number:05}"


def _buyer(client: Client, on: date) -> dict[str, Any]:
    address = ClientAddress.objects.filter(client=client, valid__contains=on).first()
    if address is None:
        raise ValidationError(
            _("%(client)s has no billing address on %(day)s.") % {"client": client.name, "day": on.isoformat()}
        )
    return {
        "number": client.number,
        "name": client.name,
        "tax_id": client.tax_id,
        "reference": client.buyer_reference,
        "street": address.street,
        "city": address.city,
        "region": address.region,
        "postcode": address.postcode,
        "country": address.country,
    }


@transaction.atomic
def invoice_discard(*, invoice: Invoice, actor: User) -> None:
    """Throw a draft away; what it billed can be billed again."""
    invoice = _draft(invoice)
    invoice.lines.update(stands=False)
    invoice.state = State.DISCARDED
    invoice.save(update_fields=["state"])


def invoice_render(*, invoice: Invoice) -> None:
    """Make the PDF of an issued invoice once."""
    if invoice.pdf or not invoice.number:
        return
    data = documents.invoice_pdf(invoice)
    invoice.pdf.save(f"{invoice.number}.pdf", ContentFile(data), save=False)
    invoice.save(update_fields=["pdf"])


@transaction.atomic
def invoice_send(*, invoice: Invoice, to: Sequence[str], actor: User) -> None:
    """Email an issued invoice to the client."""
    invoice = Invoice.objects.select_for_update().select_related("client").get(pk=invoice.pk)
    if not invoice.number:
        raise ValidationError(_("Issue the invoice before sending it."))
    if not invoice.pdf:
        raise ValidationError(_("The PDF is not ready yet. Try again in a moment."))
    if not to:
        raise ValidationError(_("Nobody of this client gets invoices. Add a contact or an address."))
    firm = Firm.objects.get()
    mail_queue(
        dedupe_key=f"invoice:{invoice.pk}:{','.join(sorted(to))}",
        kind="invoice",
        to=to,
        subject=_("Invoice %(number)s from %(firm)s") % {"number": invoice.number, "firm": firm.name},
        body=documents.invoice_mail_text(invoice, firm),
        attachments=[Attachment(f"{invoice.number}.pdf", "application/pdf", invoice.pdf.name or "")],
        about=f"client:{invoice.client_id}",
        created_by=actor.name,
    )
    invoice.sent_at, invoice.sent_to = timezone.now(), list(to)
    invoice.save(update_fields=["sent_at", "sent_to"])


@transaction.atomic
def payment_record(
    *, invoice: Invoice, amount: Decimal, paid_on: date, reference: str, key: str, actor: User | None
) -> Payment:
    """Book a payment once per ``key``; the invoice is paid when its total is covered."""
    invoice = Invoice.objects.select_for_update().get(pk=invoice.pk)
    existing = Payment.objects.filter(key=key).first()
    if existing is not None:
        return existing
    if invoice.state not in {State.ISSUED, State.PAID}:
        raise ValidationError(_("Only an issued invoice can be paid."))
    open_amount = invoice.grand_total - paid_total(invoice)
    if amount <= 0 or amount > open_amount:
        raise ValidationError(
            {"amount": [_("Enter more than nothing and at most the %(open)s still open.") % {"open": open_amount}]}
        )
    payment = Payment.objects.create(
        invoice=invoice, amount=amount, paid_on=paid_on, reference=reference, key=key, by=actor
    )
    if paid_total(invoice) >= invoice.grand_total:
        invoice.state = State.PAID
        invoice.save(update_fields=["state"])
    return payment


def paid_total(invoice: Invoice) -> Decimal:
    total: Decimal | None = invoice.payments.aggregate(total=Sum("amount"))["total"]
    return total or Decimal(0)


@transaction.atomic
def report_send(*, report: VisitReport, to: Sequence[str], actor: User) -> None:
    """Email a visit report; sending marks it as reviewed."""
    report = VisitReport.objects.select_for_update().select_related("visit__site__client").get(pk=report.pk)
    newest = report.visit.reports.order_by("-revision").first()
    if newest is not None and newest.pk != report.pk:
        raise ValidationError(_("A newer revision exists; send that one."))
    if not report.pdf:
        raise ValidationError(_("The PDF is not ready yet. Try again in a moment."))
    if not to:
        raise ValidationError(_("Nobody of this client gets reports. Add a contact or an address."))
    firm = Firm.objects.get()
    site = report.visit.site
    mail_queue(
        dedupe_key=f"report:{report.pk}:{','.join(sorted(to))}",
        kind="report",
        to=to,
        subject=_("Visit report %(site)s from %(firm)s") % {"site": site.name, "firm": firm.name},
        body=documents.report_mail_text(report, firm),
        attachments=[Attachment(documents.report_file_name(report), "application/pdf", report.pdf.name or "")],
        about=f"client:{site.client_id}",
        created_by=actor.name,
    )
    now = timezone.now()
    report.sent_at, report.sent_to = now, list(to)
    if report.reviewed_at is None:
        report.reviewed_at, report.reviewed_by = now, actor
    report.save(update_fields=["sent_at", "sent_to", "reviewed_at", "reviewed_by"])


def invoices_render_missing() -> None:
    """Make the PDFs that a lost job left unmade."""
    for invoice in Invoice.objects.filter(number__isnull=False, pdf="")[:50]:
        invoice_render(invoice=invoice)
