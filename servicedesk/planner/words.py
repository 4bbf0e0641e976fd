"""Why something may not be, in words. A reason is a rule's name and its particulars; the words are English here and
may be translated by whoever shows them (the templates are marked for that)."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime


def gettext_noop(text: str) -> str:
    """Mark a text for translation without translating it."""
    return text


WORDS: Mapping[str, str] = {
    "permission": gettext_noop("{visit} needs {need}, which {name} does not hold on {day}."),
    "barred": gettext_noop("{visit} does not want {name}."),
    "only": gettext_noop("{visit} wants only its own technician, not {name}."),
    "closed": gettext_noop("{visit} may not be done on {day} in the working hours of {name}."),
    "booking": gettext_noop("{visit} has no booking that fits the working hours of {name} on {day}."),
    "fixed": gettext_noop("{visit} is fixed to another technician or day than {name}, {day}."),
    "fixed_time": gettext_noop("{visit} is fixed to {at}, when it may not be done by {name}."),
    "too_heavy": gettext_noop("{visit} brings {kg} kg and {litres} L, more than the van of {name} carries at once."),
    "no_van": gettext_noop("{visit} brings a load, and {name} has no van."),
    "window": gettext_noop("{visit} would be reached at {at}: no open window holds the {minutes} min then."),
    "overtime": gettext_noop("{name} would be back at {at}, {minutes} min beyond the overtime allowed."),
    "break": gettext_noop("{name} could take no break in time on {day}."),
    "order": gettext_noop("{visit} may not come before {other} on one round."),
    "off": gettext_noop("{name} does not work on {day}: {why}."),
    "kept": gettext_noop("The round of {name} on {day} is settled."),
    "day_off": gettext_noop("no working day"),
    "no_window": gettext_noop("{visit} has no open window in these days."),
    "no_shift": gettext_noop("No working day is left."),
    "crew": gettext_noop("{visit} needs {people} people for its first {minutes} min; two at most are planned for."),
    "nobody_with": gettext_noop("{visit} needs two people, and no two can begin there together."),
    "too_far": gettext_noop("{visit} is too far to be reached, done and returned from in the hours of {name}."),
    "full": gettext_noop("Every round that may take it is full in its hours."),
    "linked": gettext_noop("Every round that may take it breaks a rest, a gap between visits or the use of a thing."),
    "dear": gettext_noop("Best with {name}, {day}, which would cost {cost}: more than waiting, {waiting}."),
    "moved": gettext_noop("{visit}: {name} on {day} instead of {old_name} on {old_day}."),
    "swapped": gettext_noop("{visit} and {other} change places: {name} on {day} instead of {old_name} on {old_day}."),
    "retimed": gettext_noop("{visit}: begins at {at} instead of {old_at}."),
    "dropped": gettext_noop("{visit} is on no round any more; it was with {old_name} on {old_day}."),
    "placed": gettext_noop("{visit} is planned now: {name} on {day} at {at}."),
    "promise_broken": gettext_noop("{visit}: {promised} was promised, the visit begins at {at}."),
    "best_call": gettext_noop("If {visit} could take another hour ({name}, {day} at {at}), {cost} would be saved."),
    "why_here": gettext_noop("{name} on {day} costs {cost} less than the next best, {next_name} on {next_day}."),
    "why_only": gettext_noop("{name} on {day}: nobody else and no other day has room for {visit}."),
    "why_although": gettext_noop("{next_name} on {next_day} would cost {cost} less than {name}, {day}."),
    "due_off": gettext_noop(
        "{name} has to drive on {day} from the lodging of the night before, and is off on that day."
    ),
    "due_far": gettext_noop("{name} has to drive on {day} farther than the hours of that day allow."),
    "due_rest": gettext_noop("{name} has to drive on {day} and has too little rest before or after it."),
    "promise": gettext_noop("{visit}: another hour was promised."),
    "preference": gettext_noop("{visit} would rather have {name}."),
}


@dataclass(frozen=True, slots=True)
class Reason:
    """A rule that stands in the way. ``visit_id`` names the visit that it is about, if any."""

    rule: str
    params: Mapping[str, object] = field(default_factory=dict)
    visit_id: str | None = None

    def words(self) -> str:
        """The reason as an English sentence."""
        return WORDS[self.rule].format(**{key: _shown(value) for key, value in self.params.items()})


def _shown(value: object) -> str:
    if isinstance(value, datetime):
        return f"{value:%H:%M}"
    if isinstance(value, date):
        return f"{value:%a} {value.day} {value:%b}"
    return str(value)


def commonest(reasons: Iterable[Reason]) -> Reason | None:
    """The reason with the rule and particulars met most often, the first of equals."""
    rows = list(reasons)
    counts: dict[str, int] = {}
    for row in rows:
        counts[row.words()] = counts.get(row.words(), 0) + 1
    return max(rows, key=lambda row: counts[row.words()]) if rows else None
