"""``manage.py worksheet NAME key=value … [--json]`` and ``--list``: the worksheets without a database."""

import json
from argparse import ArgumentParser
from collections.abc import Iterable
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from servicedesk.common.display import DisplayUnits
from servicedesk.science.worksheets import catalogue, record, run
from servicedesk.science.worksheets.declare import Worksheet
from servicedesk.science.worksheets.telling import UnitOf, canonical
from servicedesk.science.worksheets.typed import BadInput, parse

BAD_INPUT = 2


class Command(BaseCommand):
    help = (
        "Run a worksheet. Inputs accept units: volume=6000gal alkalinity=8.3dKH temp=78F "
        "readings='07:30 8.1; 19:00 8.3'. Without any input the sheet says what it asks. "
        "Bad input: one line and exit 2."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", nargs="?", help="name of the worksheet, see --list")
        parser.add_argument("inputs", nargs="*", metavar="key=value")
        parser.add_argument("--list", action="store_true", help="all worksheets; with --json their whole declarations")
        parser.add_argument("--json", action="store_true", help="canonical values, units, steps and sources as JSON")
        parser.add_argument(
            "--units",
            choices=("canonical", "metric", "us"),
            default="canonical",
            help="units of the answer in words; numbers typed without a unit are always canonical",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        if options["list"] or not options["name"]:
            self._list(as_json=options["json"])
            return
        sheet = self._sheet(options["name"])
        if not options["inputs"] and any(_must_be_typed(item) for item in record.declaration(sheet)["inputs"]):
            self._describe(sheet, as_json=options["json"])
            return
        try:
            values = parse(sheet, _pairs(options["inputs"]))
            answer = run.answer(sheet, values, _units(options["units"]))
        except BadInput as error:
            raise CommandError(f"{sheet.name}: {_one_line(sheet, error)}", returncode=BAD_INPUT) from error
        told = record.record(sheet, values, answer, _units(options["units"]))
        self.stdout.write(json.dumps(told, ensure_ascii=False, indent=1) if options["json"] else _text(told))

    def _sheet(self, name: str) -> Worksheet:
        try:
            return catalogue.worksheet(name)
        except KeyError:
            raise CommandError(f"There is no worksheet {name!r}; see --list.", returncode=BAD_INPUT) from None

    def _list(self, *, as_json: bool) -> None:
        if as_json:
            sheets = [record.declaration(sheet) for sheet in catalogue.all_worksheets()]
            self.stdout.write(json.dumps(sheets, ensure_ascii=False, indent=1))
            return
        for subject, sheets_of in catalogue.by_subject():
            self.stdout.write(subject)
            for sheet in sheets_of:
                self.stdout.write(f"  {sheet.name:28} {sheet.title}")

    def _describe(self, sheet: Worksheet, *, as_json: bool) -> None:
        declared = record.declaration(sheet)
        if as_json:
            self.stdout.write(json.dumps(declared, ensure_ascii=False, indent=1))
            return
        self.stdout.write(f"{sheet.title}. {sheet.purpose}")
        for item in declared["inputs"]:
            self.stdout.write("  " + _asked(item))
        self.stdout.write(f"Valid: {sheet.valid}")


def _must_be_typed(item: dict[str, Any]) -> bool:
    return bool(item.get("required")) or item.get("least", 0) > 0


def _pairs(parts: Iterable[str]) -> dict[str, str]:
    typed: dict[str, str] = {}
    for part in parts:
        name, equals, text = part.partition("=")
        if not equals:
            raise BadInput({part: "write it as key=value"})
        if name in typed:
            raise BadInput({name: "given twice"})
        typed[name] = text
    return typed


def _one_line(sheet: Worksheet, error: BadInput) -> str:
    """The errors by the short names that are typed here."""
    names = {item.key: item.name for item in sheet.inputs}
    return " ".join(f"{names.get(key, key)}: {words}" if key else words for key, words in error.errors.items())


def _units(choice: str) -> UnitOf:
    return canonical if choice == "canonical" else DisplayUnits(system=choice).unit_for


def _asked(item: dict[str, Any]) -> str:
    words = f"{item['name']:24} {item['label']}"
    if "options" in item:
        return f"{words}: {', '.join(item['options'])} (default {item['default']})"
    if "rows" in item:
        return f"{words}: lines of {', '.join(column['label'] for column in item['rows'])}"
    unit = f" {item['unit']}" if item["unit"] else ""
    default = "" if item["default"] is None else f", default {item['default']:g}"
    need = ", must be typed" if item["required"] else default
    return f"{words}: {item['low']:g} to {item['high']:g}{unit}{need}"


def _text(told: dict[str, Any]) -> str:
    lines = [told["title"], ""]
    lines += [f"  {output['label']}: {output['shown']}" for output in told["outputs"]]
    lines += ["", *told["instruction"], *(f"! {words}" for words in told["flags"])]
    for listing in told["listings"]:
        lines += ["", listing["title"], "  " + " | ".join(listing["heads"])]
        lines += ["  " + " | ".join(row) for row in listing["rows"]]
    lines += ["", "How it was worked out (canonical units)"]
    for line in told["steps"]:
        lines.append(f"  {line['label']} = {line['formula']} = {line['sum']} = {line['result']}  [{line['source']}]")
    lines += ["", *(f"Caution: {words}" for words in told["cautions"]), f"Valid: {told['valid']}", "Sources:"]
    return "\n".join([*lines, *(f"  {key}: {words}" for key, words in told["sources"].items())])
