"""Rounds of a week as plain data: what a version of the plan and a proposal are made of."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from servicedesk.routes.queries.round import AWAY, ROUND_FIELDS, RoundTimes, StopTimes
from servicedesk.routes.timed import Timed

Key = tuple[int, date]
NOTHING: tuple[list[StopTimes], tuple[None, None], bool] = ([], (None, None), False)
STOP = ("visit_id", "travel_s", "distance_m", "arrive_s", "start_s", "leave_s", "locked", "helps")


@dataclass(frozen=True, slots=True)
class KeptRound:
    """A technician's day with every time in it."""

    technician: int
    date: date
    times: RoundTimes
    warnings: tuple[tuple[str | None, str], ...] = ()
    locked: bool = False

    @property
    def key(self) -> Key:
        return self.technician, self.date

    @property
    def calls(self) -> list[str]:
        return [stop.call for stop in self.times.stops]

    @property
    def visits(self) -> list[str]:
        """The round's own visits, without those it helps at."""
        return [stop.visit_id for stop in self.times.stops if not stop.helps]

    @property
    def locked_visits(self) -> frozenset[str]:
        return frozenset(stop.visit_id for stop in self.times.stops if stop.locked)

    def as_timed(self) -> Timed:
        """The round as what is written into a plan."""
        times = self.times
        return Timed(
            stops=list(times.stops), soft=list(self.warnings), **{name: getattr(times, name) for name in ROUND_FIELDS}
        )


def is_same(one: KeptRound | None, other: KeptRound | None) -> bool:
    """Whether two rounds have the same stops at the same times and the same nights away.

    No round is the same as an empty one.
    """
    shown = [(row.times.stops, row.times.nights, row.locked) if row is not None else NOTHING for row in (one, other)]
    return shown[0] == shown[1]


def as_json(rounds: Iterable[KeptRound]) -> list[dict[str, Any]]:
    """What ``from_json`` reads back; empty rounds are left out."""
    return [
        {
            "technician": row.technician,
            "date": row.date.isoformat(),
            "locked": row.locked,
            "warnings": [list(pair) for pair in row.warnings],
            "stops": [[getattr(stop, name) for name in STOP] for stop in row.times.stops],
        }
        | {name: getattr(row.times, name) for name in ROUND_FIELDS}
        for row in rounds
        if not row.times.is_empty
    ]


def from_json(rows: Iterable[Mapping[str, Any]]) -> dict[Key, KeptRound]:
    """The rounds again; one kept before stops could help has shorter rows."""
    found = {}
    for row in rows:
        stops = [StopTimes(**dict(zip(STOP, stop, strict=False))) for stop in row["stops"]]
        fields: dict[str, Any] = {name: row.get(name) if name in AWAY else row[name] for name in ROUND_FIELDS}
        times = RoundTimes(**fields, stops=stops, is_published=False)
        warnings = tuple((visit, words) for visit, words in row["warnings"])
        day = date.fromisoformat(row["date"])
        found[row["technician"], day] = KeptRound(row["technician"], day, times, warnings, row["locked"])
    return found
