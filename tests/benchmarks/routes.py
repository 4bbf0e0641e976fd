"""The planner against others and against published distances.

    python -m tests.benchmarks.routes small|medium|large|public [--seconds 5 15] [--seeds 1 2 3] [--kind tight]

Controllable cost is a plan's cost less the wages of the time spent at the visits, which nobody can plan away. The gap
is to the best plan of all planners, which have five times the time for it. Every plan goes through the independent
checker; a broken rule ends the command with exit code 1.
"""

import argparse
import sys
import time
from collections import defaultdict
from decimal import Decimal
from statistics import mean
from typing import TextIO

from servicedesk.planner.check import check
from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem
from servicedesk.planner.solve import solve
from tests.benchmarks import solomon
from tests.benchmarks.baselines import Planner, nearest_neighbour, pyvrp_from_plan, regret_insertion, territories
from tests.benchmarks.kinds import KINDS, of_kind
from tests.benchmarks.weeks import week

SECONDS = {"small": [5.0], "medium": [5.0, 15.0], "large": [15.0, 60.0], "public": [30.0]}
SEEDS = [21, 22, 23]
MORE_TIME = 5
GOALS = {"C": 1.0, "R1": 2.0, "RC1": 2.0, "R2": 3.0, "RC2": 3.0}


def main() -> int:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("what", choices=sorted(SECONDS))
    ask.add_argument("--seconds", type=float, nargs="+")
    ask.add_argument("--seeds", type=int, nargs="+", default=SEEDS, help="of the generated weeks")
    ask.add_argument("--kind", choices=sorted(KINDS), help="harder weeks: full days, lodgings far away, visits for two")
    ask.add_argument("--processes", type=int, help="for our own search; by default one per core")
    asked = ask.parse_args()
    seconds = asked.seconds or SECONDS[asked.what]
    if asked.what == "public":
        return public(seconds)
    return weeks(asked.what, seconds, asked.seeds, asked.kind, asked.processes)


def weeks(size: str, seconds: list[float], seeds: list[int], kind: str | None, processes: int | None) -> int:
    """A table of controllable costs by planner and time."""

    def own(problem: Problem, limit: float, seed: int) -> Plan:
        return solve(problem, seconds=limit, seed=seed, processes=processes)

    quick: dict[str, Planner] = {
        "nearest neighbour": nearest_neighbour,
        "territories": territories,
        "regret insertion": regret_insertion,
    }
    timed: dict[str, Planner] = {"PyVRP from a plan": pyvrp_from_plan, "own": own}
    costs: dict[str, list[float]] = defaultdict(list)
    left: dict[str, list[int]] = defaultdict(list)
    took: dict[str, list[float]] = defaultdict(list)
    best: list[float] = []
    broken = 0
    for seed in seeds:
        problem = of_kind(week(size, seed), kind)
        runs = [(name, planner, 0.0) for name, planner in quick.items()]
        runs += [(name, planner, limit) for limit in seconds for name, planner in timed.items()]
        runs += [(name, planner, MORE_TIME * max(seconds)) for name, planner in timed.items()]
        least = float("inf")
        for name, planner, limit in runs:
            began = time.monotonic()
            plan = planner(problem, limit, 1)
            label = f"{name}, {limit:g} s" if limit else name
            took[label].append(time.monotonic() - began)
            rules = check(problem, plan)
            broken += len(rules)
            for rule in rules[:3]:
                say(f"  BROKEN by {label} on {problem.name}: {rule}")
            costs[label].append(float(controllable(problem, plan)))
            left[label].append(plan.score.unserved)
            least = min(least, costs[label][-1])
            say(f"  {problem.name:10} {label:28} {costs[label][-1]:10,.0f}  left {plan.score.unserved}", to=sys.stderr)
        best.append(least)
    say(f"{size}, weeks {', '.join(map(str, seeds))}: broken rules {broken}")
    say(f"{'planner':30}{'cost':>10}{'gap %':>8}{'left out':>10}{'took s':>9}")
    for label, row in costs.items():
        gap = mean(100 * (cost / least - 1) for cost, least in zip(row, best, strict=True))
        say(f"{label:30}{mean(row):>10,.0f}{gap:>8.1f}{mean(left[label]):>10.1f}{mean(took[label]):>9.1f}")
    return 1 if broken else 0


def controllable(problem: Problem, plan: Plan) -> Decimal:
    """The cost less the wages of the service time (a helper's time too)."""
    wage = {who.id: who.hourly_cost for who in problem.technicians}
    served = sum(
        (
            wage[row.technician] * Decimal((stop.leave - stop.begin).total_seconds()) / 3600
            for row in plan.rounds
            for stop in row.stops
            if stop.visit is not None
        ),
        Decimal(0),
    )
    return plan.score.cost - served


def public(seconds: list[float]) -> int:
    """The gap to the best known distance of each published instance."""
    broken = 0
    for limit in seconds:
        for name in solomon.names():
            problem = solomon.instance(name)
            plan = solve(problem, seconds=limit, seed=1)
            rules = check(problem, plan)
            broken += len(rules) + plan.score.unserved
            found, known = solomon.distance(plan.score.distance_m), solomon.best_known(name)
            kind = "C" if name.startswith("C") else name.rstrip("0123456789") + name.lstrip("RC")[0]
            say(
                f"{name:8}{limit:>5g} s  {found:>9.2f}  best known {known:>9.2f}"
                f"  gap {100 * (found / known - 1):>6.2f} %  (goal {GOALS[kind]:g} %)  broken rules {len(rules)}"
            )
    return 1 if broken else 0


def say(words: str, *, to: TextIO | None = None) -> None:
    (to or sys.stdout).write(f"{words}\n")
    (to or sys.stdout).flush()


if __name__ == "__main__":
    raise SystemExit(main())
