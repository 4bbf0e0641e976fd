"""``manage.py worksheet``: a contract that scripts rely on."""

import io
import json
import subprocess
import sys

import pytest
from django.core.management import CommandError, call_command

from servicedesk.science.worksheets import catalogue


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("worksheet", *arguments, stdout=out)
    return out.getvalue()


def test_the_list_names_every_sheet() -> None:
    text = run("--list")
    assert all(sheet.name in text for sheet in catalogue.all_worksheets())
    declared = json.loads(run("--list", "--json"))
    assert {sheet["worksheet"] for sheet in declared} == {sheet.name for sheet in catalogue.all_worksheets()}


def test_units_may_be_typed_and_the_json_is_canonical() -> None:
    told = json.loads(run("raise-alkalinity", "volume=6000gal", "alkalinity=7dKH", "target=8.2dKH", "--json"))
    mass = next(row for row in told["outputs"] if row["key"] == "mass")
    assert mass["value"] == pytest.approx(816.8, abs=0.5)
    assert mass["unit"] == "g"
    assert told["steps"][2]["source"] == "stoichiometry"


def test_the_answer_in_words_has_instruction_sum_caution_and_sources() -> None:
    text = run("raise-alkalinity", "volume=6000gal", "alkalinity=7dKH", "--units", "us")
    for part in ("sodium bicarbonate", "How it was worked out", "Caution:", "CIAAW", "dKH"):
        assert part in text


def test_a_sheet_without_inputs_says_what_it_asks() -> None:
    assert "must be typed" in run("raise-alkalinity")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["raise-alkalinity", "volume=-5", "alkalinity=7dKH"], "volume: "),
        (["raise-alkalinity", "volume=5furlongs", "alkalinity=7dKH"], "no unit"),
        (["raise-alkalinity", "volume=nan", "alkalinity=7"], "not a number"),
        (["raise-alkalinity", "volume"], "key=value"),
        (["raise-alkalinity", "volume=5", "volume=6"], "twice"),
        (["raise-alkalinity", "colour=red"], "no such input"),
        (["raise-the-dead"], "--list"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(arguments: list[str], words: str) -> None:
    with pytest.raises(CommandError) as refused:
        run(*arguments)
    assert refused.value.returncode == 2
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_it_runs_without_a_database_or_a_broker() -> None:
    result = subprocess.run(
        [sys.executable, "manage.py", "worksheet", "ph-scale", "ph=8.2", "--json"],
        capture_output=True, text=True, check=False,
        env={"PATH": "/usr/bin:/bin", "SALTROUND_DEBUG": "1", "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none",
             "SALTROUND_IN_ENVIRONMENT": "1"},
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    assert json.loads(result.stdout)["outputs"][0]["value"] == pytest.approx(8.07, abs=0.01)
