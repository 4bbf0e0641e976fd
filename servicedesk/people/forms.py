"""What is typed about people."""

from datetime import date
from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from servicedesk.common.forms import CoordinatesField, DateInput, TimeInput, TimeZoneField
from servicedesk.people.models import (
    Depot,
    Firm,
    Leave,
    Lodging,
    Permission,
    PermissionKind,
    Role,
    Technician,
    User,
    Van,
)
from servicedesk.people.services import DayHours

DAYS = (_("Monday"), _("Tuesday"), _("Wednesday"), _("Thursday"), _("Friday"), _("Saturday"), _("Sunday"))


class UserForm(forms.ModelForm):  # type: ignore[type-arg]
    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=Role.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    password = forms.CharField(
        label=_("New password"),
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=_("At least 10 characters. Leave empty to keep the old one."),
    )

    class Meta:
        model = User
        fields = ["name", "email", "phone", "is_active"]

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if password:
            validate_password(password, self.instance)
        return password


class OwnSettingsForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = User
        fields = ["name", "phone", "unit_system", "alkalinity_unit"]
        labels = {"unit_system": _("Units"), "alkalinity_unit": _("Alkalinity in")}


class PlacedForm(forms.ModelForm):  # type: ignore[type-arg]
    """A form of something with a place: typed as two numbers, pasted as one text, or picked on the map."""

    pasted = CoordinatesField(
        label=_("Or paste both"),
        required=False,
        help_text=_("Latitude and longitude, such as 35.04, -85.31."),
        max_length=60,
    )
    latitude_name, longitude_name = "latitude", "longitude"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        pasted = data.get("pasted")
        if pasted:
            data[self.latitude_name], data[self.longitude_name] = pasted
            for name in (self.latitude_name, self.longitude_name):
                self.errors.pop(name, None)
        return data


class DepotForm(PlacedForm):
    time_zone = TimeZoneField(label=_("Time zone"))

    class Meta:
        model = Depot
        fields = ["name", "address", "city", "latitude", "longitude", "time_zone"]


class LodgingForm(PlacedForm):
    time_zone = TimeZoneField(label=_("Time zone"))

    class Meta:
        model = Lodging
        fields = ["name", "address", "city", "phone", "latitude", "longitude", "time_zone", "price_per_night"]
        labels = {"price_per_night": _("Price of a night")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        currency = Firm.objects.values_list("currency", flat=True).first()
        if currency:
            self.fields["price_per_night"].label = _("Price of a night (%(currency)s)") % {"currency": currency}


class TechnicianForm(PlacedForm):
    latitude_name, longitude_name = "home_latitude", "home_longitude"
    time_zone = TimeZoneField(label=_("Time zone"))

    class Meta:
        model = Technician
        fields = [
            "initials", "depot", "home_address", "home_latitude", "home_longitude", "time_zone", "hourly_cost",
            "overtime_factor", "max_overtime_min", "km_cost", "may_stay_away", "most_nights", "first_day",
            "last_day",
        ]  # fmt: skip
        widgets = {"first_day": DateInput(), "last_day": DateInput()}
        labels = {
            "home_latitude": _("Home latitude"),
            "home_longitude": _("Home longitude"),
            "max_overtime_min": _("Most overtime a day (minutes)"),
            "km_cost": _("Cost of a kilometre"),
        }


class HoursForm(forms.Form):
    """A week's working hours, from a day on. A day left empty is a day off."""

    valid_from = forms.DateField(label=_("From"), widget=DateInput())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, name in enumerate(DAYS):
            self.fields[f"starts_{number}"] = forms.TimeField(
                label=_("%(day)s from") % {"day": name}, required=False, widget=TimeInput()
            )
            self.fields[f"ends_{number}"] = forms.TimeField(
                label=_("%(day)s to") % {"day": name}, required=False, widget=TimeInput()
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for number in range(7):
            starts, ends = data.get(f"starts_{number}"), data.get(f"ends_{number}")
            if bool(starts) != bool(ends):
                self.add_error(f"ends_{number}", _("Give both times, or none for a day off."))
            elif starts and ends and ends <= starts:
                self.add_error(f"ends_{number}", _("The end is not after the start."))
        return data

    def days(self) -> list[DayHours]:
        data = self.cleaned_data
        return [DayHours(number, data.get(f"starts_{number}"), data.get(f"ends_{number}")) for number in range(7)]


class LeaveForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Leave
        fields = ["first_day", "last_day", "part", "reason"]
        widgets = {"first_day": DateInput(), "last_day": DateInput()}


class PermissionForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Permission
        fields = ["kind", "number", "first_day", "last_day"]
        widgets = {"first_day": DateInput(), "last_day": DateInput()}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first_day"), data.get("last_day")
        if isinstance(first, date) and isinstance(last, date) and last < first:
            raise ValidationError({"last_day": [_("The last day is before the first.")]})
        return data


class VanForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = Van
        fields = ["name", "plate", "depot", "technician", "payload_kg", "fixed_kit_kg", "driver_kg", "water_tank_l"]
        labels = {
            "payload_kg": _("Payload (kg)"),
            "fixed_kit_kg": _("Fixed kit (kg)"),
            "driver_kg": _("Driver (kg)"),
            "water_tank_l": _("Water tank (L)"),
        }


class PermissionKindForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = PermissionKind
        fields = ["name", "kind", "warn_days"]


class FirmForm(forms.ModelForm):  # type: ignore[type-arg]
    office_list = forms.CharField(
        label=_("Office addresses for reminders"), required=False, help_text=_("Put commas between several.")
    )
    time_zone = TimeZoneField(label=_("Time zone"))

    class Meta:
        model = Firm
        fields = [
            "name", "strapline", "address", "phone", "emergency_phone", "email", "office_list", "tax_id",
            "bank_details", "currency", "paper", "time_zone", "invoice_prefix",
        ]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk and not self.is_bound:
            self.initial["office_list"] = ", ".join(self.instance.office_list)

    def clean_office_list(self) -> list[str]:
        found = [part.strip() for part in self.cleaned_data["office_list"].replace(";", ",").split(",") if part.strip()]
        for address in found:
            forms.EmailField().clean(address)
        return found
