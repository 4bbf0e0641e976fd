"""What the lead aquarist types: a programme for the next visit, an addition outside a visit."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.care.models import Addition
from servicedesk.care.programme import Setting
from servicedesk.care.water import unit_shown
from servicedesk.common.forms import OnceForm, QuantityField, TimeInput
from servicedesk.science.water.dosing import PRODUCTS


class ProgrammeForm(OnceForm):
    """Settings to be set at the next visit; empty leaves a setting out."""

    def __init__(self, *args: Any, settings: list[Setting], stands: dict[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.declared = settings
        for setting in settings:
            value = stands.get(setting.key)
            if setting.kind == "clock":
                self.fields[setting.key] = forms.TimeField(
                    label=str(setting.label), required=False, widget=TimeInput(), initial=value
                )
            else:
                field = QuantityField(
                    setting.quantity, unit=unit_shown(setting.quantity).key, label=setting.label, required=False,
                    minimum=setting.minimum, maximum=setting.maximum,
                )  # fmt: skip
                self.fields[setting.key] = field
                self.initial[setting.key] = field.typed(value)
        self.fields["reason"] = forms.CharField(label=_("Why"), max_length=300)

    def settings(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for setting in self.declared:
            value = self.cleaned_data.get(setting.key)
            if value is not None:
                found[setting.key] = value.strftime("%H:%M") if setting.kind == "clock" else value
        return found


class AdditionForm(OnceForm):
    """Something that entered the water outside a visit."""

    kind = forms.ChoiceField(label=_("What kind"), choices=Addition.Kind.choices)
    product = forms.ChoiceField(label=_("Which salt"), required=False)
    mass_g = QuantityField("mass", label=_("Mass"), required=False, maximum=1_000_000)
    volume_l = QuantityField("volume", label=_("Volume"), required=False, maximum=1_000_000)
    at = forms.DateTimeField(
        label=_("When"), widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=200)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("none")), *((key, product.name) for key, product in PRODUCTS.items())]
        self.fields["product"].choices = choices  # type: ignore[attr-defined]
        self.initial["volume_l"] = ["", unit_shown("volume").key]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and data.get("mass_g") is None and data.get("volume_l") is None:
            self.add_error("mass_g", _("Give a mass or a volume."))
        return data
