from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

import servicedesk.celery  # noqa: F401 - jobs are sent by this process too
from servicedesk.setup.demo.load import FirmExistsError, demo_load
from servicedesk.setup.demo.size import SEED, WEEKS, Size


class Command(BaseCommand):
    help = "Load the demo firm with its year of visits; refuses when a firm exists."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--seed", type=int, default=SEED, help="the same seed gives the same firm and year")
        parser.add_argument("--sites", type=int, default=None, help="only the first so many sites")
        parser.add_argument("--weeks", type=int, default=WEEKS, help="weeks of history (at least 4)")

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["weeks"] < 4 or (options["sites"] is not None and options["sites"] < 1):
            raise CommandError("Give at least 4 weeks and 1 site.")
        size = Size(seed=options["seed"], sites=options["sites"], weeks=options["weeks"])
        try:
            counts = demo_load(size)
        except FirmExistsError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(", ".join(f"{number} {name}" for name, number in counts.items()) + ".")
