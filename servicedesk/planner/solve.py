"""The front of the planner: a problem goes in, a plan comes out."""

import time
from collections.abc import Callable
from decimal import Decimal

from servicedesk.planner.build import money, rounds_of, score_of
from servicedesk.planner.evaluate import Evaluator
from servicedesk.planner.explain import why_left_out
from servicedesk.planner.instance import Instance
from servicedesk.planner.plan import Plan, Unserved
from servicedesk.planner.problem import Problem
from servicedesk.planner.search import MUST, Search
from servicedesk.planner.words import Reason

Progress = Callable[[float, int, Decimal], None]  # share of the budget spent, iterations, best cost
Explain = Callable[[Reason], str]
TELL_EVERY_S = 0.1
DEFAULT_SECONDS = 5.0


def solve(
    problem: Problem,
    *,
    seconds: float | None = None,
    iterations: int | None = None,
    seed: int = 1,
    progress: Progress | None = None,
    stop: Callable[[], bool] | None = None,
    explain: Explain = Reason.words,
) -> Plan:
    """Plan for so many seconds or iterations, whichever ends first (five seconds where neither is given).

    ``stop`` is asked now and then; True ends the search with the best plan so far. ``explain`` puts reasons in words.
    """
    if seconds is None and iterations is None:
        seconds = DEFAULT_SECONDS
    instance = Instance(problem)
    evaluator = Evaluator(instance)
    search = Search(instance, evaluator, seed)
    state, made = search.run(_Budget(seconds, iterations, progress, stop))
    unserved = tuple(
        Unserved(job.visit.id, fate, explain(reason), cost)
        for job in instance.jobs
        if job.index not in state.where
        for fate, reason, cost in [why_left_out(search, state, job)]
    )
    rounds = rounds_of(instance, evaluator, state.routes)
    return Plan(
        rounds=rounds,
        unserved=unserved,
        score=score_of(instance, rounds, unserved),
        seed=seed,
        iterations=made,
        problem=problem.name,
        notes=(explain(Reason("overnight")),) if problem.overnights else (),
    )


class _Budget:
    """How much of the time or of the iterations is spent; tells the progress and asks whether to stop."""

    def __init__(
        self,
        seconds: float | None,
        iterations: int | None,
        progress: Progress | None,
        stop: Callable[[], bool] | None,
    ) -> None:
        self.seconds, self.iterations, self.progress, self.stop = seconds, iterations, progress, stop
        self.began = time.monotonic()
        self.told = 0.0

    def __call__(self, number: int, best: int) -> float:
        now = time.monotonic()
        share = self._share(number, now)
        if share < 1 and now - self.told >= TELL_EVERY_S:
            self.told = now
            if self.progress is not None:
                self.progress(share, number, money(best % MUST))
            if self.stop is not None and self.stop():
                return 1.0
        return share

    def _share(self, number: int, now: float) -> float:
        by_number = number / self.iterations if self.iterations else (1.0 if self.iterations == 0 else 0.0)
        by_time = (now - self.began) / self.seconds if self.seconds else (1.0 if self.seconds == 0 else 0.0)
        return max(by_number, by_time)
