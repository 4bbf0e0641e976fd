"""``manage.py check-week PROBLEM PLAN``: verify a plan by code of its own. Needs no database."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicedesk.planner.check import check
from servicedesk.planner.problem import ProblemError
from servicedesk.planner.schema import plan_from_text, problem_from_text

BAD_INPUT, BROKEN = 2, 1


class Command(BaseCommand):
    help = "Verify a plan against its problem, independently of the solver; exit 1 when a rule is broken."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("problem", type=Path)
        parser.add_argument("plan", type=Path)

    def handle(self, *_args: Any, **options: Any) -> None:
        path = options["problem"]
        try:
            problem = problem_from_text(path.read_text("utf-8"))
            path = options["plan"]
            plan = plan_from_text(path.read_text("utf-8"))
        except (ProblemError, UnicodeDecodeError) as error:
            raise CommandError(f"{path}: {error}", returncode=BAD_INPUT) from error
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror}", returncode=BAD_INPUT) from error
        broken = check(problem, plan)
        for words in broken:
            self.stdout.write(words)
        if broken:
            raise CommandError(f"{len(broken)} rules are broken.", returncode=BROKEN)
        self.stdout.write("The plan keeps every rule.")
