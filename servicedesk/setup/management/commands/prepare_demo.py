"""What every start of the demo needs, in one process: tables, static files, reference data; then the sign-ins."""

import hashlib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand

from servicedesk.setup.reference import reference_load

STAMP = "made-from"


class Command(BaseCommand):
    help = (
        "Bring tables, static files and reference data up to date; print the demo's sign-ins, or that there is no firm."
    )

    def handle(self, *_args: Any, **_options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        _static_files()
        reference_load()
        call_command("demo_accounts", stdout=self.stdout)


def _static_files() -> None:
    """Collect and hash the static files unless they were made from the very files that lie there now."""
    stamp = Path(settings.STATIC_ROOT) / STAMP
    digest = _digest(Path(settings.STATICFILES_DIRS[0]))
    if stamp.exists() and stamp.read_text("ascii") == digest:
        return
    call_command("collectstatic", interactive=False, verbosity=0)
    stamp.write_text(digest, "ascii")


def _digest(folder: Path) -> str:
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        found.update(f"{path.relative_to(folder)}:".encode())
        found.update(path.read_bytes())
    return found.hexdigest()
