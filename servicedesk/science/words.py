"""Sentences with amounts in them, told later in the units of whoever reads."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Amount:
    """A value in the canonical unit of a quantity."""

    quantity: str
    value: float


Term = Amount | str


@dataclass(frozen=True, slots=True)
class Say:
    """A sentence with amounts in it: ``say("Weigh {mass}.", mass=Amount("mass", 420))``."""

    text: str
    terms: Mapping[str, Term] = field(default_factory=dict)


def say(text: str, **terms: Term) -> Say:
    return Say(text, terms)


def plain(text: str) -> Say:
    """Words without amounts, braces and all."""
    return Say(text.replace("{", "{{").replace("}", "}}"))
