"""A large problem in parts: the homes that lie together, with the visits that are theirs to do.

A search over one city at a time is faster than one over all, and cities may be searched side by side. What ties
visits together (a gap, a shared thing) ties their parts together.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from servicedesk.planner.instance import Instance, Job
from servicedesk.planner.problem import Problem, Technician

NEIGHBOURS_S = 3600  # homes so near by car belong to one city, as do those linked by others between
FEWEST_VISITS = 12  # a part with fewer is not worth a search of its own


def split(instance: Instance, allowed: dict[int, list[int]]) -> list[Problem]:
    """The parts of a problem, the largest first; the problem itself where there is but one."""
    problem = instance.problem
    home = _cities(instance)
    if len(set(home.values())) < 2:
        return [problem]
    home_of = {job.index: _home_of(instance, job, allowed[job.index], home) for job in instance.jobs}
    parts = _Union({*home.values()})
    for gap in problem.gaps:
        if gap.first in instance.job_of and gap.second in instance.job_of:
            parts.join(*(home_of[instance.job_of[visit].index] for visit in (gap.first, gap.second)))
    for thing in problem.things:
        parts.join(*(home_of[job.index] for job in instance.jobs if thing.id in job.visit.things))
    visits: dict[str, set[str]] = defaultdict(set)
    people: dict[str, set[str]] = defaultdict(set)
    for job in instance.jobs:
        visits[parts.top(home_of[job.index])].add(job.visit.id)
    for who, city in home.items():
        people[parts.top(city)].add(who)
    order = sorted(people, key=lambda part: (-len(visits[part]), part))
    if sum(len(visits[part]) >= FEWEST_VISITS for part in order) < 2:
        return [problem]
    return [part_of(problem, people[part], visits[part]) for part in order]


def _cities(instance: Instance) -> dict[str, str]:
    """Each technician's city, named by one of those who live there."""
    people = instance.problem.technicians
    cities = _Union({who.id for who in people})
    for one in people:
        for other in people:
            if instance.travel.drive(one.start, other.start)[0] <= NEIGHBOURS_S:
                cities.join(one.id, other.id)
    return {who.id: cities.top(who.id) for who in people}


def _home_of(instance: Instance, job: Job, allowed: list[int], home: dict[str, str]) -> str:
    """The city of whoever had the visit before, else of whoever may do it and lives nearest."""
    shifts = [instance.shifts[at] for at in allowed]
    before = job.visit.before
    if before is not None and any(shift.key == (before.technician, before.date) for shift in shifts):
        return home[before.technician]
    people: Iterable[Technician] = [shift.who for shift in shifts] or instance.problem.technicians
    nearest = min(people, key=lambda who: (instance.travel.drive(who.start, job.place)[0], who.id))
    return home[nearest.id]


def part_of(problem: Problem, people: set[str], visits: set[str]) -> Problem:
    """The problem for some of the people and visits; whoever else has a settled round is kept without days."""
    others = {row.technician for row in problem.kept} - people
    technicians = [
        who if who.id in people else replace(who, days=())
        for who in problem.technicians
        if who.id in people or who.id in others
    ]
    own = [visit for visit in problem.visits if visit.id in visits]
    settled = {visit for row in problem.kept for visit in row.visits}
    known = visits | settled
    nights = tuple(night for night in problem.overnights if night.technician in people)
    used = {visit.place for visit in own} | {row.place for row in problem.depots} | {night.place for night in nights}
    for who in technicians:
        used |= {who.start, who.end, *(place for day in who.days for place in (day.start, day.end) if place)}
    table = problem.table
    if table is not None:
        rows = [number for number, place in enumerate(table.places) if place in used]
        table = replace(
            table,
            places=tuple(table.places[number] for number in rows),
            seconds=tuple(tuple(table.seconds[one][other] for other in rows) for one in rows),
            metres=tuple(tuple(table.metres[one][other] for other in rows) for one in rows),
        )
    return replace(
        problem,
        places=tuple(place for place in problem.places if place.id in used),
        technicians=tuple(technicians),
        visits=tuple(own),
        gaps=tuple(gap for gap in problem.gaps if {gap.first, gap.second} <= known),
        overnights=nights,
        table=table,
    )


class _Union:
    """Sets that grow together; ``top`` names the set of a member."""

    def __init__(self, members: Iterable[str]) -> None:
        self.above = {member: member for member in members}

    def top(self, member: str) -> str:
        while self.above[member] != member:
            member = self.above[member]
        return member

    def join(self, *members: str) -> None:
        tops = {self.top(member) for member in members}
        for top in tops:
            self.above[top] = min(tops)
