"""Worksheets of consumption: what the animals used between two readings, and whether the uses fit together."""

from dataclasses import replace
from math import ceil

from servicedesk.science.guard import ScienceError
from servicedesk.science.water.demand import CALCIUM_PER_MEQ, calcium_ratio, demand
from servicedesk.science.water.demand import Input as Added
from servicedesk.science.water.salinity import at_salinity
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Input, Output, Rows, Step, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import SALINITY, VOLUME

SUBJECT = "Consumption"
PER_DAY_STEPS = 4
# parameter: (suffix, quantity a day, quantity of a supply, its suffix, low, high, error of a reading, a gram in units)
MEASURED = {
    "alkalinity": ("meq_l", "alkalinity_per_day", "equivalents_per_day", "meq_day", 0.3, 12.0, 0.07, 1.0),
    "calcium": ("mg_l", "ion_per_day", "mass_per_day", "g_day", 50.0, 1500.0, 10.0, 1000.0),
    "magnesium": ("mg_l", "ion_per_day", "mass_per_day", "g_day", 100.0, 3000.0, 25.0, 1000.0),
}


def _sheet(parameter: str) -> Worksheet:
    suffix, daily, supply, supply_suffix, low, high, sd, per_gram = MEASURED[parameter]
    used_key = f"used_{suffix}_day"
    error_key = f"error_{suffix}_day"

    def compute(*, volume_l: float, days_d: float, additions: tuple[tuple[float, float], ...],
                changes: tuple[tuple[float, float, float], ...], volume_error_pct: float,
                first_salinity: float | None, second_salinity: float | None, **given: float) -> Answer:  # fmt: skip
        first, second = given[f"first_{suffix}"], given[f"second_{suffix}"]
        read = second
        if first_salinity is not None and second_salinity is not None:
            second = at_salinity(second, salinity=second_salinity, wanted=first_salinity)
        elif first_salinity is not None or second_salinity is not None:
            missing = "first_salinity" if first_salinity is None else "second_salinity"
            raise ScienceError("Type the salinity of both readings, or of neither.", missing)
        reading_sd = given[f"reading_sd_{suffix}"]
        supplied = given[f"supplied_{supply_suffix}"] * per_gram / volume_l
        pieces = ceil(days_d * PER_DAY_STEPS)
        inputs = [
            *(Added((index + 0.5) * days_d / pieces, rise=supplied * days_d / pieces) for index in range(pieces)),
            *(Added(day, rise=rise) for day, rise in additions),
            *(Added(day, fraction=share / 100, fresh=fresh) for day, share, fresh in changes),
        ]
        found = demand(
            first=first,
            second=second,
            days=days_d,
            sd=reading_sd,
            inputs=inputs,
            volume_error=volume_error_pct / 100,
        )
        single = sum(rise for _, rise in additions)
        dosed = supplied * days_d + single
        exchanged = found.predicted - first - dosed
        return Answer(
            values={used_key: found.per_day, error_key: found.error, "used_total": found.per_day * days_d},
            do=_words(parameter, daily, found.per_day, found.error, supplied),
            steps=(
                *_salinity_step(parameter, read, second, first_salinity, second_salinity),
                step(
                    "Put in between the readings",
                    "{supply} × {days} + {single_additions}",
                    amount(parameter, dosed),
                    "mass balance",
                    supply=amount(daily, supplied),
                    days=amount("days", days_d),
                    single_additions=amount(parameter, single),
                ),
                step(
                    "Second reading had nothing been used",
                    "{first} + {put_in} + ({by_water_changes})",
                    amount(parameter, found.predicted),
                    "mass balance",
                    first=amount(parameter, first),
                    put_in=amount(parameter, dosed),
                    by_water_changes=amount(parameter, exchanged),
                ),
                step(
                    "Days that count",
                    "{days}, those before a water change less its share",
                    amount("days", found.counted_days),
                    "mass balance",
                    days=amount("days", days_d),
                ),
                step(
                    "Used a day",
                    "({unused} − {second}) ÷ {days_that_count}",
                    amount(daily, found.per_day),
                    "mass balance",
                    unused=amount(parameter, found.predicted),
                    second=amount(parameter, second),
                    days_that_count=amount("days", found.counted_days),
                ),
                step(
                    "Standard error",
                    "√(2 × ({reading})² + ({volume_error} ÷ 100 × {put_in})²) ÷ {days_that_count}",
                    amount(daily, found.error),
                    "mass balance",
                    reading=amount(parameter, reading_sd),
                    volume_error=amount("percent", volume_error_pct),
                    put_in=amount(parameter, dosed),
                    days_that_count=amount("days", found.counted_days),
                ),
            ),
            flags=_flags(found.per_day, found.error),
        )

    return Worksheet(
        name=f"{parameter}-demand",
        title=f"{parameter.capitalize()} used a day",
        subject=SUBJECT,
        purpose="What the animals used between two readings, net of every addition and water change, with its error.",
        inputs=(
            VOLUME,
            Input(f"first_{suffix}", "First reading", parameter, low, high, recall=f"previous.{parameter}"),
            Input(f"second_{suffix}", "Second reading", parameter, low, high, recall=f"reading.{parameter}"),
            Input("days_d", "Days between", "days", 0.5, 120, recall=f"between.{parameter}"),
            Input(f"supplied_{supply_suffix}", "Steady supply (reactor, dosers, limewater)", supply, 0, 1e6, default=0),
            Rows(
                "additions",
                "Single additions",
                (
                    Input("day", "day", "days", 0, 120),
                    Input("rise", f"rise ({'meq/L' if parameter == 'alkalinity' else 'mg/L'})", parameter, 0, high),
                ),
                least=0,
                help="One a line: days after the first reading, and the rise it was dosed for.",
                detail=True,
            ),
            Rows(
                "changes",
                "Water changes",
                (
                    Input("day", "day", "days", 0, 120),
                    Input("share", "share (%)", "percent", 0, 100),
                    Input("fresh", "level of the new water", parameter, 0, high),
                ),
                least=0,
                help="One a line: days after the first reading, share of the water in %, level of the new water.",
                detail=True,
            ),
            replace(SALINITY, key="first_salinity", label="Salinity at the first reading", default=None, optional=True, recall="", detail=True,
                    help="When the salinity moved between the readings: the second is told at that of the first."),
            replace(SALINITY, key="second_salinity", label="Salinity at the second reading", default=None, optional=True, recall="",
                    detail=True),
            Input(f"reading_sd_{suffix}", "Error of one reading (1 sd)", parameter, 0, high / 4, default=sd,
                  help="Common practice; the method's own if known.", recall=f"sd.{parameter}", detail=True),
            Input("volume_error_pct", "Error of the net volume", "percent", 0, 50, default=5, detail=True),
        ),
        outputs=(
            Output(used_key, "Used a day", daily, main=True),
            Output(error_key, "Standard error", daily),
            Output("used_total", "Used in all", parameter),
        ),
        compute=compute,
        sources=("mass balance", "common practice"),
        valid="Use constant between the readings. Type both salinities when evaporation, wet skimming or a leak moved "
        "it; what salt mix and water changes did is counted already.",
    )  # fmt: skip


def _salinity_step(
    parameter: str, read: float, second: float, first_salinity: float | None, second_salinity: float | None
) -> tuple[Step, ...]:
    if first_salinity is None or second_salinity is None:
        return ()
    return (
        step("Second reading at the salinity of the first", "{reading} × {first_salinity} ÷ {second_salinity}",
             amount(parameter, second), "mass balance", reading=amount(parameter, read),
             first_salinity=amount("salinity", first_salinity), second_salinity=amount("salinity", second_salinity)),
    )  # fmt: skip


def _words(parameter: str, daily: str, used: float, error: float, supplied: float) -> tuple[Say, ...]:
    if used < -2 * error:
        return (say("Change nothing on this: a use of {used} cannot be. Repeat both readings, the second from a fresh sample, and "
                    "check what was put in.", used=amount(daily, used)),)  # fmt: skip
    first = say("The animals used {used} ± {error}.", used=amount(daily, used), error=amount(daily, error))
    short = used - supplied
    if abs(short) <= 2 * error:
        return (first, say("Leave the supply as it is: the difference lies within the error of the tests."))
    if short > 0:
        return (first, say("Raise the steady supply of {what} by {by}.", what=parameter, by=amount(daily, short)))
    if used <= 0:
        return (first, say("Stop the steady supply of {what} and read again in three days.", what=parameter))
    return (first, say("Lower the steady supply of {what} by {by}.", what=parameter, by=amount(daily, -short)))


def _flags(used: float, error: float) -> tuple[Say, ...]:
    if used < -2 * error:
        return (say("It rose by more than was put in: a reading, a titre, the salinity or the volume is wrong."),)
    if abs(used) < 2 * error:
        return (say("Not to be told from nothing: wait longer, or repeat the readings."),)
    return ()


VERDICTS = {
    "calcification": "The uses fit calcification.",
    "more alkalinity": (
        "More alkalinity went than calcium: look for nitrification without denitrification, an acid, "
        "a weak dose of alkalinity, or a wrong reading."
    ),
    "more calcium": "More calcium went than alkalinity: look for a strong dose of alkalinity or a wrong reading.",
    "too little used to tell": "Too little was used to tell: wait longer between the readings.",
}


def ratio(
    *,
    calcium_mg_l_day: float,
    calcium_error_mg_l_day: float,
    alkalinity_meq_l_day: float,
    alkalinity_error_meq_l_day: float,
) -> Answer:
    found = calcium_ratio(
        calcium_per_day=calcium_mg_l_day,
        calcium_error=calcium_error_mg_l_day,
        alkalinity_per_day=alkalinity_meq_l_day,
        alkalinity_error=alkalinity_error_meq_l_day,
    )
    told = found.mg_per_meq == found.mg_per_meq
    return Answer(
        values={
            "ratio": found.mg_per_meq if told else None,
            "ratio_error": found.error if told else None,
            "expected": CALCIUM_PER_MEQ,
            "verdict": found.verdict,
        },
        do=(say(VERDICTS[found.verdict]),),
        steps=(
            step(
                "Calcium for alkalinity in calcification",
                "40.078 ÷ 2 mg/meq",
                amount("ratio", CALCIUM_PER_MEQ),
                "stoichiometry",
            ),
            *(
                (
                    step(
                        "Measured (mg/meq)",
                        "{calcium} ÷ {alkalinity}",
                        amount("ratio", found.mg_per_meq),
                        "mass balance",
                        calcium=amount("ion_per_day", calcium_mg_l_day),
                        alkalinity=amount("alkalinity_per_day", alkalinity_meq_l_day),
                    ),
                )
                if told
                else ()
            ),
        ),
    )


SHEETS = (
    *(_sheet(parameter) for parameter in MEASURED),
    Worksheet(
        name="calcium-to-alkalinity",
        title="Do calcium and alkalinity fit together?",
        subject=SUBJECT,
        purpose="The ratio of the uses against that of calcification: "
        f"{CALCIUM_PER_MEQ:.2f} mg of calcium a milliequivalent.",
        inputs=(
            Input("calcium_mg_l_day", "Calcium used", "ion_per_day", -50, 100),
            Input("calcium_error_mg_l_day", "its standard error", "ion_per_day", 0, 50, default=1.0),
            Input("alkalinity_meq_l_day", "Alkalinity used", "alkalinity_per_day", -2, 3),
            Input("alkalinity_error_meq_l_day", "its standard error", "alkalinity_per_day", 0, 1, default=0.01),
        ),
        outputs=(
            Output("ratio", "Calcium per alkalinity, mg/meq", "ratio", main=True),
            Output("ratio_error", "its standard error", "ratio"),
            Output("expected", "Of calcification", "ratio"),
            Output("verdict", "It says"),
        ),
        compute=ratio,
        sources=("stoichiometry", "mass balance"),
        valid="Uses over the same days; both corrected for salinity.",
    ),
)
