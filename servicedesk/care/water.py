"""What the Water page of an installation shows: strips worst first, history on one time axis, the programme's day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from servicedesk.care import queries
from servicedesk.care.models import Addition, ProgrammeVersion
from servicedesk.care.programme import BY_KEY, SETTINGS
from servicedesk.common.display import current_display
from servicedesk.common.svg import BandStrip, DayRow, Event, Mark, Panel, Span, band_strip, day_line, history_chart
from servicedesk.installations.models import Installation
from servicedesk.readings.models import Band, Reading, Sampling
from servicedesk.readings.queries import bands, series
from servicedesk.science import live, units
from servicedesk.science.quantities import QUANTITIES, Unit

RECENT = 8
RANK = {"alarm_low": 0, "alarm_high": 0, "low": 1, "high": 1, "in": 2, "": 3}
WORDS = {
    "alarm_low": gettext_lazy("far too low"),
    "alarm_high": gettext_lazy("far too high"),
    "low": gettext_lazy("below the band"),
    "high": gettext_lazy("above the band"),
    "in": gettext_lazy("in band"),
}
KINDS = {"alarm_low": "bad", "alarm_high": "bad", "low": "warn", "high": "warn", "in": "good", "": "wait"}


@dataclass(frozen=True, slots=True)
class StripRow:
    """A parameter's strip with its last value in words."""

    band: Band
    last: Reading | None
    shown: str
    state: str
    kind: str
    words: str
    drawing: SafeString


@dataclass(frozen=True, slots=True)
class SettingRow:
    """A setting in force and what a waiting version asks for."""

    label: str
    now: str
    asked: str


def unit_shown(quantity: str) -> Unit:
    known = [unit.key for unit in QUANTITIES[quantity]]
    chosen = current_display().unit_for(quantity)
    return units.unit_of(quantity, chosen if chosen in known else known[0])


def strips(installation: Installation) -> list[StripRow]:
    """A strip per band, the worst on top."""
    recent = series(installation, since=timezone.now() - timedelta(days=240))
    rows = [_strip(band, recent.get(key, [])[-RECENT:]) for key, band in bands(installation).items()]
    return sorted(rows, key=lambda row: RANK[row.state])


def _strip(band: Band, readings: Sequence[Reading]) -> StripRow:
    quantity, unit = band.parameter.quantity, unit_shown(band.parameter.quantity)

    def shown(value: float) -> float:
        return units.from_canonical(quantity, value, unit.key)

    def edge(value: float | None) -> float | None:
        return None if value is None else shown(value)

    last = readings[-1] if readings else None
    state = live.band_state(last.value, _edges(band)) if last else ""
    words = str(WORDS[state]) if state else _("no reading yet")
    text = f"{'< ' if last.below_detection else ''}{units.show(quantity, last.value, unit.key)}" if last else ""
    marks = [
        Mark(shown(row.value), abs(shown(row.value + row.sd) - shown(row.value)), below=row.below_detection)
        for row in readings
    ]
    drawing = band_strip(
        BandStrip(
            name=band.parameter.name, unit=unit.label, low=shown(band.low), high=shown(band.high), marks=marks,
            words=f"{text} {words}".strip(), alarm_low=edge(band.alarm_low), alarm_high=edge(band.alarm_high),
            digits=unit.digits,
        )
    )  # fmt: skip
    return StripRow(band, last, text, state, KINDS[state], words, drawing)


def _edges(band: Band) -> dict[str, float | None]:
    return {name: getattr(band, name) for name in ("alarm_low", "low", "high", "alarm_high")}


def history(
    installation: Installation, keys: Sequence[str], days: int, visits: Sequence[tuple[datetime, str]]
) -> SafeString:
    """History of the chosen parameters with additions, settings and visits on the same time axis."""
    end = timezone.now()
    start = end - timedelta(days=days)
    found, known = series(installation, keys, since=start), bands(installation)
    panels = [_panel(known[key], found.get(key, [])) for key in keys if key in known]
    events = [Event(at, "visit", words) for at, words in visits if at >= start]
    events += [_event(row) for row in queries.additions(installation, start)]
    events += [_setting_event(row) for row in _versions(installation, start)]
    return history_chart(_("History of %(name)s") % {"name": installation.name}, panels, events, start, end)


def _panel(band: Band, readings: Sequence[Reading]) -> Panel:
    quantity, unit = band.parameter.quantity, unit_shown(band.parameter.quantity)

    def shown(value: float) -> float:
        return units.from_canonical(quantity, value, unit.key)

    points = [(row.taken_at, shown(row.value), abs(shown(row.value + row.sd) - shown(row.value))) for row in readings]
    return Panel(band.parameter.name, unit.label, points, shown(band.low), shown(band.high), unit.digits)


def _event(row: Addition) -> Event:
    kind = "water_change" if row.kind == Addition.Kind.WATER_CHANGE else "dose"
    amount = f" {row.mass_g:g} g" if row.mass_g else ""
    if row.volume_l:
        unit = unit_shown("volume")
        amount = f" {units.show('volume', row.volume_l, unit.key)}"
    return Event(row.at, kind, f"{date_format(row.at, 'j M')}: {row.note or row.get_kind_display()}{amount}")


def _versions(installation: Installation, start: datetime) -> list[ProgrammeVersion]:
    rows = queries.programme_history(installation).filter(state=ProgrammeVersion.State.IN_FORCE)
    return [row for row in rows if row.valid is not None and row.valid.lower is not None and row.valid.lower >= start]


def _setting_event(row: ProgrammeVersion) -> Event:
    at: datetime = row.valid.lower
    return Event(
        at, "setting", _("%(day)s: programme %(number)s") % {"day": date_format(at, "j M"), "number": row.number}
    )


def programme_rows(installation: Installation) -> list[SettingRow]:
    """The settings in force, with what waits to be set beside them."""
    now, asked = queries.programme_in_force(installation), queries.programme_approved(installation)
    stands: dict[str, Any] = now.settings if now else {}
    wanted: dict[str, Any] = asked.settings if asked else {}
    rows = []
    for setting in SETTINGS:
        before, after = stands.get(setting.key), wanted.get(setting.key)
        if before is None and after is None:
            continue
        change = setting_words(setting.key, after) if asked and after != before else ""
        rows.append(SettingRow(str(setting.label), setting_words(setting.key, before) or "–", change))
    return rows


def setting_words(key: str, value: Any) -> str:
    if value is None:
        return ""
    setting = BY_KEY[key]
    return (
        units.show(setting.quantity, float(value), unit_shown(setting.quantity).key) if setting.quantity else str(value)
    )


def programme_day(installation: Installation) -> SafeString | None:
    """The programme as a day of 24 hours, or None when nothing has a clock."""
    version = queries.programme_in_force(installation)
    settings: dict[str, Any] = version.settings if version else {}
    rows = [row for row in (_lights(settings), _lime(settings), _feeds(settings), *_round_the_clock(settings)) if row]
    return day_line(_("Programme over the day"), rows) if rows else None


def _minutes(text: str) -> int:
    hours, minutes = text.split(":")[:2]
    return int(hours) * 60 + int(minutes)


def _lights(settings: dict[str, Any]) -> DayRow | None:
    if "lights_on" not in settings or "lights_off" not in settings:
        return None
    on, off = settings["lights_on"], settings["lights_off"]
    return DayRow(_("Lights"), [Span(_minutes(on), _minutes(off))], f"{on} – {off}")


def _lime(settings: dict[str, Any]) -> DayRow | None:
    if "lime_from" not in settings or "lime_to" not in settings:
        return None
    amount = setting_words("lime_l_day", settings.get("lime_l_day"))
    return DayRow(_("Limewater"), [Span(_minutes(settings["lime_from"]), _minutes(settings["lime_to"]))], amount)


def _feeds(settings: dict[str, Any]) -> DayRow | None:
    count = int(settings.get("feeds_per_day") or 0)
    if not count or "feed_first" not in settings:
        return None
    first, last = _minutes(settings["feed_first"]), _minutes(settings.get("feed_last") or settings["feed_first"])
    step = (last - first) / (count - 1) if count > 1 else 0
    times = [round(first + step * index) for index in range(count)]
    return DayRow(_("Feeds"), [Span(at, at) for at in times], setting_words("feed_g_day", settings.get("feed_g_day")))


def _round_the_clock(settings: dict[str, Any]) -> list[DayRow]:
    whole = [Span(0, 24 * 60)]
    keys = ("reactor_flow_ml_min", "dose_alkalinity_ml_day", "dose_calcium_ml_day")
    return [
        DayRow(str(BY_KEY[key].label), whole, setting_words(key, settings[key])) for key in keys if settings.get(key)
    ]


def visit_moments(installation: Installation) -> list[tuple[datetime, str]]:
    """When water was sampled at visits, for the time axis."""
    rows = Sampling.objects.filter(installation=installation, source=Sampling.Source.VISIT).select_related("taken_by")
    return [
        (row.taken_at, f"{date_format(row.taken_at, 'j M')}: {row.taken_by or ''}".strip(": ")) for row in rows[:120]
    ]
