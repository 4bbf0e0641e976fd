"""Form fields and forms that every room uses."""

from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from servicedesk.common.ids import new_id
from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES

MAX_MAGNITUDE = Decimal("1e9")


class NumberField(forms.CharField):
    """A number typed with point or comma; cleaned to Decimal."""

    def __init__(self, *, minimum: float | None = None, maximum: float | None = None, **kwargs: Any) -> None:
        self.minimum, self.maximum = minimum, maximum
        super().__init__(max_length=40, **kwargs)
        self.widget.attrs.setdefault("inputmode", "decimal")
        self.widget.attrs.setdefault("autocomplete", "off")

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if text in self.empty_values:
            return None
        try:
            typed = units.parse_number(text)
            number = Decimal(repr(typed.value))
        except (ValueError, InvalidOperation) as error:
            raise ValidationError(str(error)) from error
        if typed.below:
            raise ValidationError(_("Enter a number without <."))
        if abs(number) > MAX_MAGNITUDE:
            raise ValidationError(_("This number is too large."))
        if self.minimum is not None and number < Decimal(repr(self.minimum)):
            raise ValidationError(_("Must be at least %(limit)s."), params={"limit": f"{self.minimum:g}"})
        if self.maximum is not None and number > Decimal(repr(self.maximum)):
            raise ValidationError(_("Must be at most %(limit)s."), params={"limit": f"{self.maximum:g}"})
        return number


class QuantityWidget(forms.MultiWidget):
    """A number and its unit key side by side."""

    template_name = "common/widgets/quantity.html"

    def __init__(self, choices: list[tuple[str, str]], unit: str) -> None:
        self.unit = unit
        super().__init__(
            {
                "": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
                "unit": forms.Select(choices=choices, attrs={"aria-label": _("unit")}),
            }
        )

    def decompress(self, value: Any) -> list[Any]:
        return value if isinstance(value, list) else [value, self.unit]


class QuantityField(forms.MultiValueField):
    """A quantity typed in a unit of choice; cleaned to the canonical unit as float."""

    widget: QuantityWidget

    def __init__(
        self, quantity: str, *, unit: str = "", minimum: float | None = 0, maximum: float | None = None, **kwargs: Any
    ) -> None:
        self.quantity, self.minimum, self.maximum = quantity, minimum, maximum
        known = QUANTITIES[quantity]
        self.unit = unit or known[0].key
        choices = [(row.key, row.label) for row in known]
        super().__init__(
            fields=(forms.CharField(max_length=40, required=False), forms.ChoiceField(choices=choices, required=False)),
            widget=QuantityWidget(choices, self.unit),
            require_all_fields=False,
            **kwargs,
        )

    def compress(self, data_list: list[Any]) -> float | None:
        text, unit = (data_list or ["", ""])[0], (data_list or ["", self.unit])[1] or self.unit
        if not text:
            if self.required:
                raise ValidationError(_("This field is required."))
            return None
        try:
            value = units.to_canonical(self.quantity, units.parse_number(text).value, unit)
        except ValueError as error:
            raise ValidationError(str(error)) from error
        if self.minimum is not None and value < self.minimum:
            raise ValidationError(
                _("Must be at least %(limit)s."), params={"limit": units.show(self.quantity, self.minimum, unit)}
            )
        if self.maximum is not None and value > self.maximum:
            raise ValidationError(
                _("Must be at most %(limit)s."), params={"limit": units.show(self.quantity, self.maximum, unit)}
            )
        return value

    def clean(self, value: Any) -> Any:
        if self.required and (not value or not value[0]):
            raise ValidationError(_("This field is required."))
        return super().clean(value)

    def typed(self, canonical: float | None) -> list[Any]:
        """Initial value in the field's unit."""
        if canonical is None:
            return ["", self.unit]
        unit = units.unit_of(self.quantity, self.unit)
        text = f"{units.from_canonical(self.quantity, canonical, self.unit):.{max(unit.digits, 1)}f}"
        return [text.rstrip("0").rstrip(".") if "." in text else text, self.unit]


class CoordinatesField(forms.CharField):
    """A place pasted as "35.04, -85.31"; cleaned to (latitude, longitude)."""

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if text in self.empty_values:
            return None
        parts = text.replace(";", " ").replace(",", " ").replace("°", " ").split()
        try:
            latitude, longitude = (float(part) for part in parts)
        except ValueError as error:
            raise ValidationError(_("Write latitude and longitude, such as 35.04, -85.31.")) from error
        if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
            raise ValidationError(_("Latitude lies between -90 and 90, longitude between -180 and 180."))
        return latitude, longitude


class DateInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class TimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


def time_zones() -> list[tuple[str, str]]:
    """Zones people know by city; the oddities of the database are left out."""
    kept = sorted(
        zone
        for zone in available_timezones()
        if "/" in zone and not zone.startswith(("Etc/", "SystemV/", "posix/", "right/"))
    )
    return [(zone, zone.replace("_", " ")) for zone in kept]


class TimeZoneField(forms.ChoiceField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=time_zones, **kwargs)


class OnceForm(forms.Form):
    """A form with the hidden token that ``common.once`` uses up."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=new_id)


class OnceModelForm(forms.ModelForm):  # type: ignore[type-arg]
    """The same for a form made from a model."""

    token = forms.UUIDField(widget=forms.HiddenInput, initial=new_id, required=False)
