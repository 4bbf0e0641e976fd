"""What is typed about materials an agreement includes."""

from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.consumables.models import Item


class IncludedForm(forms.Form):
    """How much of an item the fee includes at each visit; nothing takes it off the list."""

    item = forms.ModelChoiceField(Item.objects.filter(archived_at=None), label=_("Item"))
    quantity = forms.DecimalField(
        label=_("Included at each visit"), min_value=Decimal(0), max_digits=14, decimal_places=3,
        help_text=_("In the item's own unit. 0 takes it off the list."),
    )  # fmt: skip
