"""What is typed about hours, prospective sites and urgent calls."""

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils.translation import gettext_lazy as _

from servicedesk.common.forms import CoordinatesField, DateInput, OnceForm, TimeInput, TimeZoneField
from servicedesk.consumables.models import LoanMachine
from servicedesk.people.models import PayRule, PermissionKind
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.times import Week

CADENCES = [
    ("weekly", _("every week")),
    ("twice_weekly", _("twice a week")),
    ("fortnightly", _("every two weeks")),
    ("four_weekly", _("every four weeks")),
    ("monthly", _("once a month")),
]


class HoursEntryForm(OnceForm):
    """Other work or a break, on the person's own clock. Only a tick says that an end is on the next date."""

    kind = forms.ChoiceField(label=_("What"), choices=HoursEntry.Kind.choices)
    day = forms.DateField(label=_("Day"), widget=DateInput())
    begins = forms.TimeField(label=_("From"), widget=TimeInput())
    ends = forms.TimeField(label=_("To"), widget=TimeInput())
    next_day = forms.BooleanField(label=_("It ends on the next day"), required=False)
    note = forms.CharField(label=_("Note"), max_length=120, required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        begins, ends = data.get("begins"), data.get("ends")
        if begins is not None and ends is not None and ends <= begins and not data.get("next_day"):
            words = _("The end is not after the beginning. If it was on the next day, tick “It ends on the next day”.")
            self.add_error("ends", words)
        return data

    def moments(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Beginning and end as instants."""
        data = self.cleaned_data
        day: date = data["day"]
        after = timedelta(days=1 if data["next_day"] else 0)
        return (
            datetime.combine(day, data["begins"], tzinfo=zone),
            datetime.combine(day + after, data["ends"], tzinfo=zone),
        )


class PayRuleForm(forms.ModelForm):  # type: ignore[type-arg]
    class Meta:
        model = PayRule
        fields = ["valid_from", "day_hours", "week_hours", "night_from", "night_to", "night_premium"]
        widgets = {"valid_from": DateInput(), "night_from": TimeInput(), "night_to": TimeInput()}
        help_texts = {
            "day_hours": _("empty: no overtime by the day"),
            "week_hours": _("empty: no overtime by the week"),
        }

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if bool(data.get("night_from")) != bool(data.get("night_to")) and not {"night_from", "night_to"} & set(
            self.errors
        ):
            missing = "night_to" if data.get("night_from") else "night_from"
            self.add_error(missing, _("A night needs its beginning and its end."))
        if data.get("night_from") and data.get("night_from") == data.get("night_to"):
            self.add_error("night_to", _("The night ends when it begins."))
        return data


class ProspectForm(forms.Form):
    """A site before it is ours."""

    name = forms.CharField(label=_("Name"), max_length=80, required=False)
    at = CoordinatesField(label=_("Coordinates"), help_text=_("latitude and longitude, such as 35.0456, -85.3097"))
    duration_min = forms.IntegerField(label=_("Minutes on site"), min_value=10, max_value=960, initial=90)
    cadence = forms.ChoiceField(label=_("How often"), choices=CADENCES, initial="fortnightly")
    opens = forms.TimeField(label=_("Open from"), widget=TimeInput(), initial=time(8))
    closes = forms.TimeField(label=_("to"), widget=TimeInput(), initial=time(17))
    time_zone = TimeZoneField(label=_("Time zone"), initial="America/Chicago")
    needs = forms.ModelMultipleChoiceField(
        PermissionKind.objects.all(), label=_("A person needs"), required=False, widget=forms.CheckboxSelectMultiple
    )
    week = forms.ChoiceField(label=_("Typical week"))

    def __init__(self, *args: Any, weeks: list[tuple[Week, int]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["week"].choices = [  # type: ignore[attr-defined]
            (f"{week.year}-{week.number}", _("week %(n)d of %(year)d, %(rounds)d rounds") % {
                "n": week.number, "year": week.year, "rounds": rounds,
            })
            for week, rounds in weeks
        ]  # fmt: skip

    def clean_week(self) -> Week:
        year, number = self.cleaned_data["week"].split("-")
        return Week(int(year), int(number))


class UrgentForm(forms.Form):
    """What the caller needs. Sent by GET too, so that the choices can be reloaded and shared."""

    what = forms.CharField(label=_("What is wrong"), max_length=200, required=False)
    duration_min = forms.IntegerField(label=_("Minutes on site"), min_value=10, max_value=960, initial=90)
    machine_kind = forms.ChoiceField(label=_("Loan machine to bring"), required=False)
    days = forms.TypedChoiceField(
        label=_("Look at"), coerce=int, initial=2,
        choices=[(1, _("today")), (2, _("today and tomorrow")), (4, _("four days")), (7, _("a week"))],
    )  # fmt: skip
    any_hour = forms.BooleanField(label=_("They let us in at any hour"), required=False)
    more_needs = forms.ModelMultipleChoiceField(
        PermissionKind.objects.filter(kind__in=["skill", "licence", "ticket"]), label=_("The work needs"),
        required=False, widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["machine_kind"].choices = [("", _("none")), *LoanMachine.Kind.choices]  # type: ignore[attr-defined]


class ChoiceForm(OnceForm):
    """Which of the ways is taken, as the page showed it."""

    key = forms.CharField(max_length=2000, widget=forms.HiddenInput)
    version = forms.IntegerField(min_value=0, widget=forms.HiddenInput)
