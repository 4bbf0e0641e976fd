"""The parts of a worksheet's declaration and of its answer: plain data.

A worksheet names its inputs and outputs once; its ``compute`` is a plain function whose keyword
arguments are the inputs' keys in canonical units. Page, command line, reference and print all
read this one declaration.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from servicedesk.science.quantities import NAME_ENDS, QUANTITIES
from servicedesk.science.words import Amount, Say, Term


def short_name(key: str) -> str:
    """What is typed on the command line: the key without its unit, ``volume_l`` → ``volume``."""
    return next((key.removesuffix(suffix) for suffix in NAME_ENDS if key.endswith(suffix) and key != suffix), key)


@dataclass(frozen=True, slots=True)
class Input:
    """A quantity to type.

    ``key``: canonical name with its unit, an argument of ``compute``. ``low`` and ``high``: the range in
    canonical units, refused outside. ``default``: canonical; None must be typed unless ``optional``
    (then ``compute`` gets None). ``recall``: what the installation or the instrument remembers, e.g.
    "net_volume", "reading.alkalinity", "plant.chiller.capacity". ``usual``: outside it a flag, not a refusal.
    """

    key: str
    label: str
    quantity: str
    low: float
    high: float
    default: float | None = None
    help: str = ""
    optional: bool = False
    recall: str = ""
    usual: tuple[float, float] | None = None
    detail: bool = False  # folded away: seldom changed

    @property
    def name(self) -> str:
        return short_name(self.key)


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few named options; ``compute`` gets the option's key."""

    key: str
    label: str
    options: tuple[tuple[str, str], ...]
    default: str
    help: str = ""
    recall: str = ""
    detail: bool = False

    @property
    def name(self) -> str:
        return self.key


@dataclass(frozen=True, slots=True)
class Rows:
    """Several lines of the same columns, e.g. times and pH; ``compute`` gets a tuple of tuples.

    Typed as lines (or parts split by ";"), cells split by spaces. ``columns`` are Inputs, or Choices whose
    option keys are typed. ``default`` is text as typed.
    """

    key: str
    label: str
    columns: tuple[Input | Choice, ...]
    least: int = 1
    most: int = 60
    default: str = ""
    help: str = ""
    detail: bool = False

    @property
    def name(self) -> str:
        return self.key

    @property
    def recall(self) -> str:
        """Rows are typed anew each time."""
        return ""

    @property
    def optional(self) -> bool:
        return self.least == 0


AnyInput = Input | Choice | Rows


@dataclass(frozen=True, slots=True)
class Output:
    """A named result; ``quantity`` empty for words, or for an Amount whose quantity follows the inputs.

    ``main`` is shown large.
    """

    key: str
    label: str
    quantity: str = ""
    main: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the sum: formula with {names}, the amounts behind the names, result and source key."""

    label: str
    formula: str
    result: Amount
    source: str
    terms: Mapping[str, Term] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Curve:
    """A named line of a chart; ``points_only`` for measured marks."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    points_only: bool = False


@dataclass(frozen=True, slots=True)
class LineChart:
    """Curves over x, with named horizontal limits, all canonical."""

    title: str
    x_label: str
    x_quantity: str
    y_label: str
    y_quantity: str
    curves: tuple[Curve, ...]
    limits: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class BarChart:
    """Named amounts with signs, e.g. the parts of a heat balance, and their sum."""

    title: str
    quantity: str
    bars: tuple[tuple[str, float], ...]
    total: str = ""


@dataclass(frozen=True, slots=True)
class Listing:
    """A small table of the answer, e.g. a timetable: heads and rows of amounts or words."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Term, ...], ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a worksheet found: values by output key, the instruction, the sum, warnings, drawings."""

    values: Mapping[str, float | str | Amount | None]
    do: tuple[Say, ...] = ()
    steps: tuple[Step, ...] = ()
    flags: tuple[Say, ...] = ()
    charts: tuple[LineChart | BarChart, ...] = ()
    listings: tuple[Listing, ...] = ()
    cautions: tuple[str, ...] = ()  # that the choices made call for, beside the sheet's own


@dataclass(frozen=True, slots=True)
class Worksheet:
    """One calculation. ``sources`` are keys of ``science.sources``; ``valid`` says in words where it holds."""

    name: str
    title: str
    subject: str
    purpose: str
    inputs: tuple[AnyInput, ...]
    outputs: tuple[Output, ...]
    compute: Callable[..., Answer]
    sources: tuple[str, ...]
    valid: str
    cautions: tuple[str, ...] = ()

    def input(self, key: str) -> AnyInput:
        """The input of a key or of its short name; raises KeyError."""
        for item in self.inputs:
            if key in (item.key, item.name):
                return item
        raise KeyError(key)


def step(label: str, formula: str, result: Amount, source: str, **terms: Term) -> Step:
    return Step(label, formula, result, source, terms)


def amount(quantity: str, value: float) -> Amount:
    """An amount of a known quantity; raises KeyError for an unknown one."""
    QUANTITIES[quantity]
    return Amount(quantity, value)


# Cautions said in many places (design: at the place of use; local codes and licensed practice decide).
LIMEWATER = (
    "Limewater is strongly caustic, above pH 12: gloves and goggles. Never dump it or its sediment into the display."
)
CAUSTIC = "Caustic powder or solution: gloves and goggles; add the salt to the water, never the water to the salt."
CO2_GAS = "CO₂ can suffocate in a closed plant room: ventilate first, keep the gas alarm on, trust no smell."
MAINS = (
    "Electricity near water: residual-current protection on each circuit; isolate before hands or tools go near. "
    "Mains wiring only by a licensed trade under the local code."
)
REFRIGERANT = "Refrigerant circuits only by a licensed trade under the local code."
BUILDING_WATER = "Connections to building chilled water only by its licensed trade, with the building's leave."
STRUCTURE = "A structural engineer must check and sign floor and panels; this is an indication only."
LIFTING = "Heavy: two people or a lifting aid; never lift above a tank edge alone."
STINGS = "Some corals carry palytoxin and some animals sting: gloves and eye protection; never boil rock or corals."
