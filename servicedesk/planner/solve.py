"""The front of the planner: a problem goes in, a plan comes out."""

import os
import time
from collections.abc import Callable

from servicedesk.planner.away import Found
from servicedesk.planner.budget import Budget, Progress
from servicedesk.planner.build import rounds_of, score_of
from servicedesk.planner.due import not_driven
from servicedesk.planner.engine import search_with_nights
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.explain import why_left_out
from servicedesk.planner.instance import Instance
from servicedesk.planner.nights import with_nights
from servicedesk.planner.orders import state_of
from servicedesk.planner.parts import split
from servicedesk.planner.plan import Plan, Unserved
from servicedesk.planner.problem import Overnight, Problem
from servicedesk.planner.search import WARM, Search, State, allowed_shifts, new_search
from servicedesk.planner.team import Team, tasks_of
from servicedesk.planner.words import Reason

__all__ = ["DEFAULT_SECONDS", "Explain", "Progress", "solve"]

Explain = Callable[[Reason], str]
DEFAULT_SECONDS = 5.0
PARTS_SHARE = 0.7  # of the budget, for the parts by themselves; the rest for all together
WORTH_PROCESSES_S = 2.0


def solve(
    problem: Problem,
    *,
    seconds: float | None = None,
    iterations: int | None = None,
    seed: int = 1,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    explain: Explain = Reason.words,
    processes: int | None = None,
) -> Plan:
    """Plan for so many seconds or iterations, whichever ends first (five seconds where neither is given).

    ``stop`` is asked now and then; True ends the search with the best plan so far. ``explain`` puts reasons in words.
    ``processes``: how many to search with where the problem falls into parts, by default one per core; the plan for a
    seed and a number of iterations is the same with any number.
    """
    began = time.monotonic()
    if seconds is None and iterations is None:
        seconds = DEFAULT_SECONDS
    budget = Budget(seconds, iterations, progress, stop, began=began)
    instance = Instance(problem)
    allowed = allowed_shifts(instance)
    parts = split(instance, allowed)
    if len(parts) == 1:
        found = search_with_nights(Search(instance, Evaluator(instance), seed, allowed), budget, seed)
    else:
        found = _in_parts(instance, allowed, parts, budget, seed, processes)
    return plan_of(found.search, found.state, seed=seed, iterations=found.made, explain=explain, nights=found.nights)


def _in_parts(
    instance: Instance,
    allowed: dict[int, list[int]],
    parts: list[Problem],
    budget: Budget,
    seed: int,
    processes: int | None,
) -> Found:
    """Part by part, side by side, and then all together."""
    first = budget.piece(0.0, PARTS_SHARE)
    count = _processes(processes, budget.seconds, len(parts))
    tasks = tasks_of(parts, seed, None if first.seconds is None else first.seconds * count, first.iterations)
    team = Team(tasks, count)
    try:
        search = Search(instance, Evaluator(instance), seed, allowed)
        answer = team.gathered(first)
    finally:
        team.end()
    if answer.nights:
        search = new_search(with_nights(instance.problem, answer.nights), seed)
    last = budget.piece(PARTS_SHARE, 1.0, before=answer.made)
    last.stopped = first.stopped
    state, more = search.run(last, state_of(search, answer.orders), heat=WARM)
    budget.stopped = last.stopped
    return Found(search, state, answer.made + more, answer.nights)


def _processes(asked: int | None, seconds: float | None, parts: int) -> int:
    if asked is None:
        asked = (os.cpu_count() or 1) if seconds is None or seconds >= WORTH_PROCESSES_S else 1
    return max(min(asked, parts), 1)


def plan_of(
    search: Search,
    state: State,
    *,
    seed: int,
    iterations: int,
    explain: Explain = Reason.words,
    nights: tuple[Overnight, ...] = (),
) -> Plan:
    """The plan that a state is."""
    instance = search.instance
    unserved = tuple(
        Unserved(job.visit.id, fate, explain(reason), cost)
        for job in instance.jobs
        if job.index not in state.where
        for fate, reason, cost in [why_left_out(search, state, job)]
    )
    rounds = rounds_of(instance, search.evaluator, state.routes)
    return Plan(
        rounds=rounds,
        unserved=unserved,
        score=score_of(instance, rounds, unserved),
        seed=seed,
        iterations=iterations,
        problem=instance.problem.name,
        notes=tuple(explain(reason) for reason in not_driven(search, state)),
        nights=nights,
    )
