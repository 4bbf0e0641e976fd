from typing import Any

from django.core.management.base import BaseCommand

from servicedesk.setup.reference import reference_load


class Command(BaseCommand):
    help = "Load the reference data (parameters, bands, methods, kinds of permission, tax rules); safe to run twice."

    def handle(self, *_args: Any, **_options: Any) -> None:
        made = reference_load()
        self.stdout.write(", ".join(f"{number} new {name}" for name, number in made.items()) + ".")
