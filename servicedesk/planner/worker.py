"""A process of its own that searches parts of a problem: ``python -m servicedesk.planner.worker``.

On standard input comes a list of tasks, then nothing; when the input ends the search ends too, so that no worker
outlives whoever started it. On standard output go lines of JSON: progress, and at last the orders found.
"""

import json
import os
import pickle
import struct
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import IO, Any

from servicedesk.planner.budget import Budget
from servicedesk.planner.engine import search_with_nights
from servicedesk.planner.orders import Orders, orders_of
from servicedesk.planner.problem import Overnight, Problem
from servicedesk.planner.search import MUST, new_search

LENGTH = struct.Struct("!Q")


@dataclass(frozen=True, slots=True)
class Task:
    """A part to search, and for how long."""

    number: int
    problem: Problem
    seed: int
    seconds: float | None
    iterations: int | None


@dataclass(frozen=True, slots=True)
class Answer:
    """The orders found for one part or several, the nights away they take, and the iterations made."""

    orders: Orders
    nights: tuple[Overnight, ...]
    made: int


def search_part(task: Task, budget: Budget) -> Answer:
    """Search one part."""
    found = search_with_nights(new_search(task.problem, task.seed), budget, task.seed)
    return Answer(orders_of(found.search, found.state), found.nights, found.made)


def give(tasks: Sequence[Task], to: IO[bytes]) -> None:
    """Hand tasks to a worker's input, which stays open."""
    raw = pickle.dumps(list(tasks))
    to.write(LENGTH.pack(len(raw)) + raw)
    to.flush()


def _taken(source: IO[bytes]) -> list[Task]:
    size = LENGTH.unpack(source.read(LENGTH.size))[0]
    tasks: list[Task] = pickle.loads(source.read(size))  # noqa: S301 - from the process that started this one
    return tasks


def _await_end(descriptor: int, ended: threading.Event) -> None:
    """Unbuffered, so that no lock is held when the process ends first."""
    while os.read(descriptor, 4096):
        pass
    ended.set()


def main() -> int:
    tasks = _taken(sys.stdin.buffer)
    ended = threading.Event()
    threading.Thread(target=_await_end, args=(sys.stdin.fileno(), ended), daemon=True).start()
    for task in tasks:

        def tell(share: float, number: int, best: Decimal, task: Task = task) -> None:
            _say({"task": task.number, "share": share, "made": number, "best": int(best * 1000) % MUST})

        answer = search_part(task, Budget(task.seconds, task.iterations, tell, ended.is_set))
        nights = [task.problem.overnights.index(night) for night in answer.nights]
        _say({"task": task.number, "made": answer.made, "orders": answer.orders, "nights": nights})
    return 0


def _say(words: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(words) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main())
