from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from servicedesk.billing import documents, queries, services
from servicedesk.billing.forms import AddressesForm, LineForm, PaymentForm
from servicedesk.billing.models import Invoice, InvoiceLine
from servicedesk.clients.models import Client
from servicedesk.common.ids import new_id
from servicedesk.people.access import AuthedRequest, requires

PAGE = 25
TRAYS = {
    "reports": queries.reports_to_send,
    "sent": queries.reports_sent,
    "to-bill": queries.clients_to_bill,
    "drafts": queries.drafts,
    "unpaid": queries.unpaid,
    "all": queries.invoices,
}


def _today() -> date:
    return timezone.localdate()


@requires("accounts.see")
@require_GET
def accounts(request: AuthedRequest, tray: str = "reports") -> HttpResponse:
    """One tray of Accounts, with the counts of all."""
    if tray not in TRAYS:
        raise Http404
    page = Paginator(TRAYS[tray](), PAGE).get_page(request.GET.get("page"))
    context = {"tray": tray, "page": page, "counts": queries.counts(_today()), "today": _today()}
    return render(request, "billing/accounts.html", context)


@requires("accounts.see")
@require_GET
def report(request: AuthedRequest, pk: UUID) -> HttpResponse:
    """A report before it goes out: look, correct, send."""
    found = get_object_or_404(queries.newest_reports(), pk=pk)
    form = AddressesForm(initial={"to": ", ".join(found.sent_to or queries.report_addresses(found))})
    return render(request, "billing/report.html", {"report": found, "form": form})


@requires("reports.send")
@require_POST
def report_send(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(queries.newest_reports(), pk=pk)
    form = AddressesForm(request.POST)
    if form.is_valid():
        try:
            services.report_send(report=found, to=form.cleaned_data["to"], actor=request.user)
        except ValidationError as error:
            form.add_error("to", error)
        else:
            messages.success(request, _("The report is on its way."))
            return redirect("billing:accounts")
    return render(request, "billing/report.html", {"report": found, "form": form}, status=422)


@requires("accounts.edit")
@require_GET
def bill_client(request: AuthedRequest, pk: int) -> HttpResponse:
    """A client's signed visits that nobody billed yet, to choose from."""
    client = get_object_or_404(Client, pk=pk)
    return render(request, "billing/bill_client.html", _to_bill(client))


def _to_bill(client: Client) -> dict[str, Any]:
    visits = queries.visits_to_bill().filter(site__client=client)
    return {"client": client, "visits": visits, "months": queries.months_to_bill(_today(), client)}


@requires("accounts.edit")
@require_POST
def invoice_draft(request: AuthedRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    waiting = _to_bill(client)
    chosen = [visit for visit in waiting["visits"] if str(visit.pk) in request.POST.getlist("visit")]
    months = [due for due in waiting["months"] if due.key in request.POST.getlist("month")]
    if not chosen and not months:
        context = waiting | {"error": _("Choose at least one visit or month.")}
        return render(request, "billing/bill_client.html", context, status=422)
    try:
        result = services.invoice_draft(client=client, visits=chosen, months=months, actor=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
        return redirect("billing:bill-client", pk=pk)
    for row in result.left_out:
        messages.warning(request, f"{row.visit}: {row.reason}")
    if result.invoice is None:
        messages.info(request, _("Nothing of these visits is left to bill."))
        return redirect("billing:tray", tray="to-bill")
    return redirect("billing:invoice", pk=result.invoice.pk)


@requires("accounts.see")
@require_GET
def invoice(request: AuthedRequest, pk: UUID) -> HttpResponse:
    return _invoice_page(request, pk)


def _invoice_page(
    request: AuthedRequest,
    pk: UUID,
    *,
    line_form: LineForm | None = None,
    payment_form: PaymentForm | None = None,
    send_form: AddressesForm | None = None,
) -> HttpResponse:
    found = get_object_or_404(queries.invoice_for(pk))
    open_amount = found.grand_total - found.paid
    context = {
        "invoice": found,
        "open_amount": open_amount,
        "lines": found.lines.select_related("visit"),
        "payments": found.payments.select_related("by"),
        "today": _today(),
        "line_form": line_form or LineForm(),
        "payment_form": payment_form
        or PaymentForm(initial={"amount": open_amount, "paid_on": _today(), "key": new_id()}),
        "send_form": send_form
        or AddressesForm(initial={"to": ", ".join(queries.addresses(found.client, reports=False))}),
    }
    wrong = line_form or payment_form or send_form
    return render(request, "billing/invoice.html", context, status=422 if wrong else 200)


@requires("accounts.edit")
@require_POST
def line_add(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(Invoice, pk=pk)
    form = LineForm(request.POST)
    if form.is_valid():
        try:
            services.invoice_line_add(invoice=found, actor=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            return redirect("billing:invoice", pk=pk)
    return _invoice_page(request, pk, line_form=form)


@requires("accounts.edit")
@require_POST
def line_remove(request: AuthedRequest, pk: UUID, line: int) -> HttpResponse:
    found = get_object_or_404(InvoiceLine.objects.select_related("invoice"), pk=line, invoice=pk)
    return _then_invoice(request, pk, lambda: services.invoice_line_remove(line=found, actor=request.user))


@requires("accounts.edit")
@require_POST
def invoice_issue(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(Invoice, pk=pk)
    return _then_invoice(request, pk, lambda: services.invoice_issue(invoice=found, actor=request.user))


@requires("accounts.edit")
@require_POST
def invoice_discard(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(Invoice, pk=pk)
    return _then_invoice(request, pk, lambda: services.invoice_discard(invoice=found, actor=request.user))


def _then_invoice(request: AuthedRequest, pk: UUID, change: "services.Change") -> HttpResponse:
    try:
        change()
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("billing:invoice", pk=pk)


@requires("accounts.edit")
@require_POST
def invoice_send(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(Invoice, pk=pk)
    form = AddressesForm(request.POST)
    if form.is_valid():
        try:
            services.invoice_send(invoice=found, to=form.cleaned_data["to"], actor=request.user)
        except ValidationError as error:
            form.add_error("to", error)
        else:
            messages.success(request, _("The invoice is on its way."))
            return redirect("billing:invoice", pk=pk)
    return _invoice_page(request, pk, send_form=form)


@requires("accounts.edit")
@require_POST
def payment_add(request: AuthedRequest, pk: UUID) -> HttpResponse:
    found = get_object_or_404(Invoice, pk=pk)
    form = PaymentForm(request.POST)
    if form.is_valid():
        data = form.cleaned_data
        try:
            services.payment_record(
                invoice=found,
                amount=data["amount"],
                paid_on=data["paid_on"],
                reference=data["reference"],
                key=f"typed:{data['key']}",
                actor=request.user,
            )
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("Booked."))
            return redirect("billing:invoice", pk=pk)
    return _invoice_page(request, pk, payment_form=form)


@requires("accounts.see")
@require_GET
def invoice_pdf(request: AuthedRequest, pk: UUID) -> FileResponse:
    found = get_object_or_404(Invoice, pk=pk)
    if not found.pdf:
        raise Http404
    return FileResponse(found.pdf.open("rb"), content_type="application/pdf", filename=f"{found.number}.pdf")


@requires("accounts.see")
@require_GET
def report_pdf(request: AuthedRequest, pk: UUID) -> FileResponse:
    found = get_object_or_404(queries.newest_reports(), pk=pk)
    if not found.pdf:
        raise Http404
    return FileResponse(
        found.pdf.open("rb"), content_type="application/pdf", filename=documents.report_file_name(found)
    )
