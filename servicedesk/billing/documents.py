"""What the office's documents say: invoice PDF and the mails that carry reports and invoices."""

from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.billing.models import Invoice
from servicedesk.common.pdf import render_pdf
from servicedesk.people.models import Firm
from servicedesk.visits.models import VisitReport


def invoice_pdf(invoice: Invoice) -> bytes:
    """The PDF of an issued invoice, from the names and addresses copied at issue."""
    context = {
        "invoice": invoice,
        "seller": invoice.seller,
        "buyer": invoice.buyer,
        "lines": list(invoice.lines.all()),
        "tax_lines": [
            {**line, "basis": Decimal(line["basis"]), "tax": Decimal(line["tax"])} for line in invoice.tax_lines
        ],
        "title": _("Invoice %(number)s") % {"number": invoice.number},
    }
    return render_pdf("billing/pdf/invoice.html", context, paper=invoice.seller["paper"])


def invoice_mail_text(invoice: Invoice, firm: Firm) -> str:
    return _(
        "Good day,\n\nattached is invoice %(number)s over %(total)s %(currency)s, due on %(due)s.\n\n"
        "%(firm)s\n%(phone)s\n"
    ) % {
        "number": invoice.number,
        "total": f"{invoice.grand_total:,}",
        "currency": invoice.currency,
        "due": date_format(invoice.due_on, "D j M Y") if invoice.due_on else "",
        "firm": firm.name,
        "phone": firm.phone,
    }


def report_mail_text(report: VisitReport, firm: Firm) -> str:
    visit = report.visit
    correction = (
        _("This is revision %(revision)s; it replaces the report sent before. Reason: %(reason)s\n\n")
        % {"revision": report.revision, "reason": report.reason}
        if report.revision > 1
        else ""
    )
    return _(
        "Good day,\n\nattached is the report of our visit to %(site)s on %(day)s.\n\n"
        "%(correction)s%(firm)s\n%(phone)s\n"
    ) % {
        "site": visit.site.name,
        "day": date_format(visit.planned_on or visit.due_on, "D j M Y"),
        "correction": correction,
        "firm": firm.name,
        "phone": firm.phone,
    }


def report_file_name(report: VisitReport) -> str:
    visit = report.visit
    day = visit.planned_on or visit.due_on
    suffix = f"-r{report.revision}" if report.revision > 1 else ""
    name = "".join(letter if letter.isalnum() else "-" for letter in visit.site.name.lower()).strip("-")
    return f"{day:%Y-%m-%d}-{name}{suffix}.pdf"
