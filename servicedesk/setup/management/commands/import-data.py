"""``manage.py import-data KIND FILE [--dry-run]``: a table into the books, every row with its fate."""

from argparse import ArgumentParser
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicedesk.clients import importing as clients
from servicedesk.common.tables import Fate, UnreadableTable, read_table
from servicedesk.consumables import importing as consumables
from servicedesk.installations import importing as installations
from servicedesk.people.models import Role, User
from servicedesk.readings import importing as readings
from servicedesk.routes import travel_importing as travel

BAD_INPUT = 2


@dataclass(frozen=True, slots=True)
class Kind:
    """How one kind of table is judged and stored."""

    required: tuple[str, ...]
    fates: Callable[[list[dict[str, str]]], list[Fate]]
    store: Callable[..., int]
    about: str


KINDS = {
    "clients": Kind(clients.CLIENTS_REQUIRED, clients.client_fates, clients.client_store, clients.__doc__ or ""),
    "sites": Kind(clients.SITES_REQUIRED, clients.site_fates, clients.site_store, clients.__doc__ or ""),
    "installations": Kind(
        installations.REQUIRED, installations.fates, installations.store, installations.__doc__ or ""
    ),
    "readings": Kind(readings.REQUIRED, readings.fates, readings.store, readings.__doc__ or ""),
    "drives": Kind(travel.REQUIRED, travel.fates, travel.store, travel.__doc__ or ""),
    "consumables": Kind(consumables.REQUIRED, consumables.fates, consumables.store, consumables.__doc__ or ""),
}


class Command(BaseCommand):
    help = "Read clients, sites, installations, readings, drives or consumables from a CSV or XLSX file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        columns = "; ".join(f"{name}: {', '.join(kind.required)}" for name, kind in KINDS.items())
        parser.add_argument("kind", choices=sorted(KINDS), help=f"what the rows are. Columns needed: {columns}")
        parser.add_argument("file", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="show every row's fate and store nothing")
        parser.add_argument("--by", metavar="EMAIL", help="whose act it is in the audit trail (else an owner)")

    def handle(self, *args: Any, **options: Any) -> None:
        kind = KINDS[options["kind"]]
        found = kind.fates(_rows(options["file"], kind.required))
        if options["dry_run"] or any(fate.state == "wrong" for fate in found):
            for fate in found:
                self.stdout.write(f"{fate.line:>5}  {fate.state:<5}  {fate.words}  ({' · '.join(fate.cells[:4])})")
        counts = {state: sum(fate.state == state for fate in found) for state in ("ok", "known", "wrong")}
        if options["dry_run"]:
            self.stdout.write(
                f"{counts['ok']} to store, {counts['known']} known, {counts['wrong']} wrong; nothing stored."
            )
            return
        stored = kind.store(found, actor=_actor(options["by"]))
        self.stdout.write(f"{stored} stored, {counts['known']} known already, {counts['wrong']} wrong and left out.")
        if counts["wrong"]:
            raise CommandError(
                f"{counts['wrong']} rows were left out; mend them and read the file again.", returncode=1
            )


def _rows(path: Path, required: Sequence[str]) -> list[dict[str, str]]:
    try:
        with path.open("rb") as file:
            return read_table(path.name, file, required)
    except OSError as error:
        raise CommandError(f"{path}: {error.strerror}", returncode=BAD_INPUT) from error
    except UnreadableTable as error:
        raise CommandError(f"{path}: {error}", returncode=BAD_INPUT) from error


def _actor(email: str | None) -> User:
    people = User.objects.filter(is_active=True)
    found = people.filter(email__iexact=email).first() if email else people.filter(roles__contains=[Role.OWNER]).first()
    if found is None:
        raise CommandError(f"No account {email or 'of an owner'}; name one with --by.", returncode=BAD_INPUT)
    return found
