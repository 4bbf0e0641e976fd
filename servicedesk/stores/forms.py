"""What is typed in Stores."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.consumables.models import Item, Lot, StockPlace

OWN = ("store", "van", "site")


class ReceiveForm(forms.Form):
    item = forms.ModelChoiceField(Item.objects.filter(archived_at=None), label=_("Item"))
    quantity = forms.DecimalField(label=_("Quantity"), min_value=Decimal("0.001"), max_digits=14, decimal_places=3)
    lot_code = forms.CharField(label=_("Lot number on the pack"), max_length=40, required=False)
    expires_on = forms.DateField(label=_("Use by"), required=False, widget=forms.DateInput(attrs={"type": "date"}))
    place = forms.ModelChoiceField(StockPlace.objects.filter(kind__in=OWN), label=_("Into"))
    key = forms.UUIDField(widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("expires_on") and not data.get("lot_code"):
            self.add_error("lot_code", _("A use-by date needs the lot number it belongs to."))
        return data


class MoveForm(forms.Form):
    lot = forms.ModelChoiceField(Lot.objects.none(), label=_("Lot"), required=False, empty_label=_("no lot"))
    quantity = forms.DecimalField(label=_("Quantity"), min_value=Decimal("0.001"), max_digits=14, decimal_places=3)
    from_place = forms.ModelChoiceField(StockPlace.objects.filter(kind__in=OWN), label=_("From"))
    to_place = forms.ModelChoiceField(StockPlace.objects.filter(kind__in=(*OWN, "used", "waste")), label=_("To"))
    reason = forms.CharField(label=_("Why"), max_length=160, required=False)
    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, item: Item, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lot_field = self.fields["lot"]
        assert isinstance(lot_field, forms.ModelChoiceField)  # noqa: S101 - narrows the type only
        lot_field.queryset = item.lots.all()


class ItemForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Item
        fields = [
            "code",
            "name",
            "kind",
            "unit",
            "pack_name",
            "pack_quantity",
            "product",
            "parameter",
            "kg_per_unit",
            "cost_per_unit",
            "price_per_unit",
            "shelf_days",
            "opened_days",
            "reorder_point",
            "reorder_quantity",
            "supplier",
            "hazard",
        ]


class OrderedForm(forms.Form):
    note = forms.CharField(label=_("Order note"), max_length=140, required=False)
