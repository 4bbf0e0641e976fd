"""What the office types in Accounts."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils import timezone
from django.utils.translation import gettext_lazy as _


class AddressesForm(forms.Form):
    """Where to send a document: one or more addresses, separated by commas."""

    to = forms.CharField(label=_("Send to"), max_length=600, help_text=_("Several addresses: put commas between them."))

    def clean_to(self) -> list[str]:
        found = [part.strip() for part in self.cleaned_data["to"].replace(";", ",").split(",") if part.strip()]
        for address in found:
            try:
                validate_email(address)
            except ValidationError as error:
                raise ValidationError(
                    _("“%(address)s” is not an email address."), params={"address": address}
                ) from error
        return found


class LineForm(forms.Form):
    description = forms.CharField(label=_("What"), max_length=300)
    quantity = forms.DecimalField(
        label=_("Quantity"), max_digits=12, decimal_places=3, min_value=Decimal("0.001"), initial=1
    )
    unit_price = forms.DecimalField(label=_("Price of one, before tax"), max_digits=12, decimal_places=4, min_value=0)
    is_material = forms.BooleanField(label=_("It is material, not service"), required=False)


class PaymentForm(forms.Form):
    amount = forms.DecimalField(label=_("Amount"), max_digits=12, decimal_places=2, min_value=Decimal("0.01"))
    paid_on = forms.DateField(label=_("Received on"), widget=forms.DateInput(attrs={"type": "date"}))
    reference = forms.CharField(label=_("Bank reference"), max_length=140, required=False)
    key = forms.UUIDField(widget=forms.HiddenInput)

    def clean_paid_on(self) -> Any:
        day = self.cleaned_data["paid_on"]
        if day > timezone.localdate():
            raise ValidationError(_("That day has not come yet."))
        return day
