"""Refusals of changes: what a technician said no to, so that the same is not asked again unawares."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.routes.models import RoundChange, WeekPlan
from servicedesk.routes.queries.absence import rounds_to_publish, set_apart
from servicedesk.routes.queries.changes import QUIET_S, Part, is_asked, linked, needs_asking, part_of
from servicedesk.routes.queries.round import times_kept, today_of

Kept = Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A change that was refused; ``is_same``: what is asked now is that change again."""

    change: RoundChange
    is_same: bool

    @property
    def at(self) -> datetime:
        """When, on the clock of the technician."""
        moment = self.change.answered_at or self.change.asked_at
        return moment.astimezone(ZoneInfo(self.change.round.technician.time_zone))

    @property
    def words(self) -> str:
        """What the planner reads."""
        return _("%(day)s: refused by %(name)s at %(at)s: %(reason)s") % {
            "day": date_format(self.change.round.date, "D j M"),
            "name": self.change.round.technician,
            "at": date_format(self.at, "D j M, H:i"),
            "reason": self.change.reason,
        }


def refusal_before(change: RoundChange) -> Refusal | None:
    """The refusal that came before a question about the same round: of the same change if there was one."""
    earlier = [
        row for row in change.round.changes.all()
        if row.state == RoundChange.State.REFUSED and row.pk != change.pk and row.asked_at < change.asked_at
    ]  # fmt: skip
    return _latest(earlier, change.proposed)


def _latest(refused: Iterable[RoundChange], proposed: Kept) -> Refusal | None:
    found = [Refusal(row, same_change(row.proposed, proposed)) for row in refused]
    return max(found, key=lambda row: (row.is_same, row.change.asked_at), default=None)


def refusals_overridden(parts: Sequence[Part]) -> list[Refusal]:
    """Which of the questions that publishing would put were refused already, and are not asked again yet."""
    asked = [part for part in parts if is_asked(part, today_of(part.round.technician))]
    rows: dict[int, list[RoundChange]] = {}
    for row in RoundChange.objects.filter(round__in=[part.round.pk for part in asked]).select_related(
        "round__technician__user"
    ):
        rows.setdefault(row.round_id, []).append(row)
    out = []
    for part in asked:
        proposed, own = times_kept(part.new) if part.new else None, rows.get(part.round.pk, [])
        is_open = any(row.state == RoundChange.State.ASKED and same_change(row.proposed, proposed) for row in own)
        found = _latest([row for row in own if row.state == RoundChange.State.REFUSED], proposed)
        if found is not None and found.is_same and not is_open:
            out.append(found)
    return out


def refusals_to_publish(plan: WeekPlan | None) -> list[Refusal]:
    """The refusals that publishing a week as it stands would pass over."""
    if plan is None or plan.state == WeekPlan.State.PUBLISHED:
        return []
    rest = set_apart([part_of(row) for row in rounds_to_publish(plan)]).rest
    return refusals_overridden([part for group in linked(rest) if needs_asking(group) for part in group])


def same_change(one: Kept, two: Kept) -> bool:
    """Whether two proposals are one to the technician: the same calls in their order, within a few minutes."""
    old, new = _stops(one), _stops(two)
    nights = [(kept or {}).get(name) for kept in (one, two) for name in ("start_lodging_id", "lodging_id")]
    return (
        [(row["visit_id"], row.get("helps", False)) for row in old]
        == [(row["visit_id"], row.get("helps", False)) for row in new]
        and all(abs(was["start_s"] - now["start_s"]) <= QUIET_S for was, now in zip(old, new, strict=True))
        and nights[:2] == nights[2:]
    )


def _stops(kept: Kept) -> Sequence[Mapping[str, Any]]:
    return kept["stops"] if kept else ()
