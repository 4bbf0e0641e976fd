from decimal import Decimal
from typing import Any

import pgtrigger
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement, Client
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import User
from servicedesk.visits.models import Visit

AMOUNT: dict[str, Any] = {"max_digits": 12, "decimal_places": 2}


@audited()
class TaxRule(models.Model):
    """Editable rate: region of the site, kind of line, type of customer. EN 16931 category codes (UNTDID 5305)."""

    class LineKind(models.TextChoices):
        SERVICE = "service", _("service")
        MATERIAL = "material", _("material")

    region = models.CharField(max_length=40, blank=True, help_text=_("state of the site; empty: anywhere"))
    line_kind = models.CharField(max_length=10, choices=LineKind)
    customer_type = models.CharField(max_length=10, choices=Client.CustomerType, blank=True)
    category = models.CharField(
        max_length=3,
        default="S",
        choices=[("S", _("taxed")), ("E", _("exempt")), ("O", _("outside the tax")), ("Z", _("zero rate"))],
    )
    rate_percent = models.DecimalField(
        max_digits=5,
        decimal_places=3,
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(60))],
    )
    name = models.CharField(max_length=80)
    valid_from = models.DateField()

    class Meta:
        ordering = ["region", "line_kind", "-valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["region", "line_kind", "customer_type", "valid_from"], name="tax_rule_once")
        ]

    def __str__(self) -> str:
        return self.name


class InvoiceSeries(models.Model):
    """The counter of a series and year; its row is locked while a number is given, so there are no gaps."""

    name = models.CharField(max_length=12)
    year = models.PositiveSmallIntegerField()
    last_number = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["name", "year"], name="series_once")]

    def __str__(self) -> str:
        return f"{self.name} {self.year}"


@audited()
class Invoice(models.Model):
    """An invoice; on issue it gets its number and keeps every name and address as they were."""

    class State(models.TextChoices):
        DRAFT = "draft", _("draft")
        ISSUED = "issued", _("issued")
        PAID = "paid", _("paid")
        CREDITED = "credited", _("credited")
        DISCARDED = "discarded", _("discarded draft")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    type_code = models.CharField(
        max_length=3, default="380", choices=[("380", _("invoice")), ("381", _("credit note"))]
    )
    corrects = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrections")
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="invoices")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    number = models.CharField(max_length=24, null=True, blank=True, unique=True)
    currency = models.CharField(max_length=3)
    issued_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    period_from = models.DateField(null=True, blank=True)
    period_to = models.DateField(null=True, blank=True)
    seller = models.JSONField(default=dict, help_text="copied at issue")
    buyer = models.JSONField(default=dict, help_text="copied at issue")
    note = models.CharField(max_length=400, blank=True)
    line_total = models.DecimalField(**AMOUNT, default=Decimal(0))
    tax_total = models.DecimalField(**AMOUNT, default=Decimal(0))
    grand_total = models.DecimalField(**AMOUNT, default=Decimal(0))
    tax_lines = models.JSONField(default=list, help_text="[{category, rate_percent, name, basis, tax}] as decimal text")
    pdf = models.FileField(upload_to="invoices/%Y/%m/", blank=True)
    pdf_error = models.CharField(max_length=300, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_to = models.JSONField(default=list, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-created_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["draft", "discarded"]) | Q(number__isnull=False, issued_on__isnull=False),
                name="invoice_issued_has_number",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["issued", "paid", "credited"]) | Q(number__isnull=True),
                name="invoice_draft_has_no_number",
            ),
        ]
        triggers = [
            pgtrigger.Protect(
                name="invoice_frozen",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__number__isnull=False)
                & (
                    pgtrigger.Q(old__number__df=pgtrigger.F("new__number"))
                    | pgtrigger.Q(old__line_total__df=pgtrigger.F("new__line_total"))
                    | pgtrigger.Q(old__tax_total__df=pgtrigger.F("new__tax_total"))
                    | pgtrigger.Q(old__grand_total__df=pgtrigger.F("new__grand_total"))
                    | pgtrigger.Q(old__buyer__df=pgtrigger.F("new__buyer"))
                    | pgtrigger.Q(old__issued_on__df=pgtrigger.F("new__issued_on"))
                ),
            ),
            pgtrigger.Protect(
                name="invoice_keep",
                operation=pgtrigger.Delete,
                condition=pgtrigger.Q(old__number__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.number or f"draft for {self.client}"


@audited()
class InvoiceLine(models.Model):
    class Kind(models.TextChoices):
        FEE = "fee", _("agreement fee")
        TIME = "time", _("time")
        MATERIAL = "material", _("material")
        OTHER = "other", _("other")

    invoice = models.ForeignKey(Invoice, on_delete=models.CASCADE, related_name="lines")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=Kind)
    source_key = models.CharField(
        max_length=120, blank=True, help_text="what is billed; once in all invoices that stand"
    )
    stands = models.BooleanField(default=True, help_text="false once its invoice was discarded or credited")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="invoice_lines")
    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, null=True, blank=True)
    description = models.CharField(max_length=300)
    quantity = models.DecimalField(max_digits=12, decimal_places=3)
    unit_code = models.CharField(max_length=4, default="C62", help_text="UN/ECE Recommendation 20")
    unit_price = models.DecimalField(max_digits=12, decimal_places=4)
    net = models.DecimalField(**AMOUNT)
    tax_category = models.CharField(max_length=3)
    tax_rate_percent = models.DecimalField(max_digits=5, decimal_places=3)
    tax_name = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["source_key"], condition=Q(stands=True) & ~Q(source_key=""), name="billed_once"
            )
        ]

    def __str__(self) -> str:
        return self.description


@audited()
class Payment(models.Model):
    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="payments")
    paid_on = models.DateField()
    amount = models.DecimalField(**AMOUNT)
    reference = models.CharField(max_length=140, blank=True)
    key = models.CharField(max_length=120, unique=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)

    class Meta:
        ordering = ["paid_on"]
        constraints = [models.CheckConstraint(condition=~Q(amount=0), name="payment_not_zero")]

    def __str__(self) -> str:
        return f"{self.amount} {self.paid_on}"
