"""What is typed about clients, sites and agreements."""

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import (
    WEEKDAY_NAMES,
    AccessWindow,
    Agreement,
    Client,
    Closure,
    Contact,
    GateCode,
    Site,
    SiteKey,
)
from servicedesk.clients.services import Address
from servicedesk.common.forms import DateInput, NumberField, OnceForm, OnceModelForm, TimeInput, TimeZoneField
from servicedesk.common.recurrence import LAST, Cadence, aligned, from_rule, ordinal_name, to_rule
from servicedesk.people.forms import PlacedForm
from servicedesk.people.models import PermissionKind, Role, User

DAY_CHOICES = [(str(number), name) for number, name in enumerate(WEEKDAY_NAMES)]


def technicians() -> Any:
    return User.objects.filter(roles__contains=[Role.TECHNICIAN], is_active=True)


class AddressForm(forms.Form):
    street = forms.CharField(label=_("Street"), max_length=200)
    city = forms.CharField(label=_("City"), max_length=80)
    region = forms.CharField(label=_("State or region"), max_length=40, required=False)
    postcode = forms.CharField(label=_("Postcode"), max_length=20)

    def address(self) -> Address:
        return Address(**{key: self.cleaned_data[key] for key in ("street", "city", "region", "postcode")})


class MoveForm(AddressForm):
    since = forms.DateField(label=_("From"), widget=DateInput())


class ClientForm(OnceModelForm):
    class Meta:
        model = Client
        fields = [
            "name", "customer_type", "tax_id", "currency", "payment_days", "buyer_reference", "unit_system",
            "alkalinity_unit", "notes",
        ]  # fmt: skip
        labels = {
            "customer_type": _("Kind of client"),
            "currency": _("Currency"),
            "unit_system": _("Units in reports"),
            "alkalinity_unit": _("Alkalinity in"),
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}


class SiteForm(OnceModelForm, PlacedForm):
    time_zone = TimeZoneField(label=_("Time zone"))
    needed_permissions = forms.ModelMultipleChoiceField(
        PermissionKind.objects.all(), label=_("A person needs"), required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Site
        fields = [
            "name", "street", "city", "region", "postcode", "latitude", "longitude", "time_zone", "holiday_region",
            "phone", "access_notes", "parking_notes",
        ]  # fmt: skip
        widgets = {
            "access_notes": forms.Textarea(attrs={"rows": 3}),
            "parking_notes": forms.Textarea(attrs={"rows": 2}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("latitude", "longitude"):
            self.fields[name].required = False
        if self.instance.pk:
            self.initial["needed_permissions"] = self.instance.needed_permissions.all()

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        for name in ("latitude", "longitude"):
            if data.get(name) is None and name not in self.errors:
                self.add_error(name, _("Where is it? Type it, paste both, or pick it on the map."))
        return data


class ContactForm(OnceModelForm):
    class Meta:
        model = Contact
        fields = ["name", "role", "email", "phone", "site", "gets_reports", "gets_invoices"]

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sites = client.sites.filter(archived_at=None)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.fields["site"].required = False
        self.fields["site"].empty_label = _("all sites of the client")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if (data.get("gets_reports") or data.get("gets_invoices")) and not data.get("email"):
            self.add_error("email", _("To get reports or invoices an email address is needed."))
        return data


class WindowForm(OnceForm):
    """Access on one or more weekdays. An end at or before the start is on the next date."""

    weekdays = forms.MultipleChoiceField(label=_("Days"), choices=DAY_CHOICES, widget=forms.CheckboxSelectMultiple)
    opens = forms.TimeField(label=_("From"), widget=TimeInput())
    closes = forms.TimeField(
        label=_("To"), widget=TimeInput(), help_text=_("Earlier than “from”: it ends on the next date.")
    )

    def windows(self, site: Site) -> list[AccessWindow]:
        data = self.cleaned_data
        return [
            AccessWindow(site=site, weekday=int(day), opens=data["opens"], closes=data["closes"])
            for day in data["weekdays"]
        ]


class ClosureForm(OnceModelForm):
    class Meta:
        model = Closure
        fields = ["first_day", "last_day", "reason"]
        widgets = {"first_day": DateInput(), "last_day": DateInput()}


class KeyForm(OnceModelForm):
    class Meta:
        model = SiteKey
        fields = ["label", "holder", "kept_at"]


class GateCodeForm(OnceModelForm):
    class Meta:
        model = GateCode
        fields = ["label", "secret"]
        widgets = {"secret": forms.TextInput(attrs={"autocomplete": "off"})}


class AgreementForm(OnceModelForm):
    """An agreement; how often is chosen in words, the rule text is never shown."""

    cadence = forms.ChoiceField(
        label=_("How often"),
        choices=[
            ("weeks", _("every … weeks on weekdays")),
            ("months", _("every … months on a weekday")),
            ("days", _("every … days")),
        ],
    )
    every = forms.IntegerField(label=_("Every (number of weeks, months or days)"), min_value=1, max_value=52, initial=2)
    on_weekdays = forms.MultipleChoiceField(
        label=_("On"), choices=DAY_CHOICES, required=False, widget=forms.CheckboxSelectMultiple
    )
    position = forms.TypedChoiceField(label=_("Which of the month"), coerce=int, required=False, empty_value=None)
    allowed = forms.MultipleChoiceField(
        label=_("Days on which a visit may fall"),
        choices=DAY_CHOICES,
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("None ticked: every day with an access window."),
    )
    barred = forms.ModelMultipleChoiceField(
        User.objects.none(), label=_("Never send"), required=False, widget=forms.CheckboxSelectMultiple
    )
    fee = NumberField(label=_("Fee"), minimum=0)
    hourly_rate = NumberField(label=_("Rate of an hour"), minimum=0)
    callout_fee = NumberField(label=_("Call-out fee"), minimum=0, required=False)
    prices_from = forms.DateField(label=_("These prices hold from"), widget=DateInput())

    class Meta:
        model = Agreement
        fields = [
            "title", "site", "starts_on", "ends_on", "first_visit_on", "slack_days_before", "slack_days_after",
            "duration_min", "learn_duration", "people_needed", "second_person_min", "preferred_technician",
            "only_preferred", "anchored",
            "holiday_rule", "closure_rule", "visits_sold_per_year", "fee_basis", "included_labour_min",
        ]  # fmt: skip
        widgets = {name: DateInput() for name in ("starts_on", "ends_on", "first_visit_on")}
        labels = {
            "site": _("Site"),
            "preferred_technician": _("Preferred technician"),
            "fee_basis": _("The fee is"),
            "title": _("What it is called"),
        }
        help_texts = {"second_person_min": _("from the beginning, when more than one is needed; 0: the whole visit")}

    def __init__(self, *args: Any, client: Client, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sites = client.sites.filter(archived_at=None)
        self.fields["site"].queryset = sites  # type: ignore[attr-defined]
        self.fields["preferred_technician"].queryset = technicians()  # type: ignore[attr-defined]
        self.fields["preferred_technician"].required = False
        self.fields["barred"].queryset = technicians()  # type: ignore[attr-defined]
        self.fields["position"].choices = [(number, ordinal_name(number)) for number in (1, 2, 3, 4, LAST)]  # type: ignore[attr-defined]
        if self.instance.pk and not self.is_bound:
            self._fill()
        elif len(sites) == 1:
            self.initial["site"] = self.initial.get("site") or sites[0].pk

    def _fill(self) -> None:
        cadence = from_rule(self.instance.rule)
        self.initial.update(
            {
                "cadence": cadence.unit,
                "every": cadence.every,
                "on_weekdays": [str(day) for day in cadence.weekdays],
                "position": cadence.position,
                "allowed": [str(day) for day in self.instance.allowed_weekdays],
                "barred": self.instance.barred_technicians.all(),
            }
        )
        price = self.instance.prices.first()
        if price is not None:
            self.initial.update(
                {
                    "fee": price.fee,
                    "hourly_rate": price.hourly_rate,
                    "callout_fee": price.callout_fee,
                    "prices_from": price.valid_from,
                }
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        try:
            self.instance.rule = to_rule(cadence_of(data))
        except ValueError as error:
            self.add_error("on_weekdays", str(error))
        self.instance.allowed_weekdays = [int(day) for day in data.get("allowed", [])]
        first, start = data.get("first_visit_on"), data.get("starts_on")
        if isinstance(first, date) and isinstance(start, date) and first < start:
            self.add_error("first_visit_on", _("The first visit is before the agreement starts."))
        if isinstance(first, date) and "on_weekdays" not in self.errors:
            data["first_visit_on"] = aligned(self.instance.rule, first)
        if data.get("only_preferred") and not data.get("preferred_technician"):
            self.add_error("preferred_technician", _("Only this person: choose whom."))
        return data

    def prices(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "fee": data["fee"],
            "hourly_rate": data["hourly_rate"],
            "callout_fee": data["callout_fee"] or Decimal(0),
            "prices_from": data["prices_from"],
        }


def cadence_of(data: dict[str, Any]) -> Cadence:
    """The cadence that was chosen; ValueError in words when the choice is not whole."""
    return Cadence(
        data.get("cadence") or "weeks",
        data.get("every") or 1,
        tuple(sorted(int(day) for day in data.get("on_weekdays") or [])),
        data.get("position") or 1,
    )
