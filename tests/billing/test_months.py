"""Monthly fees: billed once, with or without visits."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.urls import reverse

from servicedesk.billing.models import InvoiceLine
from servicedesk.billing.queries import clients_to_bill, months_to_bill
from servicedesk.billing.services import invoice_draft
from servicedesk.clients.models import Agreement
from servicedesk.visits.models import Visit
from tests.builders import a_firm, a_visit, an_agreement
from tests.conftest import SignedIn

pytestmark = pytest.mark.django_db
TODAY = date(2026, 4, 10)


def a_monthly_agreement() -> Agreement:
    a_firm()
    return an_agreement(
        fee_basis="month", fee=Decimal(620), starts_on=date(2026, 1, 15), first_visit_on=date(2026, 1, 19)
    )


def a_done_visit(agreement: Agreement, day: date) -> Visit:
    at = datetime(day.year, day.month, day.day, 15, tzinfo=UTC)
    return a_visit(
        agreement.site, agreement=agreement, due_on=day, planned_on=day, state="signed", started_at=at, ended_at=at,
        signed_at=at,
    )  # fmt: skip


def test_months_gone_by_since_the_start_are_due() -> None:
    agreement = a_monthly_agreement()
    assert [due.month for due in months_to_bill(TODAY)] == [date(2026, month, 1) for month in (1, 2, 3)]
    assert months_to_bill(TODAY, agreement.client) == months_to_bill(TODAY)
    assert list(clients_to_bill()) == [agreement.client]


def test_agreement_by_visit_has_no_months() -> None:
    an_agreement()
    assert months_to_bill(TODAY) == []


def test_month_is_billed_once_however_many_visits_it_had() -> None:
    agreement = a_monthly_agreement()
    visits = [a_done_visit(agreement, date(2026, 3, day)) for day in (2, 9)]
    march = [due for due in months_to_bill(TODAY) if due.month.month == 3]
    invoice = invoice_draft(client=agreement.client, visits=visits, months=march, actor=None).invoice
    assert invoice is not None
    fees = [line.net for line in invoice.lines.all() if line.net]
    assert fees == [620]
    assert [due.month.month for due in months_to_bill(TODAY)] == [1, 2]
    assert InvoiceLine.objects.filter(visit__in=visits).count() == 2  # named on the invoice, free of charge


def test_office_bills_a_month_without_visits(signed_in: SignedIn) -> None:
    agreement = a_monthly_agreement()
    office = signed_in("office")
    page = office.get(reverse("billing:bill-client", args=[agreement.client_id]))
    due = page.context["months"][0]
    assert due.key in page.content.decode()
    office.post(reverse("billing:invoice-draft", args=[agreement.client_id]), {"month": [due.key]})
    assert InvoiceLine.objects.get().source_key == due.key
