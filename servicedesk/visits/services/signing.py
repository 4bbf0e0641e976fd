"""What is to be signed, and what stands in the way of signing it."""

import json
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import User
from servicedesk.visits.form import declaration
from servicedesk.visits.form.arrival import ARRIVAL, arrival_error
from servicedesk.visits.form.context import VisitContext, load
from servicedesk.visits.form.fields import Form, Group
from servicedesk.visits.form.meaning import Meaning, meaning
from servicedesk.visits.models import Signature, Visit, VisitEntry
from servicedesk.visits.queries.form import entries as entries_of


@dataclass(slots=True)
class Signing:
    """What sign-off works on."""

    visit: Visit
    actor: User
    context: VisitContext
    form: Form
    entries: dict[str, VisitEntry]
    meanings: dict[str, Meaning]
    problems: dict[str, str] = field(default_factory=dict)

    def typed(self, key: str) -> str:
        """What stands in a field: what was typed, or what was filled in beforehand and left."""
        entry = self.entries.get(key)
        if entry is not None:
            return entry.typed.strip()
        declared = self.form.field(key)
        return declared.initial if declared is not None else ""

    def groups(self, step: str) -> tuple[Group, ...]:
        return self.form.step(step).groups


def prepare(visit: Visit, actor: User) -> Signing:
    """Load everything and collect what stands in the way of signing (``problems``: field key → words)."""
    context = load(visit)
    form = declaration.build(context)
    entries = entries_of(visit)
    meanings = {declared.key: meaning(declared, entries.get(declared.key)) for declared in form.fields}
    signing = Signing(visit, actor, context, form, entries, meanings)
    _check_times(signing)
    _check_fields(signing)
    _check_safety(signing)
    _check_readings(signing)
    _check_settings(signing)
    _check_signatures(signing)
    return signing


def _clock(signing: Signing, key: str) -> datetime | None:
    typed = signing.typed(key)
    try:
        at = datetime.strptime(typed, "%H:%M").time()  # noqa: DTZ007 - a clock time, joined with day and zone below
    except ValueError:
        return None
    return datetime.combine(signing.context.day, at, tzinfo=signing.context.zone)


def times(signing: Signing) -> tuple[datetime, datetime]:
    """Arrival and leaving as instants; leaving at an earlier clock time is the next date."""
    start = _clock(signing, "arrive.at") or signing.visit.started_at or timezone.now()
    end = _clock(signing, "leave.at") or timezone.now()
    if end <= start:
        end += timedelta(days=1)
    return start, end


def _check_times(signing: Signing) -> None:
    for key, label in (("arrive.at", _("When did you arrive?")), ("leave.at", _("When did you finish?"))):
        if _clock(signing, key) is None:
            signing.problems[key] = label
    entry = signing.entries.get(ARRIVAL)
    future = arrival_error(entry.typed, entry.entered_at, signing.context.zone) if entry is not None else ""
    if future:
        signing.problems[ARRIVAL] = future
    if not signing.problems:
        start, end = times(signing)
        if end - start > timedelta(hours=16):
            signing.problems["leave.at"] = _("That would be more than 16 hours on site. Check both times.")


def _check_fields(signing: Signing) -> None:
    for key, found in signing.meanings.items():
        if found.error:
            signing.problems[key] = found.error
        elif found.may_keep:
            signing.problems[key] = _("Take the suggestion or keep the value as typed.")


def _check_safety(signing: Signing) -> None:
    for group in signing.groups("plant"):
        for declared in group.fields:
            failed = declared.safety and signing.typed(declared.key) in declared.bad
            if failed and not signing.typed(f"{declared.key}.safe"):
                signing.problems[f"{declared.key}.safe"] = _(
                    "A safety check failed: say how it was made safe, by whom, and what now."
                )


def _check_readings(signing: Signing) -> None:
    groups = signing.groups("test")
    if groups and not any(_answered(signing, group.key) for group in groups):
        signing.problems[groups[0].key] = _("Test the water, or say why it was not done.")


def _answered(signing: Signing, key: str) -> bool:
    entry = signing.entries.get(key)
    return entry is not None and bool(entry.typed.strip() or entry.not_done_reason)


def _check_settings(signing: Signing) -> None:
    """A machine cannot be set beyond its setting's limits: told beside the field."""
    for group in signing.groups("set"):
        for declared in group.fields:
            if signing.meanings[declared.key].kind == "warn":
                signing.problems[declared.key] = " ".join(
                    [_("It cannot be set to that."), *signing.meanings[declared.key].sentences]
                )


def _check_signatures(signing: Signing) -> None:
    if not strokes_of(signing, "sign.technician.strokes"):
        signing.problems["sign.technician.strokes"] = _("Please sign.")
    if not signing.typed("sign.technician.name"):
        signing.problems["sign.technician.name"] = _("Your name, please.")
    how = signing.typed("sign.client.how")
    if how not in Signature.How.values:
        signing.problems["sign.client.how"] = _("Does the client's representative sign, refuse, or is nobody there?")
    elif how == Signature.How.DRAWN:
        if not strokes_of(signing, "sign.client.strokes"):
            signing.problems["sign.client.strokes"] = _("The signature is missing.")
        if not signing.typed("sign.client.name"):
            signing.problems["sign.client.name"] = _("Who signs?")
    elif not signing.typed("sign.client.reason"):
        signing.problems["sign.client.reason"] = _("Say why there is no signature.")


def strokes_of(signing: Signing, key: str) -> list[list[list[float]]]:
    try:
        strokes = json.loads(signing.typed(key) or "[]")
    except ValueError:
        return []
    if not isinstance(strokes, list):
        return []
    return [stroke for stroke in strokes if _is_stroke(stroke)]


def _is_stroke(stroke: object) -> bool:
    return (
        isinstance(stroke, list)
        and len(stroke) > 1
        and all(
            isinstance(point, list) and len(point) == 2 and all(isinstance(part, int | float) for part in point)
            for point in stroke
        )
    )
