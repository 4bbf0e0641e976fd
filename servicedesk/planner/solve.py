"""The front of the planner: a problem goes in, a plan comes out."""

import os
import time
from collections.abc import Callable

from servicedesk.planner.budget import Budget, Progress
from servicedesk.planner.build import rounds_of, score_of
from servicedesk.planner.engine import search_at_once
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.explain import why_left_out
from servicedesk.planner.instance import Instance
from servicedesk.planner.nights import promising, with_night, with_nights
from servicedesk.planner.orders import orders_of, state_of
from servicedesk.planner.parts import split
from servicedesk.planner.plan import Plan, Unserved
from servicedesk.planner.problem import Overnight, Problem
from servicedesk.planner.search import WARM, Search, State, allowed_shifts
from servicedesk.planner.team import Team, tasks_of
from servicedesk.planner.words import Reason

__all__ = ["DEFAULT_SECONDS", "Explain", "Progress", "solve"]

Explain = Callable[[Reason], str]
DEFAULT_SECONDS = 5.0
PARTS_SHARE = 0.7  # of the budget, for the parts by themselves; the rest for all together
HOME_SHARE = 0.6  # of the budget, before nights away are tried
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
    nights = promising(instance, allowed)
    first = budget.piece(0.0, HOME_SHARE) if nights else budget
    search, state, made = _searched(instance, allowed, first, seed, processes)
    budget.stopped = first.stopped
    taken: tuple[Overnight, ...] = ()
    if nights:
        search, state, made, taken = _with_nights(search, state, made, nights, budget, seed)
    return plan_of(search, state, seed=seed, iterations=made, explain=explain, nights=taken)


def new_search(problem: Problem, seed: int = 1) -> Search:
    """A search over a problem made ready."""
    instance = Instance(problem)
    return Search(instance, Evaluator(instance), seed)


def _with_nights(
    search: Search, state: State, made: int, nights: list[Overnight], budget: Budget, seed: int
) -> tuple[Search, State, int, tuple[Overnight, ...]]:
    """Try the optional nights one after another from the plan so far; keep each that makes it cheaper."""
    taken: list[Overnight] = []
    problem, share = search.instance.problem, (1 - HOME_SHARE) / len(nights)
    for number, night in enumerate(nights):
        wanted = with_night(problem, taken, night)
        if wanted is None:
            continue
        away = new_search(with_nights(problem, wanted), seed)
        low = HOME_SHARE + share * number
        piece = budget.piece(low, low + share, before=made)
        trial, more = away.run(piece, state_of(away, orders_of(search, state)), heat=WARM)
        made += more
        budget.stopped = piece.stopped
        if trial.cost < state.cost:
            search, state, taken = away, trial, wanted
        if budget.stopped:
            break
    return search, state, made, tuple(taken)


def _searched(
    instance: Instance, allowed: dict[int, list[int]], budget: Budget, seed: int, processes: int | None
) -> tuple[Search, State, int]:
    """Part by part and then all together, or all together at once where there is but one part."""
    parts = split(instance, allowed)
    if len(parts) == 1:
        search = Search(instance, Evaluator(instance), seed, allowed)
        return search, *search_at_once(search, budget, seed)
    first = budget.piece(0.0, PARTS_SHARE)
    count = _processes(processes, budget.seconds, len(parts))
    tasks = tasks_of(parts, seed, None if first.seconds is None else first.seconds * count, first.iterations)
    team = Team(tasks, count)
    try:
        search = Search(instance, Evaluator(instance), seed, allowed)
        found, made = team.gathered(first)
    finally:
        team.end()
    last = budget.piece(PARTS_SHARE, 1.0, before=made)
    last.stopped = first.stopped
    state, more = search.run(last, state_of(search, found), heat=WARM)
    budget.stopped = last.stopped
    return search, state, made + more


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
        nights=nights,
    )
