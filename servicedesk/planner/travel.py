"""How long a drive takes: an estimate from coordinates, or an imported table."""

from math import asin, cos, hypot, radians, sin, sqrt

import numpy as np
import numpy.typing as npt

from servicedesk.planner.problem import Estimate, Place, Problem, Table

EARTH_KM = 6371.0088  # mean radius R1 of WGS 84 (Moritz 2000, Geodetic Reference System 1980)
SAME_PLACE_KM = 0.03


def great_circle_km(start: tuple[float, float], end: tuple[float, float]) -> float:
    """Length of the great circle between two points in degrees, by the haversine formula.

    >>> round(great_circle_km((0, 0), (0, 90)), 3)
    10007.557
    """
    (lat1, lng1), (lat2, lng2) = start, end
    a = sin(radians(lat2 - lat1) / 2) ** 2
    a += cos(radians(lat1)) * cos(radians(lat2)) * sin(radians(lng2 - lng1) / 2) ** 2
    return 2 * EARTH_KM * asin(min(1.0, sqrt(a)))


def estimate(rule: Estimate, start: tuple[float, float], end: tuple[float, float]) -> tuple[int, int]:
    """Seconds and metres of a drive between two points."""
    km = great_circle_km(start, end) * rule.detour
    if km < SAME_PLACE_KM:
        return 0, 0
    hours, done = 0.0, 0.0
    for band in rule.bands:
        part = km - done if band.to_km is None else max(min(km, band.to_km) - done, 0.0)
        hours, done = hours + part / band.kmh, done + part
    return round(hours * 3600) + rule.per_move_s, round(km * 1000)


def estimates(rule: Estimate, points: npt.NDArray[np.float64]) -> tuple[list[list[int]], list[list[int]]]:
    """Seconds and metres between points (rows of latitude and longitude in degrees), as ``estimate`` has it."""
    latitude, longitude = np.radians(points[:, 0]), np.radians(points[:, 1])
    a = np.sin((latitude[None, :] - latitude[:, None]) / 2) ** 2
    a += np.cos(latitude)[:, None] * np.cos(latitude)[None, :] * np.sin((longitude - longitude[:, None]) / 2) ** 2
    km = 2 * EARTH_KM * np.arcsin(np.minimum(1.0, np.sqrt(a))) * rule.detour
    hours, done = np.zeros_like(km), np.zeros_like(km)
    for band in rule.bands:
        part = km - done if band.to_km is None else np.maximum(np.minimum(km, band.to_km) - done, 0.0)
        hours, done = hours + part / band.kmh, done + part
    apart = km >= SAME_PLACE_KM
    seconds = np.where(apart, np.rint(hours * 3600) + rule.per_move_s, 0).astype(np.int64)
    metres = np.where(apart, np.rint(km * 1000), 0).astype(np.int64)
    return seconds.tolist(), metres.tolist()


class Travel:
    """Drives between the places of a problem; ``estimated`` counts empty cells of the table.

    ``seconds`` and ``metres`` are tables, row to column, of places numbered by ``number``.
    """

    def __init__(self, problem: Problem) -> None:
        self.places = {place.id: place for place in problem.places}
        self.number = {place: number for number, place in enumerate(self.places)}
        points = np.array([_point(place) for place in self.places.values()], dtype=np.float64).reshape(-1, 2)
        self.seconds, self.metres = estimates(problem.estimate, points)
        self.estimated = 0
        if problem.table is not None:
            self._overlay(problem.table)

    def _overlay(self, table: Table) -> None:
        numbers = [self.number[place] for place in table.places]
        for start, seconds, metres in zip(numbers, table.seconds, table.metres, strict=True):
            for end, s, m in zip(numbers, seconds, metres, strict=True):
                if s is not None and m is not None:
                    self.seconds[start][end], self.metres[start][end] = s, m
                else:
                    self.estimated += 1

    def drive(self, start: str, end: str) -> tuple[int, int]:
        """Seconds and metres from one place to another."""
        one, other = self.number[start], self.number[end]
        return self.seconds[one][other], self.metres[one][other]

    def apart(self, one: str, other: str) -> float:
        """A quick measure of nearness, good for ranking only."""
        a, b = self.places[one], self.places[other]
        return hypot(a.latitude - b.latitude, (a.longitude - b.longitude) * cos(radians(a.latitude)))


def _point(place: Place) -> tuple[float, float]:
    return place.latitude, place.longitude
