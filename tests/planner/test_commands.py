import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
BACKWARDS = {"opens": "2026-12-07T10:00", "closes": "2026-12-07T09:00"}
SAMPLE = ROOT / "fixtures" / "planner" / "sample_week.json"


def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """manage.py with a database that is not there: these commands need none."""
    env = {**os.environ, "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none", "SALTROUND_DEBUG": "1"}
    command = [sys.executable, str(ROOT / "manage.py"), *map(str, arguments)]
    return subprocess.run(command, env=env, capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("plan") / "plan.json"
    result = run("solve-week", SAMPLE, "--iterations", "40", "--seed", "3", "-o", path)
    assert result.returncode == 0, result.stderr
    return path


def spoilt(tmp_path: Path, source: Path, change: Any) -> Path:
    data = json.loads(source.read_text())
    change(data)
    path = tmp_path / "spoilt.json"
    path.write_text(json.dumps(data))
    return path


def test_plan_of_the_sample_passes_the_check(plan: Path) -> None:
    result = run("check-week", SAMPLE, plan)
    assert (result.returncode, result.stdout) == (0, "The plan keeps every rule.\n")


def test_plan_holds_score_arrivals_and_what_is_left_with_reasons(plan: Path) -> None:
    data = json.loads(plan.read_text())
    assert data["score"]["cost"] > 0
    assert all(stop["arrive"] for row in data["rounds"] for stop in row["stops"])
    assert all(row["reason"] for row in data["unserved"])


def test_broken_plan_exits_one_with_a_line_per_rule(plan: Path, tmp_path: Path) -> None:
    bad = spoilt(tmp_path, plan, lambda data: data["rounds"][0]["stops"].pop())
    result = run("check-week", SAMPLE, bad)
    assert result.returncode == 1
    assert "neither on a round" in result.stdout


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda data: data.pop("visits"), "'visits' is a required property"),
        (lambda data: data["visits"][0].update(duration_s=-5), "visits[0].duration_s"),
        (lambda data: data["visits"][0].update(place="nowhere"), "visits[0].place"),
        (lambda data: data["technicians"][0].update(zone="Mars/Olympus"), "Mars/Olympus"),
        (lambda data: data["visits"][0].update(windows=[BACKWARDS]), "is not after opens"),
        (lambda data: data.update(first_day="0001-01-01"), "the year 1 is not between"),
        (lambda data: data["technicians"][0].update(km_cost=1e30), "km_cost: 1e+30 is too large"),
        (lambda data: data["visits"][0].update(name="\ud800"), "visits[0].name: this holds half a character"),
    ],
)  # fmt: skip
def test_bad_problem_exits_two_with_one_line_that_names_the_field(change: Any, words: str, tmp_path: Path) -> None:
    result = run("solve-week", spoilt(tmp_path, SAMPLE, change))
    assert result.returncode == 2
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_name_given_twice_and_endless_number_exit_two(tmp_path: Path) -> None:
    path = tmp_path / "odd.json"
    path.write_text(SAMPLE.read_text("utf-8").rstrip().removesuffix("}") + ', "visits": []}')
    twice = run("solve-week", path)
    path.write_text('{"format": ' + "9" * 5000 + "}")
    endless = run("solve-week", path)
    assert (twice.returncode, endless.returncode) == (2, 2)
    assert "'visits' is given twice" in twice.stderr
    assert "thousands of digits" in endless.stderr


@pytest.mark.parametrize("seconds", ["inf", "nan", "-1"])
def test_seconds_are_a_number_from_nought_on(seconds: str) -> None:
    result = run("solve-week", SAMPLE, f"--seconds={seconds}")
    assert (result.returncode, len(result.stderr.strip().splitlines())) == (2, 1)


def test_plan_with_an_unknown_place_is_refused_in_words(plan: Path, tmp_path: Path) -> None:
    bad = spoilt(tmp_path, plan, lambda data: data["rounds"][0]["stops"][0].update(place="nowhere"))
    result = run("check-week", SAMPLE, bad)
    assert (result.returncode, result.stdout) == (1, "nowhere is no place of the problem.\n")


def test_missing_file_and_no_json_exit_two(tmp_path: Path) -> None:
    nothing = run("solve-week", tmp_path / "none.json")
    (tmp_path / "bad.json").write_text("{")
    bad = run("solve-week", tmp_path / "bad.json")
    assert (nothing.returncode, bad.returncode) == (2, 2)
    assert "No such file" in nothing.stderr
    assert "not JSON" in bad.stderr
