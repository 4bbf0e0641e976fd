"""``manage.py solve-week FILE``: a planning problem in, a plan out. Needs no database."""

import sys
from argparse import ArgumentParser
from math import isfinite
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicedesk.planner.problem import ProblemError
from servicedesk.planner.schema import problem_from_text, to_text
from servicedesk.planner.solve import DEFAULT_SECONDS, solve

BAD_INPUT = 2


def text_of(path: Path) -> str:
    """What a file holds; CommandError with exit code 2 when it cannot be read."""
    try:
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        words = getattr(error, "strerror", None) or "this is not text in UTF-8"
        raise CommandError(f"{path}: {words}", returncode=BAD_INPUT) from error


class Command(BaseCommand):
    help = (
        "Plan a week: read a problem (JSON), write a plan (JSON) with score, arrivals and what is left, with reasons."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the problem; its schema is planner/schemas/problem.schema.json")
        parser.add_argument("--seconds", type=float, default=None, help=f"search so long (default {DEFAULT_SECONDS:g})")
        parser.add_argument(
            "--iterations", type=int, default=None, help="search so many tries: the same on any machine"
        )
        parser.add_argument("--seed", type=int, default=1, help="the same seed and iterations give the same plan")
        parser.add_argument("-o", "--output", type=Path, help="write the plan here instead of printing it")

    def handle(self, *_args: Any, **options: Any) -> None:
        seconds, iterations = options["seconds"] or 0, options["iterations"] or 0
        if not isfinite(seconds) or seconds < 0 or iterations < 0:
            raise CommandError("--seconds and --iterations are numbers from 0 on.", returncode=BAD_INPUT)
        try:
            problem = problem_from_text(text_of(options["file"]))
        except ProblemError as error:
            raise CommandError(f"{options['file']}: {error}", returncode=BAD_INPUT) from error
        plan = solve(problem, seconds=options["seconds"], iterations=options["iterations"], seed=options["seed"])
        text = to_text(plan)
        if options["output"] is None:
            sys.stdout.write(text)
            return
        try:
            options["output"].write_text(text, "utf-8")
        except OSError as error:
            raise CommandError(f"{options['output']}: {error.strerror}", returncode=BAD_INPUT) from error
        placed = sum(stop.visit is not None for row in plan.rounds for stop in row.stops)
        self.stdout.write(
            f"{placed} visits on {len(plan.rounds)} rounds, {len(plan.unserved)} left, cost {plan.score.cost}."
        )
