"""What is typed about loan equipment."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Site
from servicedesk.common.forms import DateInput, OnceForm
from servicedesk.consumables.models import LoanMachine, LoanReservation
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import installations_at
from servicedesk.people.models import Depot, Van


class LoanForm(forms.ModelForm):  # type: ignore[type-arg]
    """A machine of ours; where a new one lies is asked as well."""

    depot = forms.ModelChoiceField(Depot.objects.filter(archived_at=None), label=_("Lies in"))

    class Meta:
        model = LoanMachine
        fields = ["code", "name", "kind", "size", "mass_kg", "serial", "note"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            del self.fields["depot"]


class PlaceChoices:
    """Stores, vans and sites in one list; a value such as "site-7" names kind and number."""

    KINDS: tuple[tuple[str, Any, Any], ...] = (
        ("depot", Depot, _("Stores")),
        ("van", Van, _("Vans")),
        ("site", Site, _("Sites")),
    )

    @classmethod
    def rows(cls) -> list[tuple[Any, Any]]:
        groups: list[tuple[Any, Any]] = [("", _("choose"))]
        for key, model, label in cls.KINDS:
            found = model.objects.filter(archived_at=None)
            if key == "site":
                found = found.select_related("client").order_by("client__name", "name")
                groups.append((label, [(f"site-{row.pk}", f"{row.client}: {row.name}") for row in found]))
            else:
                groups.append((label, [(f"{key}-{row.pk}", str(row)) for row in found]))
        return groups

    @classmethod
    def found(cls, value: str) -> Any:
        kind, _dash, pk = value.partition("-")
        model = next(row[1] for row in cls.KINDS if row[0] == kind)
        return model.objects.get(pk=int(pk))


class LoanMoveForm(OnceForm):
    """Where a machine went."""

    to = forms.ChoiceField(label=_("It went to"))
    installation = forms.ModelChoiceField(
        Installation.objects.filter(archived_at=None), label=_("On which system"), required=False,
        help_text=_("only when it went to a site"),
    )  # fmt: skip
    at = forms.DateTimeField(
        label=_("When"), required=False, help_text=_("empty: just now"),
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )  # fmt: skip
    due_back_on = forms.DateField(label=_("Due back on"), required=False, widget=DateInput())
    note = forms.CharField(label=_("Note"), max_length=160, required=False)
    though_kept = forms.BooleanField(label=_("Lend it though it is kept for somebody else"), required=False)

    def __init__(self, *args: Any, kept: Sequence[LoanReservation], **kwargs: Any) -> None:
        """``kept``: for whom the machine is kept; the question is put only when it is kept for somebody."""
        super().__init__(*args, **kwargs)
        self.fields["to"].choices = PlaceChoices.rows()  # type: ignore[attr-defined]
        if kept:
            self.fields["though_kept"].help_text = _("kept for %(kept)s") % {
                "kept": "; ".join(
                    f"{row.site}, {date_format(row.first_day)} – {date_format(row.last_day)}" for row in kept
                )
            }
        else:
            del self.fields["though_kept"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not data.get("to"):
            return data
        data["place"] = place = PlaceChoices.found(data["to"])
        if not isinstance(place, Site):
            for name in ("installation", "due_back_on"):
                if data.get(name):
                    self.add_error(name, _("Only for a machine that went to a site."))
        elif data.get("installation") and data["installation"] not in installations_at(place, timezone.localdate()):
            self.add_error("installation", _("This system does not stand at that site."))
        return data


class LoanReserveForm(OnceForm):
    """For whom a machine is kept, and when."""

    site = forms.ModelChoiceField(
        Site.objects.filter(archived_at=None).select_related("client").order_by("client__name", "name"),
        label=_("Keep it for"),
    )
    first_day = forms.DateField(label=_("From"), widget=DateInput())
    last_day = forms.DateField(label=_("To, that day too"), widget=DateInput())
    why = forms.CharField(label=_("Why"), max_length=160, required=False)
