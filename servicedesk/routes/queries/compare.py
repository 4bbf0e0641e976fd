"""Two plans of a week side by side: their figures, the rounds that differ as ribbons, each visit that changes."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.crews import visit_of
from servicedesk.routes.kept import KeptRound, Key, is_same
from servicedesk.routes.queries.ends import ends_of, lodgings_of
from servicedesk.routes.queries.plan_changes import Difference, Group, difference
from servicedesk.routes.queries.week import NIGHTS, change_words, figure_text, figures, is_shown
from servicedesk.routes.ribbons import PAIR_HOUR_PX, driven_span, round_ribbon, span_of
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit

Rounds = Mapping[Key, KeptRound]


@dataclass(frozen=True, slots=True)
class Figure:
    label: str
    old: str
    new: str
    change: str
    better: bool | None


@dataclass(frozen=True, slots=True)
class Pair:
    """A technician's day in both plans."""

    technician: Technician
    day: date
    old: SafeString | None
    new: SafeString | None
    old_count: int
    new_count: int

    @property
    def name(self) -> str:
        return _("%(name)s, %(day)s") % {"name": self.technician, "day": date_format(self.day, "D j M")}


@dataclass(frozen=True, slots=True)
class GroupPairs:
    """Rounds that change together, drawn in both plans."""

    group: Group
    pairs: list[Pair]


@dataclass(frozen=True, slots=True)
class Comparison:
    figures: list[Figure]
    groups: list[GroupPairs]
    difference: Difference

    @property
    def is_same(self) -> bool:
        return not self.groups

    @property
    def told(self) -> list[GroupPairs]:
        return [row for row in self.groups if not row.group.is_minutes_only]

    @property
    def minutes_only(self) -> list[GroupPairs]:
        return [row for row in self.groups if row.group.is_minutes_only]


def comparison(
    week: Week, old: Rounds, new: Rounds, old_score: Mapping[str, Any] | None, new_score: Mapping[str, Any] | None
) -> Comparison:
    """What is otherwise from ``old`` to ``new``."""
    found = difference(week, old, new)
    keys = [key for key in {*old, *new} if not is_same(old.get(key), new.get(key))]
    people = Technician.objects.select_related("user").in_bulk({key[0] for key in keys})
    ids = {pk for rounds in (old, new) for key in keys if key in rounds for pk in map(visit_of, rounds[key].calls)}
    sites = {str(row.pk): row.site for row in Visit.objects.filter(pk__in=ids).select_related("site__client")}
    times = [rounds[key].times for rounds in (old, new) for key in keys if key in rounds]
    span = span_of(
        driven_span(row.leave_s, row.return_s or 0, *row.nights)
        for row in times
        if not row.is_empty and row.leave_s is not None
    )
    lodgings = lodgings_of(times)

    def drawn(rounds: Rounds, key: Key) -> SafeString | None:
        row = rounds.get(key)
        if row is None or row.times.is_empty:
            return None
        who = people[key[0]]
        zone = ZoneInfo(who.time_zone)
        warned = frozenset(visit for visit, _words in row.warnings if visit)
        return round_ribbon(
            str(who), key[1], zone, row.times, sites, span, None, warned, hour_px=PAIR_HOUR_PX,
            ends=ends_of(who, row.times, lodgings),
        )  # fmt: skip

    def count(rounds: Rounds, key: Key) -> int:
        return len(rounds[key].calls) if key in rounds else 0

    pairs = {
        key: Pair(people[key[0]], key[1], drawn(old, key), drawn(new, key), count(old, key), count(new, key))
        for key in keys
    }
    groups = [GroupPairs(group, [pairs[key] for key in group.keys]) for group in found.groups]
    return Comparison(_figures(old_score or {}, new_score or {}), groups, found)


def _figures(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Figure]:
    rows = []
    for key, label, form in figures():
        was, now = old.get(key), new.get(key)
        if key in NIGHTS and not was and not now:
            continue
        change = (now - was) if was is not None and now is not None else 0
        words = change_words(change, form) if change else ""
        differs = bool(change) and is_shown(change, form)
        rows.append(
            Figure(
                label, "–" if was is None else figure_text(was, form), "–" if now is None else figure_text(now, form),
                words, change < 0 if differs else None,
            )
        )  # fmt: skip
    return rows
