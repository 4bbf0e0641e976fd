"""The front of the planner: a problem goes in, a plan comes out."""

import os
import time
from collections.abc import Callable

from servicedesk.planner.budget import Budget, Progress
from servicedesk.planner.build import rounds_of, score_of
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.explain import why_left_out
from servicedesk.planner.instance import Instance
from servicedesk.planner.orders import state_of
from servicedesk.planner.parts import split
from servicedesk.planner.plan import Plan, Unserved
from servicedesk.planner.problem import Problem
from servicedesk.planner.search import WARM, Search, State
from servicedesk.planner.team import search_in_turn, search_side_by_side, tasks_of
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
    instance = Instance(problem)
    search = Search(instance, Evaluator(instance), seed)
    state, made = _searched(search, Budget(seconds, iterations, progress, stop, began=began), seed, processes)
    return plan_of(search, state, seed=seed, iterations=made, explain=explain)


def _searched(search: Search, budget: Budget, seed: int, processes: int | None) -> tuple[State, int]:
    """Part by part and then all together, or all together at once where there is but one part."""
    parts = split(search.instance, search.allowed)
    if len(parts) == 1:
        return search.run(budget)
    early = None if budget.iterations is None else round(budget.iterations * PARTS_SHARE)
    seconds = None if budget.seconds is None else budget.seconds * PARTS_SHARE - (time.monotonic() - budget.began)
    count = _processes(processes, budget.seconds, len(parts))
    first = Budget(None, None, budget.progress, budget.stop, (0.0, PARTS_SHARE))
    tasks = tasks_of(parts, seed, None if seconds is None else max(seconds, 0.0) * count, early)
    found, made = search_in_turn(tasks, first) if count == 1 else search_side_by_side(tasks, count, first)
    late = None if budget.iterations is None or early is None else budget.iterations - early
    left = None if budget.seconds is None else max(budget.seconds - (time.monotonic() - budget.began), 0.0)
    last = Budget(left, late, budget.progress, budget.stop, (PARTS_SHARE, 1.0), before=made, stopped=first.stopped)
    state, more = search.run(last, state_of(search, found), heat=WARM)
    return state, made + more


def _processes(asked: int | None, seconds: float | None, parts: int) -> int:
    if asked is None:
        asked = (os.cpu_count() or 1) if seconds is None or seconds >= WORTH_PROCESSES_S else 1
    return max(min(asked, parts), 1)


def plan_of(search: Search, state: State, *, seed: int, iterations: int, explain: Explain) -> Plan:
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
        notes=(explain(Reason("overnight")),) if instance.problem.overnights else (),
    )
