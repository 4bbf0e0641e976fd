"""What a page of the form shows: declaration, entries and meaning joined field by field."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from django.utils.functional import Promise
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from servicedesk.common.svg import BandStrip, Mark, band_strip
from servicedesk.installations.models import Installation
from servicedesk.people.models import User
from servicedesk.readings.models import Band
from servicedesk.science import units
from servicedesk.visits.form import declaration
from servicedesk.visits.form.arrival import ARRIVAL, arrival_error, other_day_words
from servicedesk.visits.form.context import VisitContext, load
from servicedesk.visits.form.fields import STEPS, Field, Form, Group, Step
from servicedesk.visits.form.meaning import Meaning, meaning
from servicedesk.visits.models import HandOn, Visit, VisitEntry, VisitPhoto, VisitUse
from servicedesk.visits.queries.form import entries as entries_of

SKIP_REASONS = (
    gettext_lazy("no time"),
    gettext_lazy("no reagent"),
    gettext_lazy("no access"),
    gettext_lazy("not needed today"),
    gettext_lazy("machine is off"),
)


@dataclass(frozen=True, slots=True)
class ShownField:
    """A field with its entry, what it means, and its drawing."""

    field: Field
    entry: VisitEntry | None
    meaning: Meaning
    strip: SafeString | None = None
    problem: str = ""
    caution: str = ""

    @property
    def typed(self) -> str:
        return self.entry.typed if self.entry else self.field.initial

    @property
    def unit(self) -> str:
        return self.entry.unit if self.entry and self.entry.unit else self.field.unit

    @property
    def dom_id(self) -> str:
        return "f-" + self.field.key.replace(".", "-")


@dataclass(frozen=True, slots=True)
class ShownGroup:
    group: Group
    fields: list[ShownField]
    heading: str = ""
    photos: list[VisitPhoto] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class StepState:
    """A step in the bar: how many of its groups have an answer, and whether something is wrong there."""

    key: str
    title: str
    done: int
    total: int
    wrong: bool
    current: bool

    @property
    def state(self) -> str:
        if self.wrong:
            return "bad"
        if self.total and self.done >= self.total:
            return "good"
        return "due" if self.done else "wait"


@dataclass(frozen=True, slots=True)
class StepPage:
    visit: Visit
    step: Step
    steps: list[StepState]
    groups: list[ShownGroup]
    hand_ons: list[HandOn]
    uses: list[VisitUse]
    stock_options: tuple[tuple[str, str], ...]
    following: str
    before: str
    day: date
    problems: list[tuple[str, str, str]]
    summary: list[ShownField]
    may_fill: bool = True

    @property
    def other_day_words(self) -> str:
        """What to ask when the visit, not begun yet, is begun on another day than it is planned for."""
        is_open = self.visit.started_at is None and self.visit.planned_on is not None
        return other_day_words(self.visit) if is_open else ""

    @property
    def skip_reasons(self) -> tuple[Promise | str, ...]:
        return SKIP_REASONS


def step_page(visit: Visit, user: User, key: str, problems: Mapping[str, list[str]] | None = None) -> StepPage:
    """Everything a step's page shows."""
    context = load(visit)
    form, entries = declaration.build(context), entries_of(visit)
    step = form.step(key)
    wrong = {name: " ".join(texts) for name, texts in (problems or {}).items()}
    photos = list(visit.photos.all())
    order = STEPS.index(key)
    return StepPage(
        visit=visit,
        step=step,
        steps=[_state(row, entries, wrong, visit, current=row.key == key) for row in form.steps],
        groups=_groups(context, step, entries, wrong, photos),
        hand_ons=context.hand_ons if key == "arrive" else [],
        uses=list(visit.uses.select_related("item", "lot", "place")) if key in {"use", "sign"} else [],
        stock_options=stock_options(context),
        following=STEPS[order + 1] if order + 1 < len(STEPS) else "",
        before=STEPS[order - 1] if order else "",
        day=context.day if visit.started_at is not None else visit.planned_on or visit.due_on,
        problems=[(name, _step_of(form, name), _named(form, name, text)) for name, text in wrong.items()],
        summary=_summary(context, form, entries) if key == "sign" else [],
    )


@dataclass(frozen=True, slots=True)
class EntryPage:
    """What changes on the page when a field was stored: what it means, and the bar of the steps."""

    visit: Visit
    shown: ShownField
    steps: list[StepState]


def entry_page(visit: Visit, key: str) -> EntryPage | None:
    """A field after it was stored; None when the form has no such field."""
    context = load(visit)
    form = declaration.build(context)
    declared = form.field(key)
    if declared is None:
        return None
    entries, here = entries_of(visit), _step_of(form, key)
    steps = [_state(row, entries, {}, visit, current=row.key == here) for row in form.steps]
    return EntryPage(visit, _shown(context, declared, entries.get(key), ""), steps)


def stock_options(context: VisitContext) -> tuple[tuple[str, str], ...]:
    """Everything in the van and on site, as the Use step offers it."""
    return declaration.lot_options(context, context.stock)


def photos_of(visit: Visit, group: str) -> list[VisitPhoto]:
    return list(visit.photos.filter(field_key=group))


def installation_of(visit: Visit, group: str) -> Installation | None:
    """The installation that a group's key names, if it is one of the visit's."""
    parts = group.split(".")
    covers = {str(cover.installation_id): cover.installation for cover in visit.covers.select_related("installation")}
    return covers.get(parts[1]) if len(parts) > 1 else None


def _groups(
    context: VisitContext,
    step: Step,
    entries: dict[str, VisitEntry],
    wrong: dict[str, str],
    photos: Iterable[VisitPhoto],
) -> list[ShownGroup]:
    names = {installation.pk: str(installation) for installation in context.installations}
    several, last = len(names) > 1, None
    shown = []
    told: set[str] = set()
    for group in step.groups:
        heading = names.get(group.installation or 0, "") if several and group.installation != last else ""
        last = group.installation
        fields = [
            replace(
                _shown(context, row, entries.get(row.key), wrong.get(row.key, "")), caution=_once(told, row.caution)
            )
            for row in group.fields
        ]
        shown.append(ShownGroup(group, fields, heading, [photo for photo in photos if photo.field_key == group.key]))
    return shown


def _once(told: set[str], caution: str) -> str:
    """A caution where it is first due on the page; said at every machine it would be read at none."""
    if caution in told:
        return ""
    told.add(caution)
    return caution


def _shown(context: VisitContext, declared: Field, entry: VisitEntry | None, problem: str) -> ShownField:
    found = meaning(declared, entry)
    if entry is not None and declared.key == ARRIVAL and not found.error:
        found = replace(found, error=arrival_error(entry.typed, entry.entered_at, context.zone))
    strip = _strip(context, declared, entry, found) if declared.live is not None else None
    return ShownField(declared, entry, found, strip, problem)


def _strip(context: VisitContext, declared: Field, entry: VisitEntry | None, found: Meaning) -> SafeString | None:
    _test, installation, parameter = declared.key.split(".")
    band = next((row for row in context.bands[int(installation)] if row.parameter_id == parameter), None)
    if band is None:
        return None
    unit = entry.unit if entry and entry.unit else declared.unit
    marks = [
        (reading.value, reading.sd, reading.below_detection)
        for reading in context.recent.get(int(installation), {}).get(parameter, [])
    ]
    words = declared.before or _("no reading yet")
    if found.result is not None and found.result.value is not None:
        marks.append((found.result.value, float(declared.live["sd"]) if declared.live else 0.0, found.result.below))
        words = f"{units.show(declared.quantity, found.result.value, unit)}, {found.words}"
    return draw_band(band, unit, marks, words)


def draw_band(band: Band, unit: str, marks: list[tuple[float, float, bool]], words: str) -> SafeString:
    """The band strip of canonical (value, sd, below) marks in the unit shown."""
    quantity = band.parameter.quantity
    found = units.unit_of(quantity, unit)

    def shown(value: float) -> float:
        return units.from_canonical(quantity, value, unit)

    return band_strip(
        BandStrip(
            name=band.parameter.name,
            unit=found.label,
            low=shown(band.low),
            high=shown(band.high),
            alarm_low=shown(band.alarm_low) if band.alarm_low is not None else None,
            alarm_high=shown(band.alarm_high) if band.alarm_high is not None else None,
            marks=[
                Mark(shown(value), abs(shown(value + sd) - shown(value)), below=below) for value, sd, below in marks
            ],
            words=words,
            digits=found.digits,
        )
    )


def _state(
    step: Step, entries: dict[str, VisitEntry], wrong: dict[str, str], visit: Visit, *, current: bool
) -> StepState:
    answered = sum(any(_answered(entries.get(row.key)) for row in group.fields) for group in step.groups)
    total = len(step.groups)
    if step.key == "use":
        answered, total = visit.uses.count(), 0
    bad = any(name in wrong for group in step.groups for name in [row.key for row in group.fields])
    return StepState(step.key, step.title, answered, total, bad, current)


def _answered(entry: VisitEntry | None) -> bool:
    return entry is not None and bool(entry.typed.strip() or entry.not_done_reason)


def _step_of(form: Form, key: str) -> str:
    for step in form.steps:
        if any(row.key == key for group in step.groups for row in group.fields):
            return step.key
    return "sign"


def _named(form: Form, key: str, text: str) -> str:
    """A problem with the name of its field before it."""
    declared = form.field(key)
    return f"{declared.label}: {text}" if declared is not None else text


def _summary(context: VisitContext, form: Form, entries: dict[str, VisitEntry]) -> list[ShownField]:
    """The readings for the client to read before signing."""
    rows = [row for group in form.step("test").groups for row in group.fields if row.live is not None]
    shown = [_shown(context, row, entries.get(row.key), "") for row in rows]
    return [row for row in shown if _answered(row.entry)]
