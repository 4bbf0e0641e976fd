"""What arrives from the visit form's page."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from servicedesk.common.forms import DateInput, NumberField, OnceForm
from servicedesk.consumables.models import Item, Lot, StockPlace


class EntryForm(forms.Form):
    """One operation of the page; ``typed`` is kept whatever it is."""

    key = forms.CharField(max_length=120)
    typed = forms.CharField(required=False, strip=False, max_length=200_000)
    unit = forms.CharField(required=False, max_length=16)
    confirmed = forms.BooleanField(required=False)
    not_done_reason = forms.CharField(required=False, max_length=200)
    begins = forms.BooleanField(required=False)
    operation = forms.UUIDField(required=False)
    entered_at = forms.DateTimeField(required=False, input_formats=["%Y-%m-%dT%H:%M:%S.%f%z", "%Y-%m-%dT%H:%M:%S%z"])


class UseForm(forms.Form):
    """A consumable used: "item:lot:place" as offered, and how much."""

    stock = forms.ChoiceField(label=_("What, from where"))
    quantity = NumberField(label=_("How much"))
    use_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, options: tuple[tuple[str, str], ...], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["stock"]
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - narrows the type only
        field.choices = [("", _("choose")), *options]

    def clean_quantity(self) -> Decimal:
        quantity: Decimal = self.cleaned_data["quantity"]
        if quantity <= 0:
            raise ValidationError(_("The quantity must be more than nothing."))
        return quantity

    def parts(self) -> tuple[Item, Lot | None, StockPlace]:
        item, lot, place = self.cleaned_data["stock"].split(":")
        return Item.objects.get(pk=item), Lot.objects.get(pk=lot) if lot else None, StockPlace.objects.get(pk=place)


class NotDoneForm(forms.Form):
    reason = forms.CharField(label=_("Why it was not done"), max_length=300)


class CancelForm(forms.Form):
    reason = forms.CharField(label=_("Why it is called off"), max_length=200)


class CorrectForm(forms.Form):
    """A correction of a signed visit's words: what to write instead, and why."""

    reason = forms.CharField(label=_("Why is it corrected?"), max_length=300)
    note = forms.CharField(label=_("Note for the client"), required=False, widget=forms.Textarea(attrs={"rows": 4}))


class ExtraForm(OnceForm):
    """An extra or urgent visit at a site."""

    kind = forms.ChoiceField(label=_("Kind"), choices=[("extra", _("extra")), ("urgent", _("urgent"))])
    task = forms.CharField(label=_("What for"), max_length=200)
    due_on = forms.DateField(label=_("From"), widget=DateInput())
    latest_on = forms.DateField(label=_("At the latest"), widget=DateInput())
    duration_min = forms.IntegerField(label=_("Minutes on site"), min_value=10, max_value=960, initial=90)
