"""The provider of travel times: what a file or the road service told, the estimate for the rest.

Points are (latitude, longitude) in degrees; drives in seconds and metres.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from servicedesk.planner.problem import Estimate, SpeedBand, Table
from servicedesk.planner.travel import SAME_PLACE_KM, estimate, great_circle_km
from servicedesk.routes.travel_models import TravelRule

Point = tuple[float, float]
Pair = tuple[str, str]
FILE, ROADS, NO_ROAD, ESTIMATE = "file", "roads", "no road", "estimate"


def point_key(point: Point) -> str:
    """The point as drives are kept: to four decimals, some 11 m.

    >>> point_key((36.16271, -86.0))
    '36.1627,-86.0000'
    """
    latitude, longitude = (round(value, 4) + 0.0 for value in point)  # no "-0.0000"
    return f"{latitude:.4f},{longitude:.4f}"


def point_of(key: str) -> Point:
    latitude, longitude = key.split(",")
    return float(latitude), float(longitude)


def estimate_of(rule: TravelRule) -> Estimate:
    """The constants as the planner's own data."""
    return Estimate(
        detour=rule.detour,
        per_move_s=rule.per_move_s,
        bands=(
            SpeedBand(rule.city_kmh, rule.city_to_km),
            SpeedBand(rule.town_kmh, rule.town_to_km),
            SpeedBand(rule.country_kmh, rule.country_to_km),
            SpeedBand(rule.motorway_kmh),
        ),
    )


@dataclass(frozen=True, slots=True)
class Known:
    """A drive that a file or the road service told; ``seconds`` None: it says there is no road."""

    seconds: int | None
    metres: int | None
    source: str


@dataclass(frozen=True, slots=True)
class Matrix:
    """Drives row to column, each with where it is from: file, roads, no road (estimated), estimate."""

    seconds: list[list[int]]
    metres: list[list[int]]
    source: list[list[str]]


@lru_cache(maxsize=100_000)
def estimated(rule: Estimate, start: Point, end: Point) -> tuple[int, int]:
    return estimate(rule, start, end)


@dataclass(frozen=True, slots=True)
class MatrixProvider:
    """Travel times between any points: by ``known`` drives where there are, else by the estimate."""

    estimate: Estimate = field(default_factory=Estimate)
    known: Mapping[Pair, Known] = field(default_factory=dict)

    def drive(self, start: Point, end: Point) -> tuple[int, int]:
        """Seconds and metres of one drive."""
        seconds, metres, _source = self.cell(start, end)
        return seconds, metres

    def cell(self, start: Point, end: Point) -> tuple[int, int, str]:
        told = self.known.get((point_key(start), point_key(end))) if self.known else None
        if told is not None and told.seconds is not None and told.metres is not None:
            return told.seconds, told.metres, told.source
        seconds, metres = estimated(self.estimate, start, end)
        return seconds, metres, NO_ROAD if told is not None else ESTIMATE

    def table(self, places: Sequence[Point]) -> Matrix:
        """Every drive among the places."""
        rows = [[self.cell(start, end) for end in places] for start in places]
        return Matrix(
            [[cell[0] for cell in row] for row in rows],
            [[cell[1] for cell in row] for row in rows],
            [[cell[2] for cell in row] for row in rows],
        )

    def planner_table(self, places: Mapping[str, Point]) -> Table | None:
        """The known drives for the planner, by the places' ids; what is not known it estimates itself."""
        if not self.known:
            return None
        keys = [point_key(point) for point in places.values()]
        rows = [[self.known.get((start, end)) for end in keys] for start in keys]
        return Table(
            tuple(places),
            tuple(tuple(cell.seconds if cell else None for cell in row) for row in rows),
            tuple(tuple(cell.metres if cell else None for cell in row) for row in rows),
        )


def same_place(one: Point, other: Point) -> bool:
    """So near that nobody drives."""
    return great_circle_km(one, other) < SAME_PLACE_KM
