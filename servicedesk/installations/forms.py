"""What is typed about installations, their machines and animals."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Site
from servicedesk.common.display import current_display
from servicedesk.common.forms import DateInput, OnceForm, OnceModelForm, QuantityField
from servicedesk.installations.models import Animal, Installation, PlantItem

VOLUMES = ("display_l", "sump_l", "displacement_l")


class InstallationForm(OnceModelForm):
    """Volumes are typed in the person's unit and kept in litres."""

    display_l = QuantityField("volume", label=_("Display, to the weir"), minimum=1, maximum=10_000_000)
    sump_l = QuantityField("volume", label=_("Sump and filters, running"), maximum=10_000_000)
    displacement_l = QuantityField("volume", label=_("Displaced by rock, sand and gear"), maximum=10_000_000)
    evaporation_l_day = QuantityField("volume", label=_("Top-off a day"), maximum=100_000, required=False)
    since = forms.DateField(label=_("At this site since"), widget=DateInput(), required=False)

    class Meta:
        model = Installation
        fields = ["code", "name", "kind", *VOLUMES, "evaporation_l_day", "where", "is_quarantine", "started_on"]
        widgets = {"started_on": DateInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        unit = current_display().unit_for("volume") or "L"
        for name in (*VOLUMES, "evaporation_l_day"):
            field = self.fields[name]
            assert isinstance(field, QuantityField)  # noqa: S101 - narrows the type only
            field.unit = field.widget.unit = unit
            if self.instance.pk or name != "display_l":
                self.initial[name] = field.typed(getattr(self.instance, name))
        if self.instance.pk:
            del self.fields["since"]
        else:
            self.fields["since"].required = True

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        known = [float(data[name]) for name in VOLUMES if data.get(name) is not None]
        if len(known) == len(VOLUMES) and known[2] >= known[0] + known[1]:
            self.add_error("displacement_l", _("Displacement must be less than display and sump together."))
        return data


class MoveForm(OnceForm):
    """The installation goes to another site from a day on."""

    site = forms.ModelChoiceField(Site.objects.none(), label=_("To"))
    since = forms.DateField(label=_("From"), widget=DateInput())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["site"]
        assert isinstance(field, forms.ModelChoiceField)  # noqa: S101 - narrows the type only
        field.queryset = Site.objects.filter(archived_at=None).select_related("client")


class PlantForm(OnceModelForm):
    power_w = QuantityField("power", label=_("Electrical input"), required=False, maximum=1_000_000)

    class Meta:
        model = PlantItem
        fields = [
            "kind", "label", "model", "serial", "power_w", "capacity", "capacity_unit", "where", "installed_on",
            "removed_on", "service_interval_days", "position",
        ]  # fmt: skip
        widgets = {"installed_on": DateInput(), "removed_on": DateInput()}
        labels = {"capacity_unit": _("Unit of the capacity"), "position": _("Place in the walk")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        power = self.fields["power_w"]
        assert isinstance(power, QuantityField)  # noqa: S101 - narrows the type only
        self.initial["power_w"] = power.typed(self.instance.power_w)
        self.fields["capacity_unit"].required = False


class ServiceForm(OnceForm):
    done_on = forms.DateField(label=_("Done on"), widget=DateInput())
    what = forms.CharField(label=_("What was done"), max_length=200)


class AnimalForm(OnceModelForm):
    mass_g = QuantityField("mass", label=_("Mass of one"), required=False, maximum=1_000_000)

    class Meta:
        model = Animal
        fields = ["group", "name", "species", "count", "mass_g", "arrived_on", "left_on", "note"]
        widgets = {"arrived_on": DateInput(), "left_on": DateInput()}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        mass = self.fields["mass_g"]
        assert isinstance(mass, QuantityField)  # noqa: S101 - narrows the type only
        self.initial["mass_g"] = mass.typed(self.instance.mass_g)
