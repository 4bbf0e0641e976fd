"""A seeded generator of weeks to plan: small, medium and large, over several cities.

Figures are common practice of a firm that drives to plant rooms: four to six calls a day, windows by day, skills,
preferences, promises, loads, two visits a week with a gap, fish-only before quarantine.
"""

import random
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from math import cos, radians
from zoneinfo import ZoneInfo

from servicedesk.planner.problem import (
    Break,
    Day,
    Depot,
    Gap,
    Night,
    OrderRule,
    Permission,
    Place,
    Problem,
    Promise,
    Technician,
    Van,
    Visit,
    Window,
)

MONDAY = date(2027, 3, 8)
WORKDAYS = 5
KM_PER_DEGREE = 111.2
SKILLS = ("chiller", "diving", "lift")


@dataclass(frozen=True, slots=True)
class City:
    """Where a depot stands, and the zone of its clocks."""

    name: str
    latitude: float
    longitude: float
    zone: str


CITIES = (
    City("Ashgrove", 36.16, -86.78, "America/Chicago"),
    City("Millhaven", 35.05, -85.31, "America/New_York"),
    City("Pinecrest", 34.73, -86.59, "America/Chicago"),
    City("Riverton", 37.00, -86.44, "America/Chicago"),
    City("Stonebridge", 35.96, -83.92, "America/New_York"),
)
SIZES = {"small": (25, 2, 1), "medium": (120, 8, 2), "large": (600, 40, 5)}


def week(size: str, seed: int) -> Problem:
    """A week of a size ("small", "medium" or "large"); the same seed gives the same week."""
    visits, technicians, cities = SIZES[size]
    return Generator(random.Random(f"{size} {seed}"), CITIES[:cities]).problem(f"{size}-{seed}", visits, technicians)


class Generator:
    """Draws places, people and visits from one source of chance."""

    def __init__(self, chance: random.Random, cities: tuple[City, ...]) -> None:
        self.chance, self.cities = chance, cities
        self.places: list[Place] = []
        self.gaps: list[Gap] = []

    def problem(self, name: str, visits: int, technicians: int) -> Problem:
        depots = [self._depot(city) for city in self.cities]
        people = [self._technician(number, self.cities[number % len(self.cities)]) for number in range(technicians)]
        wanted: list[Visit] = []
        while len(wanted) < visits:
            wanted += self._site(len(wanted), people)
        wanted = wanted[:visits]
        known = {visit.id for visit in wanted}
        return Problem(
            first_day=MONDAY,
            last_day=MONDAY + timedelta(days=WORKDAYS - 1),
            currency="USD",
            places=tuple(self.places),
            technicians=tuple(people),
            visits=tuple(wanted),
            name=name,
            depots=tuple(depots),
            gaps=tuple(gap for gap in self.gaps if gap.first in known and gap.second in known),
            orders=(OrderRule("fish_only", "quarantine", "hygiene"),),
        )

    def _place(self, identity: str, city: City, spread_km: float) -> Place:
        """Around a city: dense in the middle, thin outside."""
        north, east = (self.chance.gauss(0, spread_km) for _ in range(2))
        latitude = city.latitude + north / KM_PER_DEGREE
        longitude = city.longitude + east / (KM_PER_DEGREE * cos(radians(city.latitude)))
        place = Place(identity, round(latitude, 5), round(longitude, 5), city.zone)
        self.places.append(place)
        return place

    def _depot(self, city: City) -> Depot:
        return Depot(f"depot-{city.name}", self._place(f"store-{city.name}", city, 3).id)

    def _technician(self, number: int, city: City) -> Technician:
        home = self._place(f"home-{number}", city, 12).id
        zone, opens = ZoneInfo(city.zone), self.chance.choice((7, 8, 8, 9))
        days = tuple(
            self._day(MONDAY + timedelta(days=day), opens, zone)
            for day in range(WORKDAYS)
            if self.chance.random() > 0.04
        )
        held = [skill for skill in SKILLS if self.chance.random() < 0.6] or [SKILLS[0]]
        spans = tuple(
            Window(
                datetime.combine(MONDAY + timedelta(days=day), time(20), zone),
                datetime.combine(MONDAY + timedelta(days=day + 1), time(6), zone),
            )
            for day in range(WORKDAYS)
        )
        return Technician(
            id=f"t{number}",
            start=home,
            end=home,
            zone=city.zone,
            days=days,
            depot=f"depot-{city.name}",
            hourly_cost=Decimal(self.chance.choice((28, 31, 34))),
            km_cost=Decimal("0.55"),
            van=Van(payload_kg=650, tank_l=400),
            night=Night(Decimal(6), spans),
            permissions=tuple(Permission(skill, date(2026, 1, 1), date(2027, 12, 31)) for skill in held),
        )

    def _day(self, on: date, opens: int, zone: ZoneInfo) -> Day:
        return Day(
            date=on,
            opens=datetime.combine(on, time(opens), zone),
            closes=datetime.combine(on, time(opens + 9), zone),
            normal_s=8 * 3600 + 1800,
            max_overtime_s=2 * 3600,
            breaks=(
                Break(1800, datetime.combine(on, time(11), zone), datetime.combine(on, time(14), zone), paid=False),
            ),
        )

    def _site(self, number: int, people: list[Technician]) -> list[Visit]:
        """A site's visit, or its two visits of the week."""
        city = self.chance.choice(self.cities)
        far = self.chance.random() < 0.08
        place = self._place(f"site-{number}", city, 45 if far else 14)
        one = self._visit(f"v{number}", place, people)
        if self.chance.random() < 0.08:
            self.gaps.append(Gap(one.id, f"v{number}b", 2))
            return [one, self._visit(f"v{number}b", place, people)]
        return [one]

    def _visit(self, identity: str, place: Place, people: list[Technician]) -> Visit:
        chance = self.chance
        near = [person for person in people if person.zone == place.zone] or people
        minutes = min(max(round(chance.lognormvariate(4.3, 0.45) / 5) * 5, 30), 210)
        days = sorted(chance.sample(range(WORKDAYS), chance.choice((2, 3, 4, 5, 5, 5))))
        is_promised = chance.random() < 0.1
        windows = tuple(window for day in days for window in self._windows(place, day))
        promised = chance.choice(windows)
        return Visit(
            id=identity,
            place=place.id,
            duration_s=minutes * 60,
            skip_cost=Decimal(chance.choice((180, 240, 320, 450))),
            windows=windows,
            needs=(chance.choice(SKILLS),) if chance.random() < 0.15 else (),
            prefers=chance.choice(near).id if chance.random() < 0.4 else None,
            not_preferred_cost=Decimal(chance.choice((4, 8, 12))),
            barred=(chance.choice(near).id,) if chance.random() < 0.03 else (),
            group=chance.choice(("quarantine",) + ("fish_only",) * 2 + ("",) * 12),
            due_on=MONDAY + timedelta(days=chance.choice((1, 2, 3, 4, 4, 6))),
            late_cost_per_day=Decimal(chance.choice((8, 15, 25))),
            load_kg=float(chance.choice((5, 10, 25, 60))),
            load_l=float(chance.choice((0, 0, 0, 40, 120))),
            promise=Promise(promised.opens + timedelta(hours=1), 1800, Decimal(20)) if is_promised else None,
        )

    def _windows(self, place: Place, day: int) -> list[Window]:
        zone, on = ZoneInfo(place.zone), MONDAY + timedelta(days=day)
        kinds = ([(7, 19)], [(8, 17)], [(8, 12)], [(13, 18)], [(7, 11), (14, 18)])
        spans = self.chance.choices(kinds, (5, 4, 2, 2, 2))[0]
        return [
            Window(datetime.combine(on, time(start), zone), datetime.combine(on, time(end), zone))
            for start, end in spans
        ]
