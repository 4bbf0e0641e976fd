"""Correction doses: what mass of a product moves a parameter, in safe steps.

mass_g = volume_l × change × g per unit and litre, where for a salt with molar mass M giving n units
of the element per formula: mg/L need M/(n·M_element)/1000 g per L, and for alkalinity M/eq/1000 g per
L and meq/L (stoichiometry; molar masses in ``molar``).
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import ceil
from typing import Any

from servicedesk.science.guard import ScienceError, positive
from servicedesk.science.water import molar
from servicedesk.science.words import Amount, say

HOURS_BETWEEN_PORTIONS = 6
FIRST_HOUR_MIN = 9 * 60
MAX_PORTIONS_PER_DAY = 3  # 9, 15 and 21 o’clock: nobody doses by hand at three in the morning
FLUSH_ML = 250.0


@dataclass(frozen=True, slots=True)
class Product:
    """A salt or solution that raises a parameter.

    ``g_per_l_unit``: grams for one litre of system water and one canonical unit of the parameter.
    ``max_step``: the greatest single addition in canonical units (common practice).
    ``solubility_g_l``: what dissolves safely in a litre at 20 °C; jugs are planned at 60 % of it.
    """

    key: str
    name: str
    parameter: str
    g_per_l_unit: float
    max_step: float
    solubility_g_l: float
    place: str
    cautions: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


SUMP = "into the sump by the return, in strong flow"
APART = "Keep calcium and alkalinity additions apart in place and by at least six hours."
GLOVES = "Wear gloves and goggles; keep the dust out of eyes and lungs."

_ALL = (
    Product("nahco3", "sodium bicarbonate", "alkalinity", molar.NAHCO3 / 1000, 0.2, 96.0, SUMP, (APART,)),
    Product(
        "na2co3",
        "sodium carbonate",
        "alkalinity",
        molar.NA2CO3 / 2 / 1000,
        0.1,
        215.0,
        SUMP,
        ("Caustic: gloves and goggles.", "Raises pH at once; a big step precipitates.", APART),
    ),
    Product(
        "caoh2",
        "calcium hydroxide (limewater)",
        "alkalinity",
        molar.CAOH2 / 2 / 1000,
        0.05,
        1.5,
        "as clear limewater through the top-off, slowly, at night; never dumped",
        (
            "Strongly caustic, pH above 12: gloves and goggles.",
            "Never dump limewater or its sediment into the display.",
        ),
    ),
    Product(
        "cacl2_2h2o",
        "calcium chloride dihydrate",
        "calcium",
        molar.CACL2_2H2O / molar.CA / 1000,
        10.0,
        700.0,
        SUMP,
        ("Warms the water as it dissolves: add the salt to the water, not the water to the salt.", GLOVES, APART),
    ),
    Product(
        "cacl2",
        "calcium chloride, anhydrous",
        "calcium",
        molar.CACL2 / molar.CA / 1000,
        10.0,
        600.0,
        SUMP,
        ("Heats strongly as it dissolves: small portions into cold water, stir, goggles.", APART),
    ),
    Product(
        "mgcl2_6h2o",
        "magnesium chloride hexahydrate",
        "magnesium",
        molar.MGCL2_6H2O / molar.MG / 1000,
        25.0,
        500.0,
        SUMP,
        (),
    ),
    Product(
        "mgso4_7h2o",
        "magnesium sulphate heptahydrate",
        "magnesium",
        molar.MGSO4_7H2O / molar.MG / 1000,
        25.0,
        350.0,
        SUMP,
        ("Sulphate builds up if used alone for long.",),
    ),
    Product(
        "srcl2_6h2o",
        "strontium chloride hexahydrate",
        "strontium",
        molar.SRCL2_6H2O / molar.SR / 1000,
        0.5,
        500.0,
        SUMP,
        (GLOVES,),
    ),
    Product("kcl", "potassium chloride", "potassium", molar.KCL / molar.K / 1000, 10.0, 200.0, SUMP, ()),
    Product(
        "ki",
        "potassium iodide",
        "iodide",
        molar.KI / molar.I / 1000,
        0.005,
        500.0,
        SUMP,
        ("Weigh on a fine balance; an overdose of iodide harms.",),
    ),
    Product(
        "h3bo3",
        "boric acid",
        "boron",
        molar.H3BO3 / molar.B / 1000,
        0.5,
        40.0,
        SUMP,
        (GLOVES, "Lowers the pH a little; raises the alkalinity a test reads without feeding calcification."),
    ),
)
PRODUCTS: dict[str, Product] = {product.key: product for product in _ALL}
USUAL_PRODUCT = {
    "alkalinity": "nahco3",
    "calcium": "cacl2_2h2o",
    "magnesium": "mgcl2_6h2o",
    "strontium": "srcl2_6h2o",
    "potassium": "kcl",
    "iodide": "ki",
    "boron": "h3bo3",
}


@dataclass(frozen=True, slots=True)
class Portion:
    """One addition: day counted from today, minutes from midnight, mass, water to dissolve it in."""

    day: int
    at_min: int
    mass_g: float
    dissolve_l: float


@dataclass(frozen=True, slots=True)
class Correction:
    """The whole plan of a correction in canonical units; ``change_per_day`` never exceeds the limit."""

    parameter: str
    product: Product
    change: float
    change_per_day: float
    days: int
    mass_g: float
    portions: tuple[Portion, ...]

    @property
    def today(self) -> tuple[Portion, ...]:
        return tuple(portion for portion in self.portions if portion.day == 0)

    @property
    def mass_today_g(self) -> float:
        return sum(portion.mass_g for portion in self.today)


def dose_mass_g(product: Product, volume_l: float, change: float, purity: float = 1.0) -> float:
    """Mass for a rise of ``change`` canonical units in ``volume_l`` litres.

    >>> round(dose_mass_g(PRODUCTS["nahco3"], 1000, 1.0), 1)
    84.0
    """
    positive("net volume", volume_l)
    if change < 0:
        raise ScienceError("A dose only raises; the change must not be negative.")
    if not 0 < purity <= 1:
        raise ScienceError("Purity lies above 0 and up to 1.")
    return product.g_per_l_unit * volume_l * change / purity


def rise(product: Product, volume_l: float, mass_g: float, purity: float = 1.0) -> float:
    """What a mass raises the parameter by: the inverse of ``dose_mass_g``."""
    positive("net volume", volume_l)
    return mass_g * purity / (product.g_per_l_unit * volume_l)


def plan_correction(
    *,
    parameter: str,
    current: float,
    target: float,
    volume_l: float,
    product: Product,
    rise_per_day: float,
    purity: float = 1.0,
    start_min: int = FIRST_HOUR_MIN,
) -> Correction | None:
    """The plan that raises ``current`` to ``target``, or None when nothing needs raising.

    The change a day is at most ``rise_per_day``, and each portion at most the product's greatest
    step; with at most three portions a day the smaller of the two rules.
    """
    if product.parameter != parameter:
        raise ScienceError(f"{product.name} does not raise {parameter}.")
    positive("greatest safe change a day", rise_per_day)
    positive("net volume", volume_l)
    change = target - current
    if change <= 0:
        return None
    limit = min(rise_per_day, product.max_step * MAX_PORTIONS_PER_DAY)
    days = max(1, ceil(round(change / limit, 9)))
    per_day = change / days
    portions_per_day = max(1, ceil(round(per_day / product.max_step, 9)))
    mass_g = dose_mass_g(product, volume_l, change, purity)
    each = mass_g / days / portions_per_day
    dissolve = max(each / (0.6 * product.solubility_g_l), FLUSH_ML / 1000)
    portions = tuple(
        Portion(
            *divmod(start_min + day * 1440 + number * HOURS_BETWEEN_PORTIONS * 60, 1440),
            mass_g=each,
            dissolve_l=_round_up(dissolve),
        )
        for day in range(days)
        for number in range(portions_per_day)
    )
    return Correction(parameter, product, change, per_day, days, mass_g, portions)


def user_product_by_volume(
    *, key: str, name: str, parameter: str, rise: float, ml: float, per_l: float, max_step: float
) -> Product:
    """A solution that says "``ml`` millilitres in ``per_l`` litres raise by ``rise``"; its mass is counted in mL."""
    for word, value in (("stated rise", rise), ("stated millilitres", ml), ("stated litres", per_l)):
        positive(word, value)
    return Product(key, name, parameter, ml / per_l / rise, max_step, 1000.0, SUMP)


@dataclass(frozen=True, slots=True)
class Stock:
    """A jug of solution: grams to weigh, what a millilitre raises, and how full of salt it is (0–1)."""

    mass_g: float
    rise_per_ml_in_litre: float
    of_solubility: float


def stock_solution(product: Product, volume_l: float, strength_g_l: float) -> Stock:
    """Weigh for ``volume_l`` of finished solution of ``strength_g_l``. Raises ValueError above what dissolves."""
    positive("volume", volume_l)
    positive("strength", strength_g_l)
    if strength_g_l > product.solubility_g_l:
        raise ScienceError(
            say(
                "Only about {strength} of {product} dissolve at 20 °C.",
                strength=Amount("strength", product.solubility_g_l),
                product=product.name,
            )
        )
    return Stock(
        strength_g_l * volume_l, strength_g_l / 1000 / product.g_per_l_unit, strength_g_l / product.solubility_g_l
    )


def products_for(parameter: str) -> Mapping[str, Product]:
    return {key: product for key, product in PRODUCTS.items() if product.parameter == parameter}


def _round_up(volume_l: float) -> float:
    """To a quarter litre: what a jug shows."""
    return ceil(round(volume_l * 4, 6)) / 4
