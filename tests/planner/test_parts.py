"""A problem of two cities is searched city by city, with the same plan whatever the number of processes."""

from dataclasses import replace

from servicedesk.planner.check import check
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.instance import Instance
from servicedesk.planner.parts import split
from servicedesk.planner.problem import Gap, Problem
from servicedesk.planner.search import Search
from servicedesk.planner.solve import solve
from tests.benchmarks.kinds import of_kind
from tests.benchmarks.weeks import week


def parts_of(problem: Problem) -> list[Problem]:
    instance = Instance(problem)
    return split(instance, Search(instance, Evaluator(instance), 1).allowed)


def test_cities_are_parts_that_hold_every_visit_once() -> None:
    problem = week("medium", 3)
    parts = parts_of(problem)
    assert len(parts) == 2
    assert sorted(visit.id for part in parts for visit in part.visits) == sorted(visit.id for visit in problem.visits)
    assert sum(len(part.technicians) for part in parts) == len(problem.technicians)


def test_a_gap_between_cities_makes_them_one_part() -> None:
    problem = week("medium", 3)
    first, second = (part.visits[0].id for part in parts_of(problem))
    assert parts_of(replace(problem, gaps=(*problem.gaps, Gap(first, second, 1)))) != parts_of(problem)
    assert len(parts_of(replace(problem, gaps=(*problem.gaps, Gap(first, second, 1))))) == 1


def test_number_of_processes_does_not_change_the_plan() -> None:
    problem = week("medium", 3)
    alone = solve(problem, iterations=40, seed=2, processes=1)
    assert alone == solve(problem, iterations=40, seed=2, processes=2)
    assert check(problem, alone) == []


def test_nights_away_are_found_in_each_part() -> None:
    problem = of_kind(week("medium", 3), "nights")
    assert len(parts_of(problem)) == 2
    alone = solve(problem, iterations=600, seed=2, processes=1)
    assert alone == solve(problem, iterations=600, seed=2, processes=2)
    assert alone.nights
    assert check(problem, alone) == []
