"""What is otherwise between two plans of a week: each visit in words, and the rounds that change together."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.people.models import Technician
from servicedesk.planner import plan as planned
from servicedesk.planner import problem as planner
from servicedesk.planner.changes import Change, changes
from servicedesk.routes.crews import visit_of
from servicedesk.routes.kept import KeptRound, Key, is_same
from servicedesk.routes.nights import morning_of
from servicedesk.routes.queries.ends import lodgings_of
from servicedesk.routes.queries.round import StopTimes
from servicedesk.routes.times import Week, instant
from servicedesk.routes.translate import PROMISE_S, told
from servicedesk.visits.models import Visit

Rounds = Mapping[Key, KeptRound]
MOST = ("promise_broken", "promise_kept", "dropped", "later", "moved", "swapped", "placed", "retimed", "helper")


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One visit's change in words. ``was`` and ``now``: the technician's day it was on and is on."""

    kind: str
    words: str
    visit: Visit
    was: tuple[Key, StopTimes] | None
    now: tuple[Key, StopTimes] | None
    breaks_promise: bool = False  # told an hour that held before and does not any more

    @property
    def keys(self) -> set[Key]:
        return {place[0] for place in (self.was, self.now) if place is not None}

    @property
    def is_bad(self) -> bool:
        return self.kind in {"promise_broken", "dropped"}


@dataclass(slots=True)
class Group:
    """Rounds that exchange visits or share a night away: all of them change or none."""

    keys: list[Key]
    names: list[str]
    rows: list[ChangeRow] = field(default_factory=list)
    nights: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        return key_text(self.keys[0])

    @property
    def is_minutes_only(self) -> bool:
        """The same stops in the same order: only some minutes or a lock differ."""
        return not self.rows and not self.nights

    @property
    def promises_broken(self) -> int:
        return sum(row.breaks_promise for row in self.rows)


def key_text(key: Key) -> str:
    return f"{key[0]}.{key[1]:%Y-%m-%d}"


@dataclass(slots=True)
class Difference:
    """All that is otherwise."""

    groups: list[Group]
    rows: list[ChangeRow]
    last_day: date
    promises_kept_again: int = 0

    @property
    def summary(self) -> str:
        """3 moved, 1 promise broken: the same counts by which the figures of both plans differ."""
        counts = Counter(self._kind(row) for row in self.rows)
        counts["swapped"] //= 2
        counts["promise_broken"] = sum(row.breaks_promise for row in self.rows)
        counts["promise_kept"] = self.promises_kept_again
        return ", ".join(_counted(kind, counts[kind]) for kind in MOST if counts[kind])

    def _kind(self, row: ChangeRow) -> str:
        return "later" if row.kind == "dropped" and row.visit.due_on > self.last_day else row.kind


def _counted(kind: str, count: int) -> str:
    words = {
        "promise_broken": ngettext("%(n)d promise broken", "%(n)d promises broken", count),
        "promise_kept": ngettext("%(n)d promise kept again", "%(n)d promises kept again", count),
        "later": ngettext("%(n)d due later left for its own week", "%(n)d due later left for their own weeks", count),
        "dropped": ngettext("%(n)d dropped", "%(n)d dropped", count),
        "moved": ngettext("%(n)d moved", "%(n)d moved", count),
        "swapped": ngettext("%(n)d pair swapped", "%(n)d pairs swapped", count),
        "placed": ngettext("%(n)d newly placed", "%(n)d newly placed", count),
        "retimed": ngettext("%(n)d at another hour", "%(n)d at another hour", count),
        "helper": ngettext("%(n)d helper changed", "%(n)d helpers changed", count),
    }
    return words[kind] % {"n": count}


def difference(week: Week, old: Rounds, new: Rounds) -> Difference:
    """What changes from one plan of a week to another."""
    old, new = _differing(old, new)
    people = {row.pk: row for row in Technician.objects.filter(pk__in={key[0] for key in {*old, *new}}).select_related(
        "user"
    )}  # fmt: skip
    ids = {visit_of(call) for rounds in (old, new) for row in rounds.values() for call in row.calls}
    visits = {str(row.pk): row for row in Visit.objects.filter(pk__in=ids).select_related("site__client")}
    problem = _problem(week, people, visits)
    found = changes(problem, _plan(old, people, visits), _plan(new, people, visits))
    was, now = _places(old), _places(new)
    before, after = (_promises_missed(places, visits, people) for places in (was, now))
    rows = _rows(found, visits, was, now, after - before, people)
    rows += _helper_rows(_places(old, helps=True), _places(new, helps=True), visits, people)
    return Difference(_groups(rows, old, new, people, visits), rows, week.sunday, len(before - after))


def _promises_missed(
    places: Mapping[str, tuple[Key, StopTimes]], visits: Mapping[str, Visit], people: Mapping[int, Technician]
) -> set[str]:
    """Visits that begin outside the hour told to the client, or not at all."""
    found = set()
    for pk, visit in visits.items():
        promised = promised_at(visit)
        if promised is None:
            continue
        place = places.get(pk)
        begins = begins_at(*place, people[place[0][0]], visit) if place is not None else None
        if begins is None or abs((begins - promised).total_seconds()) > PROMISE_S:
            found.add(pk)
    return found


def _rows(
    found: Iterable[Change],
    visits: Mapping[str, Visit],
    was: Mapping[str, tuple[Key, StopTimes]],
    now: Mapping[str, tuple[Key, StopTimes]],
    broken: set[str],
    people: Mapping[int, Technician],
) -> list[ChangeRow]:
    rows = []
    for change in found:
        pk, is_told = change.visit, change.kind == "promise_broken" or change.visit not in now
        rows.append(
            ChangeRow(
                change.kind,
                _words(change, visits[pk], now.get(pk), people),
                visits[pk],
                was.get(pk),
                now.get(pk),
                is_told and pk in broken,
            )
        )
    return rows


def _words(change: Change, visit: Visit, now: tuple[Key, StopTimes] | None, people: Mapping[int, Technician]) -> str:
    """The change in a sentence; a promise broken by another day names both days."""
    promised = promised_at(visit)
    if change.kind == "promise_broken" and promised is not None and now is not None:
        begins = begins_at(*now, people[now[0][0]], visit)
        if begins.date() != promised.date():
            words = _("%(site)s: %(old_day)s at %(old)s was promised, the visit begins on %(day)s at %(at)s.")
            names = {"site": visit.site.name, "old_day": _day(promised.date()), "old": f"{promised:%H:%M}"}
            return words % (names | {"day": _day(begins.date()), "at": f"{begins:%H:%M}"})
    return told(change.reason)


def _differing(old: Rounds, new: Rounds) -> tuple[Rounds, Rounds]:
    keys = {key for key in {*old, *new} if not is_same(old.get(key), new.get(key))}
    return {key: old[key] for key in old if key in keys}, {key: new[key] for key in new if key in keys}


def _problem(week: Week, people: Mapping[int, Technician], visits: Mapping[str, Visit]) -> planner.Problem:
    return planner.Problem(
        first_day=week.monday,
        last_day=week.sunday,
        currency="",
        places=(),
        technicians=tuple(
            planner.Technician(id=str(pk), start="", end="", zone=row.time_zone, days=(), name=str(row))
            for pk, row in people.items()
        ),
        visits=tuple(
            planner.Visit(
                id=pk, place="", duration_s=row.duration_min * 60, skip_cost=Decimal(0), name=row.site.name,
                promise=_promise(row),
            )
            for pk, row in sorted(visits.items(), key=lambda pair: pair[1].site.name)
        ),
    )  # fmt: skip


def _promise(visit: Visit) -> planner.Promise | None:
    at = promised_at(visit)
    return planner.Promise(at, PROMISE_S) if at is not None else None


def promised_at(visit: Visit) -> datetime | None:
    """The moment told to the client."""
    if visit.promised_start is None or visit.planned_on is None:
        return None
    return datetime.combine(visit.planned_on, visit.promised_start, tzinfo=ZoneInfo(visit.site.time_zone))


def _plan(rounds: Rounds, people: Mapping[int, Technician], visits: Mapping[str, Visit]) -> planned.Plan:
    zero = Decimal(0)
    rows = tuple(
        planned.Round(
            technician=str(key[0]), date=key[1], leave=_at(key, 0, people), back=_at(key, 0, people),
            stops=tuple(_stop(key, stop, people, visits) for stop in row.times.stops if stop.visit_id in visits),
            pauses=(), back_travel_s=0, back_distance_m=0, overtime_s=0, night_s=0, cost=zero,
        )
        for key, row in rounds.items()
        if key[0] in people
    )  # fmt: skip
    return planned.Plan(rows, (), planned.Score(zero, zero, zero, 0, 0, 0, 0, 0, 0, 0, 0))


def _at(key: Key, seconds: int, people: Mapping[int, Technician]) -> datetime:
    return instant(key[1], seconds, ZoneInfo(people[key[0]].time_zone))


def begins_at(key: Key, stop: StopTimes, technician: Technician, visit: Visit) -> datetime:
    """When a stop begins, on the site's clock."""
    return instant(key[1], stop.start_s, ZoneInfo(technician.time_zone)).astimezone(ZoneInfo(visit.site.time_zone))


def _stop(key: Key, stop: StopTimes, people: Mapping[int, Technician], visits: Mapping[str, Visit]) -> planned.Stop:
    zone = ZoneInfo(visits[stop.visit_id].site.time_zone)
    arrive, begin, leave = (
        _at(key, at, people).astimezone(zone) for at in (stop.arrive_s, stop.start_s, stop.leave_s)
    )  # fmt: skip
    return planned.Stop(stop.visit_id, "", stop.travel_s, stop.distance_m, arrive, begin, leave, stop.helps)


def _places(rounds: Rounds, *, helps: bool = False) -> dict[str, tuple[Key, StopTimes]]:
    """Where each visit stands or, with ``helps``, where the second person's part of one does."""
    stops = ((key, stop) for key, row in rounds.items() for stop in row.times.stops)
    return {stop.visit_id: (key, stop) for key, stop in stops if stop.helps is helps}


def _helper_rows(
    was: Mapping[str, tuple[Key, StopTimes]],
    now: Mapping[str, tuple[Key, StopTimes]],
    visits: Mapping[str, Visit],
    people: Mapping[int, Technician],
) -> list[ChangeRow]:
    """Where somebody else helps than before, or nobody."""
    rows = []
    for pk in dict.fromkeys([*was, *now]):
        old, new = was.get(pk), now.get(pk)
        if pk not in visits or (old is not None and new is not None and old[0] == new[0]):
            continue
        names = {
            "site": visits[pk].site.name,
            "old": people[old[0][0]] if old is not None else "",
            "new": people[new[0][0]] if new is not None else "",
        }
        words = _("%(site)s: %(new)s helps instead of %(old)s.") if old and new else (
            _("%(site)s: %(new)s helps.") if new else _("%(site)s: %(old)s does not help any more.")
        )  # fmt: skip
        rows.append(ChangeRow("helper", words % names, visits[pk], old, new))
    return rows


def _groups(
    rows: Iterable[ChangeRow],
    old: Rounds,
    new: Rounds,
    people: Mapping[int, Technician],
    visits: Mapping[str, Visit],
) -> list[Group]:
    """Rounds linked by a visit that goes from one to the other, or that they share; each group with its changes."""
    keys = sorted({*old, *new}, key=lambda key: (key[1], str(people.get(key[0], key[0]))))
    root = {key: key for key in keys}
    night_words = _night_words(old, new, people)

    def find(key: Key) -> Key:
        while root[key] != key:
            key = root[key]
        return key

    def join(first: Key, second: Key) -> None:
        one, other = find(first), find(second)
        if one != other:
            root[max(one, other, key=keys.index)] = min(one, other, key=keys.index)

    shared: dict[str, Key] = {}
    for rounds in (old, new):
        for key, kept in rounds.items():
            for call in kept.calls:
                join(shared.setdefault(visit_of(call), key), key)
    for night in {key for rounds in (old, new) for key, row in rounds.items() if row.times.lodging_id is not None}:
        if morning_of(night) in root:
            join(night, morning_of(night))
    found: dict[Key, Group] = {}
    for key in keys:
        group = found.setdefault(find(key), Group([], []))
        group.keys.append(key)
        group.names.append(_("%(name)s, %(day)s") % {"name": people[key[0]], "day": _day(key[1])})
    for row in rows:
        found[find(next(iter(sorted(row.keys, key=keys.index))))].rows.append(row)
    for night, words in night_words.items():
        found[find(night)].nights.append(words)
    return list(found.values())


def _night_words(old: Rounds, new: Rounds, people: Mapping[int, Technician]) -> dict[Key, str]:
    """The nights away that come, go or are spent elsewhere, each in a sentence."""
    names = lodgings_of(row.times for rounds in (old, new) for row in rounds.values())
    found = {}
    for key in sorted({*old, *new}, key=lambda key: (key[1], key[0])):
        was, now = (rounds[key].times.lodging_id if key in rounds else None for rounds in (old, new))
        if was == now:
            continue
        words = {
            "name": people[key[0]], "day": _day(key[1]), "old": names.get(was or 0), "new": names.get(now or 0),
        }  # fmt: skip
        if was is None:
            found[key] = _("%(name)s stays the night of %(day)s at %(new)s.") % words
        elif now is None:
            found[key] = _("%(name)s drives home on %(day)s instead of the night at %(old)s.") % words
        else:
            found[key] = _("%(name)s spends the night of %(day)s at %(new)s instead of %(old)s.") % words
    return found


def _day(day: date) -> str:
    return str(date_format(day, "D j M"))


def clients_to_tell(rows: Iterable[ChangeRow]) -> list[ChangeRow]:
    """Changes of visits whose hour the client was told and that no longer holds, one for each visit."""
    found: dict[str, ChangeRow] = {}
    for row in rows:
        at = promised_at(row.visit)
        if at is not None and row.kind != "helper" and (row.kind == "promise_broken" or row.now is None):
            found[str(row.visit.pk)] = row
    return list(found.values())
