"""Harder kinds of the generated weeks: fuller days, far places with lodgings near them, visits for two."""

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from servicedesk.planner.problem import Crew, Overnight, Place, Problem, Technician, Visit

LONGER = 1.45
FAR_SHARE, FAR_DEGREES = 0.12, (0.6, 0.5)  # some 80 km from home
LODGING = Decimal(90)
FOR_TWO_SHARE, TOGETHER_S = 0.08, 2700


def tight(problem: Problem, _chance: random.Random) -> Problem:
    """Visits so much longer that not all find room."""
    visits = (replace(visit, duration_s=int(visit.duration_s * LONGER) // 300 * 300) for visit in problem.visits)
    return replace(problem, visits=tuple(visits))


def nights(problem: Problem, chance: random.Random) -> Problem:
    """A lodging far from each home, and some of the visits near one of them; a site's two visits stay together."""
    homes = {place.id: place for place in problem.places}
    lodgings = {who.id: _lodging(who, homes[who.start]) for who in problem.technicians}
    paired = {visit for gap in problem.gaps for visit in (gap.first, gap.second)}
    moved = [
        (visit, None) if visit.id in paired else _moved(visit, list(lodgings.values()), chance)
        for visit in problem.visits
    ]
    offers = [
        Overnight(who.id, day.date, lodgings[who.id].id, LODGING)
        for who in problem.technicians
        for day in who.days
        if any(other.date == day.date + timedelta(days=1) for other in who.days)
    ]
    return replace(
        problem,
        places=(*problem.places, *lodgings.values(), *(place for _visit, place in moved if place is not None)),
        visits=tuple(visit for visit, _place in moved),
        overnights=tuple(offers),
    )


def _lodging(who: Technician, home: Place) -> Place:
    north, east = FAR_DEGREES
    return Place(f"lodging-{who.id}", home.latitude + north, home.longitude + east, home.zone)


def _moved(visit: Visit, lodgings: list[Place], chance: random.Random) -> tuple[Visit, Place | None]:
    if chance.random() >= FAR_SHARE:
        return visit, None
    lodging = chance.choice(lodgings)
    place = Place(
        f"far-{visit.id}",
        round(lodging.latitude + chance.gauss(0, 0.05), 5),
        round(lodging.longitude + chance.gauss(0, 0.05), 5),
        lodging.zone,
    )
    return replace(visit, place=place.id, prefers=None), place


def crews(problem: Problem, chance: random.Random) -> Problem:
    """Some visits need two for their first 45 minutes."""
    visits = (
        replace(visit, crew=Crew(2, TOGETHER_S)) if chance.random() < FOR_TWO_SHARE else visit
        for visit in problem.visits
    )
    return replace(problem, visits=tuple(visits))


KINDS: dict[str, Callable[[Problem, random.Random], Problem]] = {"tight": tight, "nights": nights, "crews": crews}


def of_kind(problem: Problem, kind: str | None) -> Problem:
    """The problem made so much harder; the same problem and kind give the same."""
    return problem if kind is None else KINDS[kind](problem, random.Random(f"{problem.name} {kind}"))
