"""What is typed about water outside a visit."""

from itertools import pairwise
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from servicedesk.common.display import current_display
from servicedesk.common.forms import OnceForm, OnceModelForm, QuantityField
from servicedesk.readings.models import Band, Parameter
from servicedesk.readings.services import TypedReading, is_odd
from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.water.dosing import products_for

EDGES = ("alarm_low", "low", "target", "high", "alarm_high")


class SamplingForm(OnceForm):
    """Readings taken outside a visit: one number and unit per parameter, any of them left empty."""

    taken_at = forms.DateTimeField(
        label=_("Taken at"), widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=300)
    sure = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, parameters: list[Parameter], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.parameters = parameters
        for parameter in parameters:
            self.fields[f"value_{parameter.key}"] = TypedQuantityField(parameter)

    def clean(self) -> dict[str, Any]:
        """An odd value is asked for once more: sent again unchanged, it is kept."""
        data = super().clean() or {}
        odd = [row for row in self._rows(data) if row.confirmed]
        seen = " ".join(f"{row.parameter}={row.typed}{row.unit}" for row in odd)
        if odd and data.get("sure") != seen:
            for row in odd:
                self.add_error(f"value_{row.parameter}", _("Far from what is usual. Keep once more if it is right."))
            sent = QueryDict(mutable=True)
            sent.update(self.data)
            sent[self.add_prefix("sure")] = seen
            self.data = sent
        return data

    def typed(self) -> list[TypedReading]:
        return self._rows(self.cleaned_data)

    def _rows(self, data: dict[str, Any]) -> list[TypedReading]:
        """What was typed; ``confirmed`` where it is odd."""
        return [
            TypedReading(parameter.key, typed[0], typed[1], confirmed=is_odd(parameter, typed[0], typed[1]))
            for parameter in self.parameters
            if (typed := data.get(f"value_{parameter.key}"))
        ]


class TypedQuantityField(QuantityField):
    """Keeps what was typed and its unit; refuses what is no number or cannot be."""

    def __init__(self, parameter: Parameter) -> None:
        chosen = current_display().unit_for(parameter.quantity)
        known = [unit.key for unit in QUANTITIES[parameter.quantity]]
        super().__init__(
            parameter.quantity, unit=chosen if chosen in known else known[0], label=parameter.name, required=False,
            minimum=parameter.possible_min, maximum=parameter.possible_max,
        )  # fmt: skip

    def compress(self, data_list: list[Any]) -> Any:
        value = super().compress(data_list)
        return None if value is None else (data_list[0], data_list[1] or self.unit)


class BandForm(OnceModelForm):
    """A band typed in the reader's unit."""

    product = forms.ChoiceField(label=_("Corrected with"), required=False)

    class Meta:
        model = Band
        fields = [*EDGES, "product"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        parameter = self.instance.parameter
        chosen = current_display().unit_for(parameter.quantity)
        known = [unit.key for unit in QUANTITIES[parameter.quantity]]
        unit = chosen if chosen in known else known[0]
        for name in EDGES:
            field = QuantityField(
                parameter.quantity, unit=unit, label=Band._meta.get_field(name).verbose_name,  # type: ignore[union-attr]
                required=name not in {"alarm_low", "alarm_high"},
                minimum=parameter.possible_min, maximum=parameter.possible_max,
            )  # fmt: skip
            self.fields[name] = field
            self.initial[name] = field.typed(getattr(self.instance, name))
        choices = [("", _("the usual salt"))] + [(key, row.name) for key, row in products_for(parameter.key).items()]
        self.fields["product"].choices = choices  # type: ignore[attr-defined]
        self.order_fields([*EDGES, "product"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        edges = [(name, data.get(name)) for name in EDGES if data.get(name) is not None]
        for (_first, low), (name, high) in pairwise(edges):
            if low is not None and high is not None and low > high:
                self.add_error(name, _("A band runs: alarm below ≤ low ≤ target ≤ high ≤ alarm above."))
        return data


class ImportForm(OnceForm):
    """A table of readings, CSV or XLSX."""

    file = forms.FileField(
        label=_("File (CSV or XLSX)"),
        help_text=_("Columns: installation, taken_at, parameter, value, unit; a first row with these names."),
    )
