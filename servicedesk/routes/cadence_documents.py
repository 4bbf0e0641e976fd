"""A look ahead for the screen: figures, weeks drawn side by side, proposals in words."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from servicedesk.common.display import current_display
from servicedesk.common.recurrence import words
from servicedesk.common.svg import draw
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal
from servicedesk.routes.queries.cadence import slot_of, week_number
from servicedesk.routes.times import Week, hours_words
from servicedesk.science import units

WEEK_PX, HEIGHT, TOP, FOOT, LEFT = 66.0, 210.0, 26.0, 34.0, 40.0
BAR_PX = 22.0
HAVE_SHOWN = 2


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure as it is, as proposed, and what that saves, in all and in a week."""

    label: str
    now: str
    proposed: str
    saved: str
    saved_a_week: str
    better: bool | None


def _length(metres: float) -> str:
    return units.show("length", round(metres / 1000), current_display().unit_for("length"))


def _saved(value: float, form: Any) -> str:
    """A saving with its sign: what is saved is a minus in the books."""
    if form(abs(value)) == form(0):
        return _("none")
    return f"{'−' if value > 0 else '+'}{form(abs(value))}"


def figures(look: CadenceLook) -> list[Figure]:
    """Driving, time on the road, time beyond the working day, rounds, and how uneven the weeks are."""
    weeks = (look.result or {}).get("weeks", [])
    rows = []
    count: Any = lambda value: f"{value:.0f}"  # noqa: E731
    for label, key, form in (
        (_("driven"), "metres", _length),
        (_("on the road"), "drive_s", hours_words),
        (_("beyond working hours"), "over_s", hours_words),
        (_("rounds driven"), "rounds", count),
    ):
        now, proposed = (sum(week[side][key] for week in weeks) for side in ("now", "proposed"))
        saved = now - proposed
        a_week = _saved(saved / max(len(weeks), 1), form) if key != "rounds" else ""
        rows.append(Figure(label, form(now), form(proposed), _saved(saved, form), a_week, _better(saved)))
    now_s, proposed_s = (_spread(weeks, side) for side in ("now", "proposed"))
    label = _("fullest less emptiest week")
    saved = _saved(now_s - proposed_s, hours_words)
    rows.append(Figure(label, hours_words(now_s), hours_words(proposed_s), saved, "", _better(now_s - proposed_s)))
    return rows


def _better(saved: float) -> bool | None:
    return None if not saved else saved > 0


def _load(week: dict[str, Any], side: str) -> int:
    return int(week[side]["drive_s"]) + int(week[side]["service_s"])


def _spread(weeks: list[dict[str, Any]], side: str) -> int:
    loads = [_load(week, side) for week in weeks]
    return max(loads, default=0) - min(loads, default=0)


@dataclass(frozen=True, slots=True)
class WeekRow:
    number: int
    monday: date
    available: str
    now: str
    proposed: str
    now_length: str
    proposed_length: str


def week_rows(look: CadenceLook) -> list[WeekRow]:
    rows = []
    for week in (look.result or {}).get("weeks", []):
        monday = date.fromisoformat(week["monday"])
        rows.append(
            WeekRow(
                Week.of(monday).number,
                monday,
                hours_words(week["available_s"]),
                hours_words(_load(week, "now")),
                hours_words(_load(week, "proposed")),
                _length(week["now"]["metres"]),
                _length(week["proposed"]["metres"]),
            )
        )
    return rows


def chart(look: CadenceLook) -> SafeString:
    """Hours of work of each week, as it is (outlined) beside as proposed (full), under the hours people have."""
    weeks = (look.result or {}).get("weeks", [])
    loads = [_load(week, side) for week in weeks for side in ("now", "proposed")]
    have = max((week["available_s"] for week in weeks), default=0)
    fullest = max([*loads, 3600])
    top = max(fullest, have) if have <= HAVE_SHOWN * fullest else fullest  # far above the bars it would dwarf them
    y_at = draw.scale(0, top * 1.05, HEIGHT - FOOT, TOP)
    width = LEFT + WEEK_PX * len(weeks) + 8
    parts = []
    for tick in draw.nice_ticks(0, top / 3600, 4):
        y = y_at(tick * 3600)
        parts.append(
            draw.element("line", x1=LEFT, x2=width, y1=y, y2=y, stroke=draw.FAINT, stroke_width=1, class_="grid")
        )
        parts.append(draw.text(f"{tick:g} h", LEFT - 5, y + 4, size=11, anchor="end", fill=draw.SOFT, class_="label"))
    for index, week in enumerate(weeks):
        parts += _week_bars(week, LEFT + index * WEEK_PX, y_at, with_have=top >= have)
    title = _("Hours of work by week: as it is and as proposed, and the hours people have")
    return mark_safe(draw.drawing(title, width, HEIGHT, "".join(parts), "cadence-chart"))  # noqa: S308 - escaped in draw


def hours_people_have(look: CadenceLook) -> str:
    """The hours people have in the leanest and the fullest week."""
    have = [week["available_s"] for week in (look.result or {}).get("weeks", [])]
    least, most = round(min(have, default=0) / 3600), round(max(have, default=0) / 3600)
    if least == most:
        return _("People have %(n)d h a week.") % {"n": most}
    return _("People have %(least)d to %(most)d h a week.") % {"least": least, "most": most}


def _week_bars(week: dict[str, Any], x: float, y_at: draw.Scale, *, with_have: bool) -> list[str]:
    floor, monday = y_at(0), date.fromisoformat(week["monday"])
    now, proposed, have = y_at(_load(week, "now")), y_at(_load(week, "proposed")), y_at(week["available_s"])
    line = draw.element(
        "line", x1=x + 3, x2=x + WEEK_PX - 3, y1=have, y2=have, stroke=draw.INK, stroke_width=2,
        stroke_dasharray="5 3", class_="have",
    )  # fmt: skip
    return [
        draw.element(
            "rect", x=x + 9, y=now, width=BAR_PX, height=max(floor - now, 0.0), fill="none", stroke=draw.INK,
            stroke_width=1.5, class_="now",
        ),
        draw.element(
            "rect", x=x + 11 + BAR_PX, y=proposed, width=BAR_PX, height=max(floor - proposed, 0.0), fill=draw.GOOD,
            stroke=draw.INK, stroke_width=1, class_="proposed",
        ),
        line if with_have else "",
        draw.text(
            date_format(monday, "j M"), x + 10 + BAR_PX, HEIGHT - FOOT + 16, size=12, anchor="middle", fill=draw.INK,
            class_="label",
        ),
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class ProposalRow:
    """A proposal in words."""

    proposal: CadenceProposal
    now: str
    proposed: str
    saved_length: str
    saved_time: str
    alone_length: str
    alone_time: str
    neighbours: str


def proposal_row(row: CadenceProposal, weeks: int) -> ProposalRow:
    return ProposalRow(
        row,
        _words(row.rule_before, row.first_visit_before, row.first_on),
        _words(row.rule, row.first_on, row.first_on),
        _saved(row.saved_m / weeks, _length),
        _saved(row.saved_s / weeks, hours_words),
        _saved(row.alone_m / weeks, _length),
        _saved(row.alone_s / weeks, hours_words),
        ", ".join(row.neighbours),
    )


def _words(rule: str, first: date, about: date) -> str:
    """The rhythm in words; with a cycle of weeks also which calendar week near ``about`` it falls into."""
    from servicedesk.clients.models import Agreement

    text = words(rule)
    found = slot_of(Agreement(rule=rule, first_visit_on=first, anchored=True))
    if found is None or found[1] == 1:
        return text
    slot, every = found
    monday = Week.of(about).monday
    while week_number(monday) % every != slot.phase:
        monday = Week.of(monday).shifted(1).monday
    if every == 2:
        odd = Week.of(monday).number % 2
        return _("%(words)s, odd weeks") % {"words": text} if odd else _("%(words)s, even weeks") % {"words": text}
    return _("%(words)s, as in week %(n)d") % {"words": text, "n": Week.of(monday).number}
