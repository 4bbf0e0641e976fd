"""Problems and plans as JSON: read with one clear line on what is wrong and where, written so that it reads back.

Local datetimes without an offset are on the clock of the thing they belong to: a visit's on that of its place, a
technician's on their own. One with an offset is what it says.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

import jsonschema

from servicedesk.planner.plan import Plan
from servicedesk.planner.problem import Problem, ProblemError
from servicedesk.planner.sense import sense_check

SCHEMAS = Path(__file__).parent / "schemas"
LOCAL = ZoneInfo("UTC")
LARGEST = 10**12
YEARS = range(1970, 2200)
Json = Any  # what json.loads may give


def problem_from_text(text: str) -> Problem:
    """A problem from JSON text."""
    raw = _parsed(text)
    _validated(raw, "problem")
    problem: Problem = _read(Problem, raw, "", _Clocks(raw))
    sense_check(problem)
    return problem


def plan_from_text(text: str) -> Plan:
    """A plan from JSON text. Its datetimes carry their offsets."""
    raw = _parsed(text)
    _validated(raw, "plan")
    plan: Plan = _read(Plan, raw, "", _Clocks({}))
    return plan


def to_text(thing: Problem | Plan) -> str:
    """JSON text of a problem or plan; what has its default value is left out of a problem's entries."""
    return json.dumps(_written(thing), indent=1, ensure_ascii=False) + "\n"


@cache
def _validator(name: str) -> Any:
    schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text("utf-8"))
    return jsonschema.Draft202012Validator(schema)


def _parsed(text: str) -> Json:
    try:
        return json.loads(text, parse_float=Decimal, parse_constant=_no_constant, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        raise ProblemError(f"line {error.lineno}, column {error.colno}: this is not JSON ({error.msg})") from error
    except RecursionError as error:
        raise ProblemError("this is not a problem or plan: it is nested too deeply") from error
    except ProblemError:
        raise
    except ValueError as error:
        raise ProblemError("this is not a problem or plan: it holds a number of thousands of digits") from error


def _once(pairs: list[tuple[str, Json]]) -> Json:
    """An object of which every name is given once: of two the first would be lost unsaid."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _value in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ProblemError(f"{twice!r} is given twice in one object")
    return found


def _no_constant(name: str) -> Json:
    raise ProblemError(f"{name} is not a number that JSON knows")


def _validated(raw: Json, name: str) -> None:
    """Refuse what the schema refuses, naming the first field that is wrong."""
    error = jsonschema.exceptions.best_match(_validator(name).iter_errors(raw))
    if error is not None:
        raise ProblemError(f"{_path(error.absolute_path)}: {_short(error.message)}")


def _path(parts: Sequence[str | int]) -> str:
    out = ""
    for part in parts:
        out += f"[{part}]" if isinstance(part, int) else f".{part}" if out else part
    return out or "the whole file"


def _short(message: str) -> str:
    line = " ".join(message.replace("Decimal(", "").replace("')", "'").split())
    return line if len(line) <= 200 else f"{line[:120]} … {line[-70:]}"


class _Clocks:
    """The zone on whose clock the local times of each part of a problem are read."""

    def __init__(self, raw: Mapping[str, Json]) -> None:
        self.places = {row["id"]: row["zone"] for row in raw.get("places", ())}
        self.people = {row["id"]: row["zone"] for row in raw.get("technicians", ())}

    def of(self, raw: Mapping[str, Json], path: str, current: str | None) -> str | None:
        """The zone of an entry, or the one of what it lies in."""
        if path.startswith("technicians["):
            return str(raw["zone"]) if "zone" in raw else current
        if path.startswith("visits[") and "place" in raw:
            if raw["place"] not in self.places:
                raise ProblemError(f"{path}.place: there is no place {raw['place']!r}")
            return str(self.places[raw["place"]])
        if path.startswith("kept[") and "technician" in raw:
            return self.people.get(raw["technician"], current)
        return current


def _read(kind: Any, raw: Json, path: str, clocks: _Clocks, zone: str | None = None) -> Any:
    """A value of a declared type from its JSON form, which the schema has already found well-formed."""
    origin = get_origin(kind)
    if origin in {Union, UnionType}:
        inner = next(part for part in get_args(kind) if part is not type(None))
        return None if raw is None else _read(inner, raw, path, clocks, zone)
    if origin is tuple:
        inner = get_args(kind)[0]
        return tuple(_read(inner, item, f"{path}[{n}]", clocks, zone) for n, item in enumerate(raw))
    if origin is Literal:
        return raw
    if is_dataclass(kind):
        zone = clocks.of(raw, path, zone)
        hints = _hints(kind)  # type: ignore[arg-type]
        return kind(  # type: ignore[operator]
            **{
                name: _read(hints[name], value, f"{path}.{name}" if path else name, clocks, zone)
                for name, value in raw.items()
            }
        )
    return _scalar(kind, raw, path, zone)


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _scalar(kind: Any, raw: Json, path: str, zone: str | None) -> Any:
    if kind in {Decimal, float, int}:
        if abs(raw) > LARGEST:
            raise ProblemError(f"{path}: {_short(f'{raw:.6g}')} is too large")
        return kind(raw)
    if kind is date:
        try:
            day = date.fromisoformat(raw)
        except ValueError as error:
            raise ProblemError(f"{path}: {raw!r} is no date; write it like 2026-12-07") from error
        return _in_our_time(day, path)
    if kind is datetime:
        return _moment(raw, path, zone)
    if isinstance(raw, str) and any("\ud800" <= letter <= "\udfff" for letter in raw):
        raise ProblemError(f"{path}: this holds half a character")
    return raw


def _in_our_time(value: date, path: str) -> date:
    """A date that sums of days may be made with. A datetime is a date too."""
    if value.year not in YEARS:
        raise ProblemError(f"{path}: the year {value.year} is not between {YEARS[0]} and {YEARS[-1]}")
    return value


def _moment(raw: str, path: str, zone: str | None) -> datetime:
    try:
        value = datetime.fromisoformat(raw)
    except ValueError as error:
        raise ProblemError(f"{path}: {raw!r} is no date and time; write it like 2026-12-07T08:30") from error
    _in_our_time(value, path)
    if value.tzinfo is not None:
        return value if zone is None else value.astimezone(_zone(zone, path))
    if zone is None:
        raise ProblemError(f"{path}: {raw!r} needs its offset from UTC, like 2026-12-07T08:30-06:00")
    return value.replace(tzinfo=_zone(zone, path))


def _zone(name: str, path: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ProblemError(f"{path}: there is no time zone {name!r}") from error


def _written(thing: Any) -> Json:
    if is_dataclass(thing):
        return dict(_entries(thing))
    if isinstance(thing, tuple):
        return [_written(item) for item in thing]
    if isinstance(thing, Decimal):
        return int(thing) if thing == thing.to_integral_value() else float(thing)
    if isinstance(thing, datetime | date):
        return thing.isoformat()
    return thing


def _entries(thing: Any) -> Iterator[tuple[str, Json]]:
    for field in fields(thing):
        value = getattr(thing, field.name)
        if field.default is MISSING or value != field.default or field.name == "format":
            yield field.name, _written(value)
