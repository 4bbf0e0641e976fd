"""Nights away in a week as it was read: which are settled, the week with others, and where new ones might pay."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from servicedesk.people.models import Lodging, Technician
from servicedesk.planner.nights import SAVES_S
from servicedesk.routes.hours import ONE_DAY
from servicedesk.routes.queries.problem import Key, ShiftInput, WeekInput
from servicedesk.routes.travel import Point
from servicedesk.visits.queries.schedule import OPEN

FAR_S = 3600  # a site is far from an hour's drive on; nearer ones are never worth a night
MOST_LODGINGS = 2  # offered to a technician a week; each is tried on every night

Nights = Mapping[Key, Lodging]


def morning_of(night: Key) -> Key:
    """The day on which somebody wakes where the night was spent."""
    return night[0], night[1] + ONE_DAY


def nights_of(data: WeekInput) -> dict[Key, Lodging]:
    """The nights of the week, by technician and evening."""
    return {key: shift.lodging for key, shift in data.shifts.items() if shift.lodging is not None}


def is_settled(data: WeekInput, night: Key) -> bool:
    """Whether planning leaves a night alone: one of its days is locked, over, under way or told to its technician."""
    held = data.kept | data.published
    return night in held or morning_of(night) in held


def opened(data: WeekInput) -> WeekInput:
    """The week without the nights that planning may drop or find anew."""
    free = [night for night in nights_of(data) if not is_settled(data, night)]
    return with_nights(data, dict.fromkeys(free)) if free else data


def with_nights(data: WeekInput, nights: Mapping[Key, Lodging | None]) -> WeekInput:
    """The week with some nights spent otherwise; None is at home."""
    shifts = dict(data.shifts)
    for night, lodging in nights.items():
        morning = morning_of(night)
        if night in shifts:
            shifts[night] = replace(shifts[night], lodging=lodging)
        if morning in shifts:
            shifts[morning] = replace(shifts[morning], start_lodging=lodging)
    return replace(data, shifts=shifts)


def nights_left(data: WeekInput, technician: Technician) -> int:
    """How many more nights away somebody may be planned this week."""
    spent = sum(night[0] == technician.pk for night in nights_of(data))
    return max(technician.most_nights - spent, 0) if technician.may_stay_away else 0


def offers(data: WeekInput) -> list[tuple[Key, Lodging]]:
    """Nights that might pay: of those who may, between two open working days, at the few lodgings that save most."""
    found: list[tuple[Key, Lodging]] = []
    for technician in data.technicians.values():
        if not nights_left(data, technician):
            continue
        near = _lodgings_for(data, technician)
        nights = [key for key in sorted(data.shifts) if key[0] == technician.pk and morning_of(key) in data.shifts]
        open_nights = [key for key in nights if not is_settled(data, key) and data.shifts[key].lodging is None]
        found += [(key, lodging) for key in open_nights for lodging in near]
    return found


def _lodgings_for(data: WeekInput, technician: Technician) -> list[Lodging]:
    """The lodgings that are much nearer than home to sites far from home, those that save most first."""
    far = _far_sites(data, technician)
    if not far:
        return []
    saved = [(sum(_gain(data, lodging, point, home_s) for point, home_s in far), lodging) for lodging in data.lodgings]
    ranked = sorted(saved, key=lambda row: (-row[0], row[1].pk))
    return [lodging for seconds, lodging in ranked if seconds][:MOST_LODGINGS]


def _far_sites(data: WeekInput, technician: Technician) -> list[tuple[Point, int]]:
    """Where the week's visits are that this technician may do and that are far from home, and how far."""
    home = (technician.home_latitude, technician.home_longitude)
    points = [
        (row.visit.site.latitude, row.visit.site.longitude)
        for row in data.visits.values()
        if row.visit.state in OPEN and technician.pk not in row.barred
    ]
    drives = [(point, data.travel.drive(home, point)[0]) for point in points]
    return [(point, seconds) for point, seconds in drives if seconds >= FAR_S]


def _gain(data: WeekInput, lodging: Lodging, point: Point, home_s: int) -> int:
    gain = home_s - data.travel.drive((lodging.latitude, lodging.longitude), point)[0]
    return gain if gain >= SAVES_S else 0


def shifts_left(
    shifts: Mapping[Key, ShiftInput], kept: Collection[Key], gone: Collection[Key]
) -> dict[Key, ShiftInput]:
    """Shifts after some of the days are ``gone``: who does not work on the other day of a night is at home for it."""
    found = dict(shifts)
    for key, shift in shifts.items():
        if key in kept:
            continue
        if shift.lodging is not None and morning_of(key) in gone:
            found[key] = replace(found[key], lodging=None)
        if shift.start_lodging is not None and (key[0], key[1] - ONE_DAY) in gone:
            found[key] = replace(found[key], start_lodging=None)
    return found
