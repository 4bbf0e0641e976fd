"""What the planner sends: seconds to plan, a move, a lock."""

from collections.abc import Sequence
from datetime import date, time
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from servicedesk.people.models import Technician
from servicedesk.routes.week_models import PlanVersion

SECONDS = [(5, _("5 seconds")), (15, _("15 seconds")), (60, _("1 minute"))]

MIDNIGHT, MORNING, EVENING = time(0), time(9), time(17)
DAY_MIN = 24 * 60


class VersionForm(forms.Form):
    """Every change names the version of the week its page was drawn from."""

    version = forms.IntegerField(min_value=1, widget=forms.HiddenInput)


class PublishForm(VersionForm):
    """``ask_again``: the planner has read who refused what is asked once more."""

    ask_again = forms.BooleanField(required=False)


class PlanForm(VersionForm):
    seconds = forms.TypedChoiceField(label=_("Search for"), choices=SECONDS, coerce=int, initial=15)


class MoveForm(VersionForm):
    """To a technician's day and a place in its order; an empty technician takes the visit off its round."""

    technician = forms.TypedChoiceField(label=_("Technician"), coerce=int, empty_value=None, required=False)
    day = forms.TypedChoiceField(label=_("Day"), coerce=date.fromisoformat, empty_value=None, required=False)
    position = forms.IntegerField(
        label=_("Place in the order"),
        min_value=1,
        max_value=40,
        required=False,
        help_text=_("1 is the first stop; empty: where it costs least"),
    )

    def __init__(
        self, *args: Any, technicians: Sequence[Technician], days: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        people = [(row.pk, str(row)) for row in technicians]
        self.fields["technician"].choices = [("", _("nobody: back to the tray")), *people]  # type: ignore[attr-defined]
        self.fields["day"].choices = [("", "–"), *days]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("technician") and not cleaned.get("day"):
            self.add_error("day", _("Choose a day."))
        return cleaned


class NightForm(VersionForm):
    """Where the night after a round is spent; empty is at home."""

    lodging = forms.IntegerField(required=False)


class LockForm(VersionForm):
    """Lock or free a visit, or a whole round."""

    visit = forms.UUIDField(required=False)
    technician = forms.IntegerField(required=False)
    day = forms.DateField(required=False)
    locked = forms.TypedChoiceField(choices=[("1", "1"), ("0", "0")], coerce=lambda value: value == "1")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not cleaned.get("visit") and not (cleaned.get("technician") and cleaned.get("day")):
            raise forms.ValidationError(_("Say which visit or round."))
        return cleaned


class AnswerForm(forms.Form):
    """A technician's answer to a change of a published round."""

    accept = forms.TypedChoiceField(choices=[("1", "1"), ("0", "0")], coerce=lambda value: value == "1")
    reason = forms.CharField(label=_("If not, why"), max_length=200, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("accept") is False and not (cleaned.get("reason") or "").strip():
            self.add_error("reason", _("Say why, so that the planner can find another way."))
        return cleaned


class RemedyForm(forms.Form):
    """A remedy chosen for a late round."""

    kind = forms.ChoiceField(choices=[("reorder", ""), ("give", ""), ("later", "")])
    visit = forms.UUIDField()
    to = forms.IntegerField(required=False)


class HourForm(forms.Form):
    """The hour a client agreed to on the telephone, on the site's clock."""

    at = forms.TimeField(label=_("The client agreed to"), input_formats=["%H:%M"])


class RestoreForm(VersionForm):
    """An older state of the week to be put in force again."""

    state = forms.IntegerField(min_value=1)


class CompareForm(forms.Form):
    """Two states of a week, to be looked at side by side."""

    old = forms.TypedChoiceField(label=_("From"), coerce=int)
    new = forms.TypedChoiceField(label=_("To"), coerce=int)

    def __init__(self, *args: Any, versions: Sequence[PlanVersion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(row.number, f"{row.number}: {row.words or _('the beginning')}") for row in versions]
        self.fields["old"].choices = choices  # type: ignore[attr-defined]
        self.fields["new"].choices = choices  # type: ignore[attr-defined]


class SwapForm(VersionForm):
    """The round to swap with: another technician, another day or both."""

    technician = forms.TypedChoiceField(label=_("Swap with"), coerce=int)
    day = forms.TypedChoiceField(label=_("Day"), coerce=date.fromisoformat)

    def __init__(
        self, *args: Any, technicians: Sequence[Technician], days: Sequence[tuple[str, str]], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"].choices = [(row.pk, str(row)) for row in technicians]  # type: ignore[attr-defined]
        self.fields["day"].choices = list(days)  # type: ignore[attr-defined]


class DecideForm(VersionForm):
    """What to do with a proposed plan; the groups chosen are read beside it."""

    proposal = forms.UUIDField()
    act = forms.ChoiceField(choices=[("all", ""), ("some", ""), ("refuse", "")])


class ReplanForm(PlanForm):
    """Who is out since when; nobody: an urgent call or a late day, and what is open is planned again."""

    use_required_attribute = False  # why is asked only where somebody is out
    field_order = ("technician", "reason", "since", "until", "seconds")
    REASONS = (("", "–"), ("ill", _("ill")), ("van", _("van down")), ("other", _("other")))

    technician = forms.TypedChoiceField(label=_("Who is out"), coerce=int, empty_value=None, required=False)
    reason = forms.ChoiceField(
        label=_("Why"),
        choices=REASONS,
        help_text=_("only where somebody is out"),
        error_messages={"required": _("Say why, so that the day is kept free.")},
    )
    until = forms.DateField(label=_("Away until"), required=False, help_text=_("the last day away; a van: today"))
    since = forms.TimeField(
        label=_("Since"), input_formats=["%H:%M"], required=False, help_text=_("today; empty: from now on")
    )

    def __init__(self, *args: Any, technicians: Sequence[Technician], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = [(row.pk, str(row)) for row in technicians]
        self.fields["technician"].choices = [("", _("nobody")), *people]  # type: ignore[attr-defined]
        self.fields["reason"].required = not self.is_bound or bool(self.data.get(self.add_prefix("technician")))
        self.fields["until"].widget.input_type = "date"
        self.fields["since"].widget.input_type = "time"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        until = cleaned.get("until")
        if cleaned.get("technician") and until is not None and until < timezone.localdate():
            self.add_error("until", _("This day is over: give today or a later day."))
        return cleaned


class BackForm(VersionForm):
    """Who is there again."""

    technician = forms.TypedChoiceField(coerce=int)

    def __init__(self, *args: Any, technicians: Sequence[Technician], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"].choices = [(row.pk, str(row)) for row in technicians]  # type: ignore[attr-defined]


class WishForm(forms.Form):
    """A client's wish: only this person, only these hours."""

    only = forms.TypedChoiceField(label=_("Only this person"), coerce=int, empty_value=None, required=False)
    opens = forms.TimeField(label=_("Begins not before"), input_formats=["%H:%M"], required=False)
    closes = forms.TimeField(label=_("Ends by"), input_formats=["%H:%M"], required=False)

    def __init__(self, *args: Any, technicians: Sequence[Technician], duration_min: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.duration_min = duration_min
        people = [(row.pk, str(row)) for row in technicians]
        self.fields["only"].choices = [("", _("anybody")), *people]  # type: ignore[attr-defined]
        for name in ("opens", "closes"):
            self.fields[name].widget.input_type = "time"

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        opens, closes = cleaned.get("opens"), cleaned.get("closes")
        if not cleaned.get("only") and opens is None and closes is None:
            self.add_error("only", _("Choose a person, or give one hour or both."))
        elif opens is not None or closes is not None:
            self._check_span(opens or MIDNIGHT, closes or MIDNIGHT)
        return cleaned

    def _check_span(self, opens: time, closes: time) -> None:
        """From an hour to a later one, or through a night; midnight as the end is that of the same day."""
        minutes = (closes.hour - opens.hour) * 60 + closes.minute - opens.minute
        names = {"min": self.duration_min, "opens": f"{opens:%H:%M}", "closes": f"{closes:%H:%M}"}
        is_night = opens >= EVENING and closes <= MORNING
        if minutes <= 0 and closes != MIDNIGHT and not is_night:
            self.add_error("closes", _("%(closes)s comes before %(opens)s: give an hour after it.") % names)
        elif minutes % DAY_MIN and minutes % DAY_MIN < self.duration_min:
            words = _("The visit takes %(min)d min, more than there is from %(opens)s to %(closes)s.")
            self.add_error("closes", words % names)

    @property
    def hours(self) -> tuple[time, time] | None:
        """One hour alone leaves the other side open."""
        opens, closes = self.cleaned_data["opens"], self.cleaned_data["closes"]
        return None if opens is None and closes is None else (opens or MIDNIGHT, closes or MIDNIGHT)
