"""Searching the parts of a problem one after another or side by side in processes; the same plan either way."""

import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from servicedesk.planner.budget import TELL_EVERY_S, Budget
from servicedesk.planner.problem import Problem
from servicedesk.planner.worker import Answer, Task, give, search_part

ROOT = Path(__file__).parents[2]
GRACE_S = 10.0  # how long a worker that was told to end may take
HUNG_S = 60.0  # how much longer than its time a search may take, making itself ready too, before it is given up


class WorkerFailed(RuntimeError):
    """A process that searched a part ended without an answer."""


def tasks_of(parts: Sequence[Problem], seed: int, seconds: float | None, iterations: int | None) -> list[Task]:
    """One task per part. The iterations are shared by visits; the seconds are those of all parts together."""
    visits = sum(len(part.visits) for part in parts)
    return [
        Task(
            number=number,
            problem=part,
            seed=seed + number,
            seconds=None if seconds is None else seconds * len(part.visits) / visits,
            iterations=None if iterations is None else round(iterations * len(part.visits) / visits),
        )
        for number, part in enumerate(parts)
    ]


class Team:
    """The processes that search the parts; with one, the parts are searched here, in turn."""

    def __init__(self, tasks: Sequence[Task], processes: int) -> None:
        self.tasks = tasks
        self._said: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._workers: list[subprocess.Popen[bytes]] = []
        if processes > 1:
            try:
                for share in _shares(tasks, processes):
                    self._workers.append(_started(share, self._said))
            except BaseException:
                self.end()
                raise

    def gathered(self, budget: Budget) -> Answer:
        """What was found for all parts, when all are done."""
        if not self._workers:
            return _in_turn(self.tasks, budget)
        return _gathered(self.tasks, self._workers, self._said, budget)

    def end(self) -> None:
        for worker in self._workers:
            _end(worker)


def _shares(tasks: Sequence[Task], processes: int) -> list[list[Task]]:
    """The largest part first to whoever has least to do."""
    shares: list[list[Task]] = [[] for _ in range(processes)]
    loads = [0] * processes
    for task in tasks:
        least = loads.index(min(loads))
        shares[least].append(task)
        loads[least] += len(task.problem.visits)
    return [share for share in shares if share]


def _in_turn(tasks: Sequence[Task], budget: Budget) -> Answer:
    """All parts in this process."""
    answers: list[Answer] = []
    made = 0
    low, high = budget.part
    for number, task in enumerate(tasks):
        step = (high - low) / len(tasks)
        own = Budget(
            task.seconds,
            task.iterations,
            budget.progress,
            budget.stop,
            (low + step * number, low + step * (number + 1)),
            before=made,
            stopped=budget.stopped,
        )
        answers.append(search_part(task, own))
        budget.stopped = own.stopped
        made += answers[-1].made
    return _joined(answers)


def _joined(answers: Sequence[Answer]) -> Answer:
    return Answer(
        [row for answer in answers for row in answer.orders],
        tuple(night for answer in answers for night in answer.nights),
        sum(answer.made for answer in answers),
    )


def _started(tasks: Sequence[Task], said: "queue.Queue[dict[str, Any] | None]") -> "subprocess.Popen[bytes]":
    worker = subprocess.Popen(
        [sys.executable, "-m", "servicedesk.planner.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    if worker.stdin is None or worker.stdout is None:
        raise WorkerFailed("A process to search with has no input or output.")
    give(tasks, worker.stdin)
    lines = worker.stdout

    def listen() -> None:
        try:
            for line in lines:
                said.put(json.loads(line))
        finally:
            said.put(None)

    threading.Thread(target=listen, daemon=True).start()
    return worker


def _gathered(
    tasks: Sequence[Task],
    workers: "Sequence[subprocess.Popen[bytes]]",
    said: "queue.Queue[dict[str, Any] | None]",
    budget: Budget,
) -> Answer:
    answers: dict[int, Answer] = {}
    made = dict.fromkeys(range(len(tasks)), 0)
    best = dict.fromkeys(range(len(tasks)), 0)
    shares = dict.fromkeys(range(len(tasks)), 0.0)
    running = len(workers)
    while running:
        try:
            words = said.get(timeout=TELL_EVERY_S)
        except queue.Empty:
            words = {}
        if words is None:
            running -= 1
            continue
        if words:
            number = words["task"]
            made[number] = words["made"]
            best[number], shares[number] = words.get("best", best[number]), words.get("share", 1.0)
            if "orders" in words:
                offered = tasks[number].problem.overnights
                nights = tuple(offered[index] for index in words["nights"])
                answers[number] = Answer(words["orders"], nights, words["made"])
        if budget.seconds is not None and time.monotonic() > budget.began + budget.seconds + HUNG_S:
            raise WorkerFailed("A process that searches a part of the week gives no answer in its time.")
        was_stopped = budget.stopped
        budget.tell(sum(shares.values()) / len(shares), sum(made.values()), sum(best.values()))
        if budget.stopped and not was_stopped:
            for worker in workers:
                if worker.stdin is not None:
                    worker.stdin.close()
    if len(answers) < len(tasks):
        raise WorkerFailed("A process that searched a part of the week ended without an answer.")
    return _joined([answers[number] for number in sorted(answers)])


def _end(worker: "subprocess.Popen[bytes]") -> None:
    if worker.stdin is not None and not worker.stdin.closed:
        worker.stdin.close()
    try:
        worker.wait(GRACE_S)
    except subprocess.TimeoutExpired:
        worker.kill()
        worker.wait()
    if worker.stdout is not None:
        worker.stdout.close()
