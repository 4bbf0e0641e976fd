"""Planners to measure ours against, over the same problem and the same exact evaluator."""

import time
from collections.abc import Callable

from servicedesk.planner.budget import Budget
from servicedesk.planner.orders import Orders, orders_of, state_of
from servicedesk.planner.parts import split
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem
from servicedesk.planner.search import Search, State, new_search
from servicedesk.planner.solve import plan_of
from servicedesk.planner.tours import improved

Planner = Callable[[Problem, float, int], Plan]


def nearest_neighbour(problem: Problem, _seconds: float, seed: int) -> Plan:
    """Day by day, each technician drives on to the nearest visit that still fits."""
    search = new_search(problem, seed)
    state = search.empty()
    travel, shifts = search.instance.travel, search.instance.shifts
    for shift in sorted(shifts, key=lambda row: (row.day.date, row.who.id)):
        here, grew = shift.start, True
        while grew:
            open_jobs = [job for job in search.waiting(state) if shift.index in search.allowed[job]]
            open_jobs.sort(key=lambda job: travel.drive(here, search.instance.jobs[job].place))
            end = len(state.routes[shift.index].order)
            found = next((job for job in open_jobs if search.put_if_legal(state, shift.index, job, end)), None)
            grew = found is not None
            if found is not None:
                here = search.instance.jobs[found].place
    return plan_of(search, state, seed=seed, iterations=0)


def territories(problem: Problem, _seconds: float, seed: int) -> Plan:
    """As habit has it: a visit belongs to whoever lives nearest, and goes into the first of their days with room."""
    search = new_search(problem, seed)
    state = search.empty()
    instance = search.instance
    far = instance.problem.last_day
    jobs = sorted(instance.jobs, key=lambda job: (job.visit.due_on or far, job.index))
    for job in jobs:
        shifts = [instance.shifts[at] for at in search.allowed[job.index]]
        homes = sorted({(instance.travel.drive(row.start, job.place)[0], row.who.id) for row in shifts})
        rank = {who: number for number, (_drive, who) in enumerate(homes)}
        for shift in sorted(shifts, key=lambda row: (rank[row.who.id], row.day.date)):
            rise, place = search.best_insert(state, shift.index, job.index)
            if rise < job.skip and search.put_if_legal(state, shift.index, job.index, place):
                break
    return plan_of(search, state, seed=seed, iterations=0)


def regret_insertion(problem: Problem, _seconds: float, seed: int) -> Plan:
    """What our own search starts from."""
    search = new_search(problem, seed)
    return plan_of(search, search.start(), seed=seed, iterations=0)


def pyvrp_from_plan(problem: Problem, seconds: float, seed: int) -> Plan:
    """PyVRP started from regret insertion, city by city; whatever it leaves is put in where there is room."""
    began = time.monotonic()
    whole = new_search(problem, seed)
    parts = split(whole.instance, whole.allowed)
    found: Orders = []
    made = 0
    for number, part in enumerate(parts):
        search = new_search(part, seed)
        state = search.start()
        left = seconds - (time.monotonic() - began)
        state, more = improved(search, state, Budget(max(left, 0.1) / (len(parts) - number), None), seed)
        found += orders_of(search, state)
        made += more
    return _completed(whole, state_of(whole, found), seed, made)


def _completed(search: Search, state: State, seed: int, made: int) -> Plan:
    search.put_back(state, search.waiting(state))
    return plan_of(search, state, seed=seed, iterations=made)
