"""The building blocks of a form declaration. ``as_json`` of the whole is what a tablet would carry."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

STEPS = ("arrive", "look", "test", "plant", "do", "set", "use", "sign")


@dataclass(frozen=True, slots=True)
class Field:
    """One question. ``kind``: number, choice, text, line, clock, time or lot.

    ``live`` is the declaration of ``science.live`` for readings; ``before`` what stood last time, in words.
    """

    key: str
    kind: str
    label: str
    quantity: str = ""
    units: tuple[tuple[str, str], ...] = ()
    unit: str = ""
    options: tuple[tuple[str, str], ...] = ()
    before: str = ""
    band_words: str = ""
    help: str = ""
    caution: str = ""
    live: dict[str, Any] | None = None
    low: float | None = None
    high: float | None = None
    bad: tuple[str, ...] = ()
    safety: bool = False
    may_skip: bool = False
    initial: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Fields of one machine, one parameter or one subject of an installation."""

    key: str
    title: str
    fields: tuple[Field, ...]
    note: str = ""
    installation: int | None = None
    reference: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    key: str
    title: str
    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True)
class Form:
    """The whole declaration of a visit's form."""

    visit: str
    zone: str
    steps: tuple[Step, ...] = field(default_factory=tuple)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    def step(self, key: str) -> Step:
        return next(step for step in self.steps if step.key == key)

    @property
    def fields(self) -> Iterator[Field]:
        """Every field of every step, in the order of the walk."""
        return (found for step in self.steps for group in step.groups for found in group.fields)

    def field(self, key: str) -> Field | None:
        return next((found for found in self.fields if found.key == key), None)
