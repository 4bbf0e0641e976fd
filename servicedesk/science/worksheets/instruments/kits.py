"""Worksheets of photometer and titration kits."""

from math import inf

from servicedesk.science.instruments import kits
from servicedesk.science.instruments.measured import Measured
from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.words import Amount, Say, Term, say
from servicedesk.science.worksheets.declare import Answer, Choice, Input, Output, Worksheet, amount, step

SPECIES = tuple(  # "nitrate mg_L_N" → "Nitrate, mg/L NO₃-N"
    (f"{parameter} {unit.key}", f"{parameter.capitalize()}, {unit.label}")
    for parameter, keys in kits.SPECIES.items()
    for unit in QUANTITIES[parameter]
    if unit.key in keys
)
WASTE = (
    "Kit reagents hold acids, heavy metals or dyes: gloves and goggles; used tests go into the waste bottle, "
    "never into the tank."
)


def reading(
    *,
    reads: str,
    reading: float,
    sign: str,
    blank: float,
    blank_sd: float,
    dilution: float,
    repeats: float,
    resolution: float,
    detection: float,
    own_sd: float | None,
    share_pct: float | None,
) -> Answer:
    parameter, unit = reads.split()
    found = kits.measure(
        parameter=parameter,
        unit=unit,
        reading=reading,
        is_below=sign == "below",
        blank=blank,
        blank_sd=blank_sd,
        dilution=dilution,
        resolution=resolution,
        detection=detection,
        sd=own_sd,
        sd_share=None if share_pct is None else share_pct / 100,
        repeats=round(repeats),
    )
    one = kits.canonical(parameter, unit, 1.0)
    net = max(reading - blank, 0.0)
    own = kits.own_error(parameter, unit) if own_sd is None else own_sd
    own_share_pct = 100 * kits.PRECISION[parameter][1] if share_pct is None else share_pct
    return Answer(
        values=_values(parameter, found),
        do=(_kit_order(parameter, found, dilution),),
        steps=(
            step(
                "Less the blank",
                "{reading} − {blank}",
                amount("ratio", net),
                "mass balance",
                reading=amount("ratio", reading),
                blank=amount("ratio", blank),
            ),
            step(
                "In the canonical unit",
                "the bound × {dilution} × {factor}" if found.below else "{net} × {dilution} × {factor}",
                Amount(parameter, found.value),
                "stoichiometry",
                net=amount("ratio", net),
                dilution=amount("ratio", dilution),
                factor=amount("ratio", one),
            ),
            step(
                "Standard error",
                "a value anywhere under the bound: {bound} ÷ √12"
                if found.below
                else "√(({own}² + ({share} × {net} ÷ 100)² + {step}² ÷ 12) ÷ {repeats} + {blank}²) × {dilution} × {factor}",
                Amount(parameter, found.sd),
                "JCGM 100",
                bound=Amount(parameter, found.value),
                own=amount("ratio", own),
                share=amount("percent_fine", own_share_pct),
                net=amount("ratio", net),
                step=amount("ratio", resolution),
                blank=amount("ratio", blank_sd),
                repeats=amount("count", repeats),
                dilution=amount("ratio", dilution),
                factor=amount("ratio", one),
            ),
        ),
        flags=_kit_flags(parameter, found, reading, blank),
    )


def titration(
    *,
    parameter: str,
    titrant_ml: float,
    blank_ml: float,
    strength_mol_l: float,
    sample_ml: float,
    step_ml: float,
) -> Answer:
    found = kits.measure_titration(
        parameter=parameter,
        titrant_ml=titrant_ml,
        titrant_mol_l=strength_mol_l,
        sample_ml=sample_ml,
        blank_ml=blank_ml,
        step_ml=step_ml,
    )
    return Answer(
        values=_values(parameter, found),
        do=(
            say(
                "Write down {name} {value}, give or take {sd}.",
                name=parameter,
                value=Amount(parameter, found.value),
                sd=Amount(parameter, found.sd),
            ),
            *(
                (say("Less than 1 mL was used: take a larger sample, the drop is most of the error."),)
                if titrant_ml < 1
                else ()
            ),
        ),
        steps=(
            step(
                "Concentration",
                "({titrant} − {blank}) × {strength} × {per_mole} ÷ {sample}",
                Amount(parameter, found.value),
                "stoichiometry",
                titrant=amount("drop", titrant_ml),
                blank=amount("drop", blank_ml),
                strength=amount("titrant", strength_mol_l),
                per_mole=amount("ratio", kits.TITRATED[parameter]),
                sample=amount("drop", sample_ml),
            ),
        ),
        flags=(
            *(
                (
                    say(
                        "EDTA takes calcium and magnesium together: for magnesium take the calcium’s volume off as the blank."
                    ),
                )
                if parameter == "magnesium"
                else ()
            ),
            *_no_reef(parameter, found),
        ),
    )


def _values(parameter: str, found: Measured) -> dict[str, float | str | Amount | None]:
    return {
        "value": Amount(parameter, found.value),
        "sd": Amount(parameter, found.sd),
        "kept_as": "a bound: the true value is below it" if found.below else "a measured value",
    }


def _kit_order(parameter: str, found: Measured, dilution: float) -> Say:
    terms: dict[str, Term] = {"name": parameter, "value": Amount(parameter, found.value)}
    if found.below:
        more = " Take the sample undiluted to see more." if dilution > 1 else ""
        return say("Write down {name} < {value}: below what the kit sees; do not write nought." + more, **terms)
    return say("Write down {name} {value}, give or take {sd}.", sd=Amount(parameter, found.sd), **terms)


def _kit_flags(parameter: str, found: Measured, reading: float, blank: float) -> tuple[Say, ...]:
    flags = []
    if blank > reading:
        flags.append(say("The blank reads more than the sample: dirty cuvette or wrong order. Repeat both."))
    if not found.below and found.value and found.sd > 0.4 * found.value:
        flags.append(
            say("The error is {sd} of {value}: repeat three times, or use a kit for low values.",
                sd=Amount(parameter, found.sd), value=Amount(parameter, found.value))
        )  # fmt: skip
    return (*flags, *_no_reef(parameter, found))


def _no_reef(parameter: str, found: Measured) -> tuple[Say, ...]:
    """A value no reef is kept at is mostly a wrong species, sample, strength or dilution."""
    low, high = USUAL.get(parameter, (0.0, inf))
    if found.below or low <= found.value <= high:
        return ()
    return (say("{value} of {name} is unusual for a reef: check what the kit reads, sample, dilution and strength.",
                value=Amount(parameter, found.value), name=parameter),)  # fmt: skip


OUTPUTS = (
    Output("value", "True value", main=True),
    Output("sd", "Standard error"),
    Output("kept_as", "Kept as"),
)
USUAL = {  # common practice
    "alkalinity": (1.5, 6.0), "calcium": (300.0, 600.0), "magnesium": (1000.0, 1700.0), "potassium": (300.0, 500.0),
    "nitrate": (0.0, 100.0), "phosphate": (0.0, 1.0), "ammonia": (0.0, 1.0), "nitrite": (0.0, 1.0),
}  # fmt: skip
OWN = "In the unit the kit shows."

SHEETS = (
    Worksheet(
        name="kit-reading",
        title="What a photometer or colour kit means",
        subject="Instruments",
        purpose="The value in the usual unit with its error, from the display, its species, the blank and the dilution.",
        inputs=(
            Choice("reads", "The kit reads", SPECIES, "nitrate mg_L", recall="instrument.species"),
            Input("reading", "The display shows", "ratio", 0, 1e5),
            Choice("sign", "Shown as", (("value", "A number"), ("below", "“<” that number, or under range")), "value"),
            Input("blank", "Reagent blank", "ratio", -1e3, 1e3, default=0, recall="instrument.blank",
                  help="What it shows for pure water with this lot of reagent. " + OWN),
            Input("dilution", "Diluted to, times the sample", "ratio", 1, 100, default=1,
                  help="10 mL of sample made up to 50 mL: 5."),
            Input("repeats", "Mean of how many readings", "count", 1, 20, default=1),
            Input("resolution", "Last digit or colour step", "ratio", 0, 1e3, default=0, recall="instrument.resolution",
                  help=OWN, detail=True),
            Input("detection", "Lowest value it can tell", "ratio", 0, 1e3, default=0, recall="instrument.detection",
                  help=OWN, detail=True),
            Input("own_sd", "Its own error", "ratio", 0, 1e3, optional=True, recall="instrument.sd",
                  help=OWN + " Empty: common for the parameter.", detail=True),
            Input("share_pct", "and in % of the value", "percent_fine", 0, 50, optional=True,
                  recall="instrument.sd_pct", detail=True),
            Input("blank_sd", "Error of the blank", "ratio", 0, 1e3, default=0, recall="instrument.blank_sd",
                  help=OWN, detail=True),
        ),
        outputs=OUTPUTS,
        compute=reading,
        sources=("stoichiometry", "JCGM 100", "mass balance", "common practice"),
        valid="Readings within the range of the kit; dilution with salt-free water only for kits that allow it.",
        cautions=(WASTE,),
    ),
    Worksheet(
        name="titration-reading",
        title="What a titration means",
        subject="Instruments",
        purpose="Alkalinity, calcium or magnesium from the titrant used, with its error.",
        inputs=(
            Choice("parameter", "Titrated for", (("alkalinity", "Alkalinity, with acid"), ("calcium", "Calcium, with EDTA"),
                   ("magnesium", "Magnesium, with EDTA")), "alkalinity", recall="instrument.titrated"),
            Input("titrant_ml", "Titrant used", "drop", 0, 1000),
            Input("strength_mol_l", "Strength of the titrant", "titrant", 0.0001, 2, default=0.1,
                  recall="instrument.titrant_mol_l", help="Acid: moles of H⁺ a litre."),
            Input("sample_ml", "Sample", "drop", 0.5, 1000, default=50, recall="instrument.sample_ml"),
            Input("blank_ml", "Titrant used by the blank", "drop", 0, 1000, default=0, recall="instrument.blank",
                  detail=True),
            Input("step_ml", "Drop, or division of the burette", "drop", 0, 10, default=0.05,
                  recall="instrument.resolution", detail=True),
        ),
        outputs=OUTPUTS,
        compute=titration,
        sources=("stoichiometry", "JCGM 100"),
        valid="A sharp end point; total alkalinity to pH 4.5 or by colour change.",
        cautions=(WASTE,),
    ),
)  # fmt: skip
