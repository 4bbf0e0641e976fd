"""What a signed visit is charged: the fee, time beyond what is included, materials beyond what is included."""

from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.billing.models import InvoiceLine, TaxRule
from servicedesk.clients.models import Agreement, AgreementPrice, Client
from servicedesk.consumables.models import Item
from servicedesk.visits.models import Visit

ZERO = Decimal(0)
QUARTER_HOUR_MIN = 15
UNIT_CODES = {"g": "GRM", "mL": "MLT", "L": "LTR", "each": "C62"}


class NotChargeable(Exception):
    """A visit that cannot be billed as it stands; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class Charge:
    """One line to bill. ``source_key`` stands once in all invoices that count."""

    kind: str
    source_key: str
    description: str
    quantity: Decimal
    unit_code: str
    unit_price: Decimal
    tax: TaxRule
    visit: Visit | None
    agreement: Agreement | None


def tax_rule(*, region: str, line_kind: str, customer_type: str, on: date) -> TaxRule:
    """The most particular rule in force: by region and type, by region, by type, anywhere."""
    rules = TaxRule.objects.filter(
        line_kind=line_kind,
        valid_from__lte=on,
        region__in=[region, ""],
        customer_type__in=[customer_type, ""],
    )
    ranked = sorted(rules, key=lambda rule: (rule.customer_type != "", rule.region != "", rule.valid_from))
    if not ranked:
        raise NotChargeable(_("No tax rule for %(kind)s in %(region)s.") % {"kind": line_kind, "region": region})
    return ranked[-1]


def price_of(agreement: Agreement, on: date) -> AgreementPrice:
    price = next((row for row in agreement.prices.all() if row.valid_from <= on), None)
    if price is None:
        raise NotChargeable(_("Agreement %(number)s has no price on that day.") % {"number": agreement.number})
    return price


def charges_of_visit(visit: Visit) -> list[Charge]:
    """Every line a signed visit brings; NotChargeable when a price or tax rule is missing."""
    if visit.state != Visit.State.SIGNED or visit.signed_at is None:
        raise NotChargeable(_("The visit is not signed."))
    agreement = visit.agreement or standing_agreement(visit)
    on = visit.planned_on or visit.due_on
    return [
        *_fee(visit, agreement, on),
        *_time(visit, agreement, on),
        *_materials(visit, on),
    ]


def standing_agreement(visit: Visit) -> Agreement:
    """The agreement whose rates hold for an extra visit at a site that has one."""
    agreement = Agreement.objects.filter(site=visit.site, archived_at=None).order_by("-starts_on").first()
    if agreement is None:
        raise NotChargeable(_("There is no agreement for this site, so no rates."))
    return agreement


def month_key(agreement: Agreement, month: date) -> str:
    """What bills an agreement's month once."""
    return f"month:{agreement.pk}:{month:%Y-%m}"


def monthly_charge(agreement: Agreement, month: date) -> Charge:
    """The monthly fee of an agreement for the month that starts on ``month``; its key bills it once."""
    price = price_of(agreement, month)
    return Charge(
        kind=InvoiceLine.Kind.FEE,
        source_key=month_key(agreement, month),
        description=f"{agreement.title}, {date_format(month, 'F Y')}",
        quantity=Decimal(1),
        unit_code="MON",
        unit_price=price.fee,
        tax=_tax_at(agreement.site.region, agreement.client, TaxRule.LineKind.SERVICE, month),
        visit=None,
        agreement=agreement,
    )


def _tax_at(region: str, client: Client, line_kind: str, on: date) -> TaxRule:
    return tax_rule(region=region, line_kind=line_kind, customer_type=client.customer_type, on=on)


def _service_tax(visit: Visit, on: date) -> TaxRule:
    return _tax_at(visit.site.region, visit.site.client, TaxRule.LineKind.SERVICE, on)


def _fee(visit: Visit, agreement: Agreement, on: date) -> list[Charge]:
    price = price_of(agreement, on)
    day = date_format(on, "D j M Y")
    if visit.agreement_id is None:
        amount, text = (
            price.callout_fee,
            _("Call-out, %(site)s, %(day)s") % {"site": visit.site.name, "day": day},
        )
    elif agreement.fee_basis == Agreement.FeeBasis.PER_VISIT:
        amount, text = price.fee, _("%(title)s: visit on %(day)s") % {"title": agreement.title, "day": day}
    else:
        text = _("Visit on %(day)s, in the monthly fee") % {"day": day}
        return [monthly_charge(agreement, on.replace(day=1)), _fee_line(visit, agreement, on, ZERO, text)]
    return [_fee_line(visit, agreement, on, amount, text)] if amount else []


def _fee_line(visit: Visit, agreement: Agreement, on: date, amount: Decimal, text: str) -> Charge:
    return Charge(
        InvoiceLine.Kind.FEE,
        f"visit:{visit.pk}:fee",
        text,
        Decimal(1),
        "C62",
        amount,
        _service_tax(visit, on),
        visit,
        agreement,
    )


def billable_minutes(visit: Visit, agreement: Agreement) -> int:
    """Minutes beyond the included ones, in whole quarters of an hour begun; none if all time is included."""
    if visit.started_at is None or visit.ended_at is None:
        return 0
    included = agreement.included_labour_min if visit.agreement_id else 0
    if included is None:
        return 0
    worked = Decimal((visit.ended_at - visit.started_at).total_seconds()) / 60
    over = worked - included
    if over <= 0:
        return 0
    return int((over / QUARTER_HOUR_MIN).to_integral_value(ROUND_CEILING)) * QUARTER_HOUR_MIN


def _time(visit: Visit, agreement: Agreement, on: date) -> list[Charge]:
    minutes = billable_minutes(visit, agreement)
    if not minutes:
        return []
    text = _("Time on site, %(day)s") if visit.agreement_id is None else _("Time beyond the agreement, %(day)s")
    return [
        Charge(
            InvoiceLine.Kind.TIME,
            f"visit:{visit.pk}:time",
            text % {"day": date_format(on, "D j M Y")},
            Decimal(minutes) / 60,
            "HUR",
            price_of(agreement, on).hourly_rate,
            _service_tax(visit, on),
            visit,
            agreement,
        )
    ]


def _materials(visit: Visit, on: date) -> list[Charge]:
    used: dict[Item, Decimal] = {}
    for use in visit.uses.all():
        used[use.item] = used.get(use.item, ZERO) + use.quantity
    rows = visit.agreement.included_materials.all() if visit.agreement else ()
    included = {row.item_id: row.quantity_per_visit for row in rows}
    charges: list[Charge] = []
    tax: TaxRule | None = None
    for item, quantity in sorted(used.items(), key=lambda pair: pair[0].name):
        extra = quantity - included.get(item.pk, ZERO)
        if extra <= 0 or not item.price_per_unit:
            continue
        tax = tax or _tax_at(visit.site.region, visit.site.client, TaxRule.LineKind.MATERIAL, on)
        charges.append(
            Charge(
                kind=InvoiceLine.Kind.MATERIAL,
                source_key=f"visit:{visit.pk}:item:{item.pk}",
                description=item.name,
                quantity=extra,
                unit_code=UNIT_CODES[item.unit],
                unit_price=item.price_per_unit,
                tax=tax,
                visit=visit,
                agreement=visit.agreement,
            )
        )
    return charges
