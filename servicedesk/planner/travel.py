"""How long a drive takes: an estimate from coordinates, or an imported table."""

from math import asin, cos, hypot, radians, sin, sqrt

from servicedesk.planner.problem import Estimate, Place, Problem

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


class Travel:
    """Drives between the places of a problem, worked out once each; ``estimated`` counts empty cells of the table."""

    def __init__(self, problem: Problem) -> None:
        self.rule = problem.estimate
        self.places = {place.id: place for place in problem.places}
        self.estimated = 0
        self._known: dict[tuple[str, str], tuple[int, int]] = {}
        if problem.table is not None:
            rows = zip(problem.table.places, problem.table.seconds, problem.table.metres, strict=True)
            for start, seconds, metres in rows:
                for end, s, m in zip(problem.table.places, seconds, metres, strict=True):
                    if s is not None and m is not None:
                        self._known[start, end] = (s, m)
                    else:
                        self.estimated += 1

    def drive(self, start: str, end: str) -> tuple[int, int]:
        """Seconds and metres from one place to another."""
        found = self._known.get((start, end))
        if found is None:
            found = self._known[start, end] = estimate(self.rule, _point(self.places[start]), _point(self.places[end]))
        return found

    def apart(self, one: str, other: str) -> float:
        """A quick measure of nearness, good for ranking only."""
        a, b = self.places[one], self.places[other]
        return hypot(a.latitude - b.latitude, (a.longitude - b.longitude) * cos(radians(a.latitude)))


def _point(place: Place) -> tuple[float, float]:
    return place.latitude, place.longitude
