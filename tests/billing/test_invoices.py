"""Invoices: gapless numbers, nothing billed twice, frozen on issue, sent once, paid."""

import re
import subprocess
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from email import message_from_bytes
from email.message import Message
from email.policy import default as email_policy
from typing import Any
from uuid import uuid4

import pytest
from aiosmtpd.controller import Controller
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction
from django.utils import timezone
from pytest_django import Settings

from servicedesk.billing.charges import billable_minutes, charges_of_visit
from servicedesk.billing.models import Invoice, InvoiceSeries, Payment
from servicedesk.billing.services import (
    invoice_discard,
    invoice_draft,
    invoice_issue,
    invoice_line_add,
    invoice_render,
    invoice_send,
    payment_record,
)
from servicedesk.clients.models import Agreement, AgreementPrice
from servicedesk.common.mail.send import mail_send
from servicedesk.common.models import MailMessage
from servicedesk.consumables.models import IncludedMaterial
from servicedesk.consumables.queries import place_of_kind
from servicedesk.launch.ports import free_port
from servicedesk.visits.models import Visit, VisitUse
from tests.builders import a_client, a_firm, a_site, a_user, a_visit, an_agreement, an_item
from tests.conftest import SignedIn

DAY = date(2026, 11, 24)


def a_signed_visit(agreement: Agreement | None = None, minutes: int = 60, **over: Any) -> Visit:
    a_firm()
    agreement = agreement or an_agreement()
    start = datetime(2026, 11, 24, 15, tzinfo=UTC)
    done: dict[str, Any] = {
        "state": Visit.State.SIGNED,
        "planned_on": DAY,
        "started_at": start,
        "ended_at": start + timedelta(minutes=minutes),
        "signed_at": start + timedelta(minutes=minutes),
    }
    return a_visit(agreement.site, agreement=agreement, due_on=DAY, **(done | over))


def a_draft(visit: Visit | None = None) -> Invoice:
    visit = visit or a_signed_visit()
    found = invoice_draft(client=visit.site.client, visits=[visit], actor=None).invoice
    assert found is not None
    return found


@pytest.mark.django_db
def test_a_draft_carries_the_agreements_fee_of_that_day() -> None:
    agreement = an_agreement()
    visit = a_signed_visit(agreement)
    AgreementPrice.objects.create(
        agreement=agreement, valid_from=DAY + timedelta(days=1), fee=Decimal(500), hourly_rate=Decimal(95)
    )
    assert [line.unit_price for line in a_draft(visit).lines.all()] == [Decimal(180)]


@pytest.mark.django_db
def test_a_visit_is_billed_once() -> None:
    visit = a_signed_visit()
    a_draft(visit)
    assert invoice_draft(client=visit.site.client, visits=[visit], actor=None).invoice is None


@pytest.mark.django_db
def test_an_unsigned_visit_is_left_out_with_the_reason() -> None:
    visit = a_signed_visit(state=Visit.State.STARTED, signed_at=None)
    found = invoice_draft(client=visit.site.client, visits=[visit], actor=None)
    assert found.invoice is None
    assert [row.reason for row in found.left_out] == ["The visit is not signed."]


@pytest.mark.django_db
@pytest.mark.parametrize(("minutes", "billed"), [(60, 0), (90, 0), (91, 15), (105, 15), (106, 30)])
def test_time_beyond_the_included_is_billed_in_quarters_begun(minutes: int, billed: int) -> None:
    agreement = an_agreement(included_labour_min=90)
    assert billable_minutes(a_signed_visit(agreement, minutes), agreement) == billed


@pytest.mark.django_db
def test_material_beyond_what_the_fee_includes_is_billed() -> None:
    agreement, carbon = an_agreement(), an_item(price_per_unit=Decimal("0.05"))
    visit = a_signed_visit(agreement)
    IncludedMaterial.objects.create(agreement=agreement, item=carbon, quantity_per_visit=Decimal(100))
    VisitUse.objects.create(visit=visit, item=carbon, place=place_of_kind("used"), quantity=Decimal(250))
    rows = [row for row in charges_of_visit(visit) if row.kind == "material"]
    assert [(row.quantity, row.unit_code) for row in rows] == [(150, "GRM")]


@pytest.mark.django_db
def test_material_is_taxed_and_service_is_not_by_the_sites_rules() -> None:
    visit, carbon = a_signed_visit(), an_item(price_per_unit=Decimal(1))
    VisitUse.objects.create(visit=visit, item=carbon, place=place_of_kind("used"), quantity=Decimal(100))
    invoice = a_draft(visit)
    rate = invoice.lines.get(kind="material").tax_rate_percent
    assert rate > 0
    assert invoice.lines.get(kind="fee").tax_rate_percent == 0
    assert invoice.tax_total == (Decimal(100) * rate / 100).quantize(Decimal("0.01"))
    assert invoice.grand_total == Decimal(280) + invoice.tax_total


@pytest.mark.django_db
def test_numbers_have_no_gaps_and_a_discarded_draft_uses_none() -> None:
    first, thrown, second = a_draft(), a_draft(), a_draft()
    invoice_discard(invoice=thrown, actor=a_user("office"))
    issued = [invoice_issue(invoice=row, actor=None, on=DAY).number for row in (first, second)]
    assert [int(str(number)[-5:]) for number in issued] == [1, 2]
    thrown.refresh_from_db()
    assert thrown.number is None
    with pytest.raises(ValidationError):
        invoice_issue(invoice=thrown, actor=None)


@pytest.mark.django_db
def test_a_failed_issue_uses_no_number() -> None:
    draft = a_draft()
    draft.client.addresses.all().delete()
    with pytest.raises(ValidationError):
        invoice_issue(invoice=draft, actor=None, on=DAY)
    assert not InvoiceSeries.objects.filter(last_number__gt=0).exists()


@pytest.mark.django_db
def test_each_year_counts_anew() -> None:
    numbers = [invoice_issue(invoice=a_draft(), actor=None, on=date(year, 1, 2)).number for year in (2026, 2027)]
    assert [str(number)[-10:] for number in numbers] == ["2026-00001", "2027-00001"]


@pytest.mark.usefixtures("committed")
def test_issuing_side_by_side_gives_each_its_own_number_without_gaps() -> None:
    drafts = [a_draft() for _ in range(6)]

    def issue(draft: Invoice) -> str:
        try:
            return str(invoice_issue(invoice=draft, actor=None, on=DAY).number)
        finally:
            connection.close()

    with ThreadPoolExecutor(6) as threads:
        numbers = list(threads.map(issue, [*drafts, *drafts]))
    assert sorted({int(number[-5:]) for number in numbers}) == [1, 2, 3, 4, 5, 6]
    assert numbers[:6] == numbers[6:]


@pytest.mark.usefixtures("committed")
def test_two_people_billing_the_same_visit_make_one_draft() -> None:
    visit = a_signed_visit()

    def draft(_number: int) -> bool:
        try:
            return invoice_draft(client=visit.site.client, visits=[visit], actor=None).invoice is not None
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as threads:
        assert sorted(threads.map(draft, range(2))) == [False, True]


@pytest.mark.django_db
def test_a_discarded_drafts_visit_can_be_billed_again() -> None:
    visit = a_signed_visit()
    invoice_discard(invoice=a_draft(visit), actor=a_user("office"))
    assert a_draft(visit).lines.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    [
        "update billing_invoice set grand_total = 1 where number is not null",
        "update billing_invoice set number = 'X' where number is not null",
        "delete from billing_invoice where number is not null",
    ],
)
def test_the_database_refuses_to_change_an_issued_invoice(statement: str) -> None:
    invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    with pytest.raises(DatabaseError, match="pgtrigger"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.mark.django_db
def test_a_line_cannot_be_added_after_issue() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    with pytest.raises(ValidationError):
        invoice_line_add(invoice=invoice, description="Late", quantity=Decimal(1), unit_price=Decimal(1),
                         is_material=False, actor=a_user("office"))  # fmt: skip


def pay(invoice: Invoice, amount: str, key: str) -> Payment:
    return payment_record(invoice=invoice, amount=Decimal(amount), paid_on=DAY, reference="", key=key, actor=None)


@pytest.mark.django_db
def test_an_invoice_is_paid_when_its_total_is_covered_and_not_before() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    pay(invoice, "100", "a")
    invoice.refresh_from_db()
    assert invoice.state == Invoice.State.ISSUED
    pay(invoice, "80", "b")
    invoice.refresh_from_db()
    assert invoice.state == Invoice.State.PAID


@pytest.mark.django_db
def test_the_same_payment_twice_is_booked_once() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    assert pay(invoice, "100", "a").pk == pay(invoice, "100", "a").pk


@pytest.mark.django_db
def test_more_than_is_open_is_refused() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    with pytest.raises(ValidationError, match=r"180\.00 still open"):
        pay(invoice, "180.01", "a")


@pytest.mark.django_db
def test_the_pdf_carries_number_parties_lines_and_totals() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    invoice_render(invoice=invoice)
    with invoice.pdf.open("rb") as stored:
        found = subprocess.run(["pdftotext", "-layout", "-", "-"], input=stored.read(), capture_output=True, check=True)
    text = re.sub(r"\s+", " ", found.stdout.decode())
    for words in (invoice.number, "Test Reef Care", invoice.buyer["name"], "Reef care", "180.00", "Tue 24 Nov 2026"):
        assert str(words) in text


class Postbox:
    """An SMTP server's handler that keeps what arrives."""

    def __init__(self) -> None:
        self.messages: list[Message] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        self.messages.append(message_from_bytes(envelope.content, policy=email_policy))
        return "250 kept"


@pytest.mark.django_db
def test_sending_twice_sends_one_mail_over_a_real_connection(settings: Settings) -> None:
    box, port = Postbox(), free_port()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.SMTP_HOST = settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT, settings.EMAIL_USE_TLS, settings.EMAIL_HOST_USER = port, False, ""
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    invoice_render(invoice=invoice)
    office = a_user("office")
    server = Controller(box, hostname="127.0.0.1", port=port)
    server.start()
    try:
        for _ in range(2):
            invoice_send(invoice=invoice, to=["desk@harbour.example"], actor=office)
            for message in MailMessage.objects.all():
                mail_send(message.pk)
    finally:
        server.stop()
    assert [str(message["To"]) for message in box.messages] == ["desk@harbour.example"]
    assert str(invoice.number) in str(box.messages[0]["Subject"])
    attached = [part for part in box.messages[0].walk() if part.get_content_type() == "application/pdf"]
    assert [part.get_filename() for part in attached] == [f"{invoice.number}.pdf"]
    assert MailMessage.objects.get().state == MailMessage.State.SENT


@pytest.mark.django_db
def test_an_invoice_without_its_pdf_is_not_sent() -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    with pytest.raises(ValidationError):
        invoice_send(invoice=invoice, to=["desk@harbour.example"], actor=a_user("office"))
    assert not MailMessage.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "wrong"),
    [("quantity", "two"), ("quantity", "-1"), ("unit_price", "cheap"), ("unit_price", "1e99"), ("description", "")],
)
def test_a_wrong_line_is_told_beside_the_field_and_keeps_the_rest(signed_in: SignedIn, field: str, wrong: str) -> None:
    invoice = a_draft()
    data = {"description": "Hose and clips", "quantity": "2", "unit_price": "7.25"} | {field: wrong}
    answer = signed_in("office").post(f"/accounts/invoices/{invoice.pk}/lines/", data)
    assert answer.status_code == 422
    assert answer.context["line_form"].errors.keys() == {field}
    page = answer.content.decode()
    assert all(f'value="{value}"' in page for value in data.values() if value)
    assert invoice.lines.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("field", "wrong"), [("amount", "much"), ("amount", "0"), ("amount", "9999"), ("paid_on", "31.2.2026"),
                         ("paid_on", "2999-01-01")],
)  # fmt: skip
def test_a_wrong_payment_is_told_beside_the_field_and_keeps_the_rest(
    signed_in: SignedIn, field: str, wrong: str
) -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    yesterday = timezone.localdate() - timedelta(days=1)  # not tomorrow on the clock of whoever pays in
    data = {"amount": "50", "paid_on": yesterday.isoformat(), "reference": "RF 12", "key": str(uuid4())}
    answer = signed_in("office").post(f"/accounts/invoices/{invoice.pk}/payments/", data | {field: wrong})
    assert answer.status_code == 422
    assert answer.context["payment_form"].errors.keys() == {field}
    assert 'value="RF 12"' in answer.content.decode()
    assert not Payment.objects.exists()


@pytest.mark.django_db
def test_a_wrong_address_is_told_beside_the_field(signed_in: SignedIn) -> None:
    invoice = invoice_issue(invoice=a_draft(), actor=None, on=DAY)
    invoice_render(invoice=invoice)
    answer = signed_in("office").post(f"/accounts/invoices/{invoice.pk}/send/", {"to": "desk@harbour.example, desk"})
    assert answer.status_code == 422
    assert "is not an email address" in answer.content.decode()
    assert not MailMessage.objects.exists()


@pytest.mark.django_db
def test_issuing_by_double_click_gives_one_number(signed_in: SignedIn) -> None:
    invoice, browser = a_draft(), signed_in("office")
    for _ in range(2):
        browser.post(f"/accounts/invoices/{invoice.pk}/issue/")
    assert InvoiceSeries.objects.get().last_number == 1


@pytest.mark.django_db
def test_a_client_elsewhere_needs_an_agreement_before_an_extra_visit_is_billed() -> None:
    visit = a_signed_visit()
    Visit.objects.filter(pk=visit.pk).update(agreement=None)
    lonely = a_visit(a_site(a_client()), due_on=DAY, state=Visit.State.SIGNED, signed_at=timezone.now())
    found = invoice_draft(client=lonely.site.client, visits=[lonely], actor=None)
    assert "no agreement" in found.left_out[0].reason
