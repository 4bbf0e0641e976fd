"""What an entry means, in words a person can act on: verdict, drift, dose, cautions."""

from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from servicedesk.science import live, units
from servicedesk.science.live import LiveResult
from servicedesk.science.water.dosing import Correction
from servicedesk.science.water.plausibility import Suggestion
from servicedesk.visits.form.fields import Field
from servicedesk.visits.models import VisitEntry

MAX_MAGNITUDE = 1e9
STATES = {
    "in": ("good", gettext_lazy("in band")),
    "low": ("warn", gettext_lazy("below the band")),
    "high": ("warn", gettext_lazy("above the band")),
    "alarm_low": ("bad", gettext_lazy("far too low")),
    "alarm_high": ("bad", gettext_lazy("far too high")),
    "noted": ("wait", gettext_lazy("noted")),
}


@dataclass(frozen=True, slots=True)
class Meaning:
    """What stands under a field: a state (kind and words), sentences, an error, one-tap suggestions."""

    kind: str = ""
    words: str = ""
    sentences: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    error: str = ""
    suggestions: tuple[Suggestion, ...] = ()
    may_keep: bool = False
    dose_g: float | None = None
    result: LiveResult | None = field(default=None, compare=False)


def meaning(declared: Field, entry: VisitEntry | None, *, told_in: str = "") -> Meaning:
    """What the stored entry of a field means; nothing typed: an empty meaning.

    ``told_in``: the unit of the sentences, when the reader's is not the one typed in.
    """
    typed = entry.typed if entry else ""
    if entry is not None and entry.not_done_reason:
        return Meaning("wait", _("not done: %(reason)s") % {"reason": entry.not_done_reason})
    if not typed.strip():
        return Meaning()
    if declared.live is not None and entry is not None:
        result = live.live_result(declared.live, typed, entry.unit, confirmed=entry.confirmed)
        return _reading(declared, result, told_in or entry.unit, confirmed=entry.confirmed)
    if declared.kind == "number" and entry is not None:
        return _number(declared, typed, entry.unit)
    if declared.kind == "choice":
        return _choice(declared, typed)
    if declared.kind in {"time", "clock"}:
        return _clock(typed)
    return Meaning()


def _clock(typed: str) -> Meaning:
    try:
        datetime.strptime(typed.strip(), "%H:%M")  # noqa: DTZ007 - a clock time without a day
    except ValueError:
        return Meaning(error=_("Write a clock time such as 14:30."))
    return Meaning()


def _choice(declared: Field, typed: str) -> Meaning:
    words = dict(declared.options).get(typed, "")
    if typed in declared.bad:
        text = _("Say below how it was made safe: without that the visit cannot be signed.") if declared.safety else ""
        return Meaning("bad", words, (text,) if text else ())
    return Meaning("warn" if typed == "watch" else "good", words)


def _number(declared: Field, typed: str, unit: str) -> Meaning:
    try:
        number = units.parse_number(typed)
        value = units.to_canonical(declared.quantity, number.value, unit) if declared.quantity else number.value
    except ValueError as error:
        return Meaning(error=str(error))
    if value < 0 and declared.quantity not in {"temperature", "orp"}:
        return Meaning(error=_("This cannot be less than nothing."))
    if abs(value) > MAX_MAGNITUDE:
        return Meaning(error=_("This number is too large."))
    if declared.low is None and declared.high is None:
        return Meaning()
    if (declared.low is not None and value < declared.low) or (declared.high is not None and value > declared.high):
        return Meaning("warn", _("outside the usual"), (_usual(declared, unit),))
    return Meaning("good", _("as usual"))


def _usual(declared: Field, unit: str) -> str:
    edges = [
        units.show(declared.quantity, edge, unit) if declared.quantity else f"{edge:g}"
        for edge in (declared.low, declared.high)
        if edge is not None
    ]
    return _("Usual: %(range)s.") % {"range": " – ".join(edges)}


def _reading(declared: Field, result: LiveResult, unit: str, *, confirmed: bool) -> Meaning:
    if result.state == "error":
        return Meaning(error=result.message)
    if result.state == "impossible":
        return Meaning(error=_("This value cannot be. Check the number and the unit."), suggestions=result.suggestions)
    if result.state == "ask":
        return Meaning(
            "warn",
            _("is that right?"),
            (_("It lies far from the last value."),),
            suggestions=result.suggestions,
            may_keep=True,
            result=result,
        )
    kind, words = STATES[result.state][0], str(STATES[result.state][1])
    sentences = [*_drift(declared, result, unit), *_too_high(declared, result, unit)]
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    dose = None
    if result.correction is not None:
        sentences += dose_sentences(declared, result.correction, unit)
        steps = dose_steps(result.correction)
        cautions, dose = result.correction.product.cautions, result.correction.portions[0].mass_g
    elif confirmed and result.state != "in":
        sentences.append(_("Kept as typed. No dose is advised on an odd value: test again first."))
    return Meaning(kind, words, tuple(sentences), steps, cautions, dose_g=dose, result=result)


def _drift(declared: Field, result: LiveResult, unit: str) -> list[str]:
    change = result.drift
    if change is None or result.value is None:
        return []
    amount = _difference(declared.quantity, change.change, unit)
    days = ngettext("%(days)d day", "%(days)d days", max(round(change.days), 1)) % {"days": max(round(change.days), 1)}
    if not change.certain:
        return [_("%(amount)s in %(days)s: within the error of the tests.") % {"amount": amount, "days": days}]
    return [_("%(amount)s in %(days)s.") % {"amount": amount, "days": days}]


def _difference(quantity: str, change: float, unit: str) -> str:
    found = units.unit_of(quantity, unit)
    if unit in units.SPECIFIC_GRAVITY_TEMPS_C:
        return f"{change:+.1f} PSS"
    return f"{change / found.factor:+.{found.digits}f} {found.label}".strip()


def _too_high(declared: Field, result: LiveResult, unit: str) -> list[str]:
    if not result.excess:
        return []
    return [
        _("%(amount)s above the band: stop what raises it; a dose cannot lower it, a water change can.")
        % {"amount": _difference(declared.quantity, result.excess, unit).lstrip("+")}
    ]


def dose_sentences(declared: Field, correction: Correction, unit: str) -> list[str]:
    """What the whole correction is and how far it goes a day."""
    per_day = _difference(declared.quantity, correction.change_per_day, unit)
    whole = _difference(declared.quantity, correction.change, unit)
    mass = mass_words(correction.mass_g)
    if correction.days == 1:
        return [
            _("To the target it needs %(whole)s: %(mass)s of %(product)s.")
            % {"whole": whole, "mass": mass, "product": correction.product.name}
        ]
    return [
        _(
            "To the target it needs %(whole)s: %(mass)s of %(product)s over %(days)d days, "
            "%(per_day)s a day, the greatest safe change kept."
        )
        % {
            "whole": whole,
            "mass": mass,
            "product": correction.product.name,
            "days": correction.days,
            "per_day": per_day,
        }
    ]


def dose_steps(correction: Correction) -> tuple[str, ...]:
    """Today's portions as instructions: mass, water to dissolve in, place, clock time."""
    first_day = [portion for portion in correction.portions if portion.day == correction.portions[0].day]
    steps = [
        _("%(time)s: %(mass)s dissolved in %(volume)s L RO water, %(place)s.")
        % {
            "time": f"{portion.at_min // 60:02}:{portion.at_min % 60:02}",
            "mass": mass_words(portion.mass_g),
            "volume": f"{portion.dissolve_l:g}",
            "place": correction.product.place,
        }
        for portion in first_day
    ]
    left = len(correction.portions) - len(first_day)
    if left:
        steps.append(
            ngettext("Then %(left)d more such portion.", "Then %(left)d more such portions.", left) % {"left": left}
        )
    return tuple(steps)


def mass_words(mass_g: float) -> str:
    """A mass as a balance shows it."""
    if mass_g >= 1000:
        return f"{mass_g / 1000:.2f} kg"
    if mass_g >= 10:
        return f"{mass_g:.0f} g"
    return f"{mass_g:.2f} g" if mass_g >= 0.1 else f"{mass_g * 1000:.1f} mg"
