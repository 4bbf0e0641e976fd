"""What is typed about travel times, in the reader's own kilometres or miles."""

from typing import Any
from urllib.parse import urlsplit

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from servicedesk.common.display import current_display
from servicedesk.common.forms import NumberField, OnceForm
from servicedesk.routes.travel_models import TravelRule

KM_PER_MILE = 1.609344  # international mile, exact (NIST Special Publication 811, 2008, appendix B)
SPEEDS = ("city_kmh", "town_kmh", "country_kmh", "motorway_kmh")
LENGTHS = ("city_to_km", "town_to_km", "country_to_km")


class TravelRuleForm(forms.ModelForm):  # type: ignore[type-arg]
    """The constants of the estimate and where the road service is."""

    class Meta:
        model = TravelRule
        fields = [
            "detour", "per_move_s", "city_kmh", "city_to_km", "town_kmh", "town_to_km", "country_kmh", "country_to_km",
            "motorway_kmh", "service_url", "service_profile", "timeout_s",
        ]  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.miles = current_display().unit_for("length") == "mi"
        factor = KM_PER_MILE if self.miles else 1.0
        for name in (*SPEEDS, *LENGTHS, "detour"):
            self._number(name, 1.0 if name == "detour" else factor)
        self.fields["detour"].help_text = _("Roads are so much longer than the straight line: 1 to 3.")
        self.fields["per_move_s"].help_text = _("Parking, unloading, getting to the door: 0 to 1800 s.")
        self.fields["service_url"].required = False
        self.fields["service_url"].help_text = _("Such as http://roads.example:5000. Empty: drives are estimated.")
        self.fields["service_profile"].help_text = _("As the service calls it, usually driving.")
        self.fields["timeout_s"].help_text = _("1 to 15 s.")

    def _number(self, name: str, factor: float) -> None:
        """A number field with the model's own range, in the reader's unit."""
        least, most = limits(name)
        label = self.fields[name].label
        if name != "detour":
            unit = ("mph" if self.miles else "km/h") if name in SPEEDS else ("mi" if self.miles else "km")
            label = f"{label} ({unit})"
        self.fields[name] = NumberField(label=label, minimum=_neat(least / factor), maximum=_neat(most / factor))
        value = getattr(self.instance, name)
        self.initial[name] = f"{_neat(value / factor):g}"

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        factor = KM_PER_MILE if self.miles else 1.0
        for name in (*SPEEDS, *LENGTHS, "detour"):
            if data.get(name) is not None:
                data[name] = self._canonical(name, float(data[name]), 1.0 if name == "detour" else factor)
        ends = [data.get(name) for name in LENGTHS]
        for name, nearer, farther in zip(LENGTHS[1:], ends, ends[1:], strict=False):
            if nearer is not None and farther is not None and farther <= nearer:
                self.add_error(name, _("Each stretch must end farther out than the one before."))
        return data

    def _canonical(self, name: str, typed: float, factor: float) -> float:
        """What was typed in km and km/h; a value shown and sent back unchanged stays exactly as it was."""
        kept = float(getattr(TravelRule.objects.filter(pk=1).first() or TravelRule(), name))
        if f"{_neat(kept / factor):g}" == f"{typed:g}":
            return kept
        least, most = limits(name)
        return min(max(typed * factor, least), most)  # the range was checked in the reader's rounded unit

    def clean_service_url(self) -> str:
        text = str(self.cleaned_data.get("service_url") or "").strip().rstrip("/")
        if not text:
            return ""
        try:
            parts = urlsplit(text)
            fits = parts.scheme in {"http", "https"} and bool(parts.hostname) and (parts.port is None or parts.port > 0)
        except ValueError:
            fits = False
        if not fits or parts.query or parts.fragment or parts.username or any(c.isspace() for c in text):
            raise forms.ValidationError(gettext("Write an address such as http://roads.example:5000."))
        return text

    def clean_service_profile(self) -> str:
        text = str(self.cleaned_data["service_profile"]).strip()
        if not text.replace("-", "").replace("_", "").isalnum():
            raise forms.ValidationError(gettext("Only letters, digits, - and _."))
        return text


def limits(name: str) -> tuple[float, float]:
    """The range of a constant, as the model has it."""
    field: Any = TravelRule._meta.get_field(name)
    least, most = (float(validator.limit_value) for validator in field.validators[:2])
    return least, most


def _neat(value: float) -> float:
    return float(f"{value:.4g}")


class TravelImportForm(OnceForm):
    """A table of drives, CSV or XLSX."""

    file = forms.FileField(
        label=_("File (CSV or XLSX)"),
        help_text=_("Columns: from, to, seconds, metres; a first row with these names."),
    )
