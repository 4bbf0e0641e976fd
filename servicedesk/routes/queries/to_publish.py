"""What publishing a week will do: who gets what, whose hour moves, what stays undone."""

from dataclasses import dataclass
from uuid import UUID

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.people.models import Technician
from servicedesk.routes.crews import visits_published
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.queries.round import times_planned
from servicedesk.routes.queries.week import BoardStop, Cell, TrayRow, board, plan_of, rounds_of
from servicedesk.routes.times import Week


@dataclass(frozen=True, slots=True)
class PublishRow:
    """What publishing changes for one technician."""

    technician: Technician
    rounds: int
    visits: int
    new: int
    moved: int


@dataclass(frozen=True, slots=True)
class PublishSummary:
    plan: WeekPlan | None
    rows: list[PublishRow]
    out: list[str]
    moved_promises: list[BoardStop]
    warnings: list[str]  # the most serious first: who is lacking, then what the rounds break
    preferences: list[str]
    taken_off: int
    left: list[TrayRow]
    is_published: bool

    @property
    def visits(self) -> int:
        return sum(row.visits for row in self.rows)


def publish_summary(week: Week) -> PublishSummary:
    """What publishing will do: who gets what, whose hour moves, what stays undone."""
    plan = plan_of(week)
    if plan is None:
        return PublishSummary(None, [], [], [], [], [], 0, [], is_published=False)
    rounds = [row for row in rounds_of(plan) if not times_planned(row).is_empty]
    by_technician: dict[Technician, list[Round]] = {}
    for row in rounds:
        by_technician.setdefault(row.technician, []).append(row)
    shown = board(week)
    stops = [stop for day in shown.days for cell in day.cells for stop in cell.stops]
    on_rounds = {stop.visit.pk for stop in stops if not stop.helps}
    before = {pk for row in plan.rounds.exclude(published=None) for pk in visits_published(row)}
    wishes = {stop.visit.pk: _wish(stop) for stop in stops}
    told = [
        (f"{row.technician}, {date_format(row.date, 'D j M')}: {entry['words']}", _is_wish(entry, wishes))
        for row in rounds
        for entry in row.warnings
    ]
    return PublishSummary(
        plan=plan,
        rows=[_publish_row(technician, own) for technician, own in by_technician.items()],
        out=[_out_words(cell) for day in shown.days for cell in day.cells if cell.stops_out],
        moved_promises=[stop for stop in stops if stop.promise_moved],
        warnings=[*(row.words for row in shown.crews.lacking), *(words for words, is_wish in told if not is_wish)],
        preferences=[words for words, is_wish in told if is_wish],
        taken_off=len(before - {str(pk) for pk in on_rounds}),
        left=shown.tray,
        is_published=shown.is_published,
    )


def _out_words(cell: Cell) -> str:
    words = ngettext(
        "%(name)s is out on %(day)s (%(why)s): %(n)d visit stands on their round.",
        "%(name)s is out on %(day)s (%(why)s): %(n)d visits stand on their round.",
        len(cell.stops_out),
    )
    day = date_format(cell.day, "D j M")
    return words % {"name": cell.technician, "day": day, "why": cell.out_words, "n": len(cell.stops_out)}


def _wish(stop: BoardStop) -> str:
    """How the sentence begins that tells a site's wish for its own technician."""
    site = {"site": stop.visit.site.name, "name": "\0"}
    return (_("%(site)s would rather have %(name)s.") % site).split("\0")[0]


def _is_wish(entry: dict[str, str], wishes: dict[UUID, str]) -> bool:
    """Whether a warning tells a preference only."""
    begin = wishes.get(UUID(entry["visit"])) if entry.get("visit") else None
    return begin is not None and entry["words"].startswith(begin)


def _publish_row(technician: Technician, rounds: list[Round]) -> PublishRow:
    visits = [stop.visit for row in rounds for stop in row.stops.all() if not stop.helps]
    new = sum(visit.technician_id is None for visit in visits)
    moved = sum(visit.technician_id not in {None, technician.user_id} for visit in visits)
    return PublishRow(technician, len(rounds), len(visits), new, moved)
