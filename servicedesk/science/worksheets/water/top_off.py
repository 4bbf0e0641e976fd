"""Worksheet of top-off."""

from dataclasses import replace

from servicedesk.science.plant.backflow import reservoir_for_salinity_l
from servicedesk.science.water import top_off
from servicedesk.science.words import say
from servicedesk.science.worksheets.declare import Answer, Input, Listing, Output, Rows, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import EVAPORATION, VOLUME
from servicedesk.science.worksheets.water.exchange import SALINITY, SUBJECT

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def top_off_plan(
    *,
    volume_l: float,
    evaporation_l_day: float,
    months: tuple[tuple[float], ...],
    days_away: float,
    reserve_d: float,
    wet_skim_l_day: float,
    bearable: float,
    reservoir_l: float | None,
    salinity: float,
) -> Answer:
    year = top_off.evaporation_year([row[0] for row in months]) if months else None
    rate = year.worst_l_day if year else evaporation_l_day
    needed = top_off.reservoir_l(evaporation_l_day=rate + wet_skim_l_day, days=days_away + reserve_d)
    stuck = reservoir_for_salinity_l(volume_l=volume_l, salinity=salinity, fall=bearable)
    lost_l = rate * days_away
    missed = None
    if lost_l <= volume_l / 2:
        missed = top_off.salinity_after_missed(salinity=salinity, volume_l=volume_l, evaporated_l=lost_l)
    limit_d = top_off.days_to_rise(salinity=salinity, rise=bearable, volume_l=volume_l, evaporation_l_day=rate)
    fall = top_off.salinity_fall_from_skimming(salinity=salinity, volume_l=volume_l, wet_l_day=wet_skim_l_day)
    do = [say("Keep {needed} of RO water ready on the worst day: {days} without a visit and {reserve} in reserve.",
              needed=amount("volume", needed), days=amount("days", days_away),
              reserve=amount("days", reserve_d))]  # fmt: skip
    flags = []
    if needed > stuck:
        do.append(say("Never let one valve empty it all: let the top-off pump run from a day tank of at most {stuck}, "
                      "refilled by a timer or by hand.", stuck=amount("volume", stuck)))  # fmt: skip
    if reservoir_l is not None:
        do.append(say("The reservoir in use lasts {days} on the worst day.",
                      days=amount("days", reservoir_l / (rate + wet_skim_l_day))))  # fmt: skip
        if reservoir_l > stuck:
            flags.append(say("A stuck valve would bring the salinity down to {low}.", low=amount(
                "salinity", top_off.salinity_after_flood(salinity=salinity, volume_l=volume_l, added_l=reservoir_l)
            )))  # fmt: skip
    if missed is None:
        flags.append(say("Without top-off more than half the water would be gone before the next visit: pumps run dry long "
                         "before."))  # fmt: skip
    if limit_d < days_away:
        flags.append(say("If top-off fails right after a visit the salinity has risen by {bearable} PSS after {limit}, "
                         "before the next one: put an alarm on the level.", bearable=f"{bearable:g}",
                         limit=amount("days", limit_d)))  # fmt: skip
    if wet_skim_l_day:
        flags.append(say("Fresh water in place of {wet} of skimmate lowers the salinity by {fall} PSS a week: replace "
                         "it with salt water.", wet=amount("volume_per_day", wet_skim_l_day),
                         fall=f"{7 * fall:.2f}"))  # fmt: skip
    return Answer(
        values={
            "reservoir_needed_l": needed,
            "worst_l_day": rate,
            "largest_l": stuck,
            "missed_salinity": missed,
            "limit_d": limit_d,
            "year_l": year.whole_l if year else None,
        },
        do=tuple(do),
        steps=(
            step("Reservoir", "({evaporation} + {skimming}) × ({days} + {reserve})", amount("volume", needed),
                 "mass balance", evaporation=amount("volume_per_day", rate),
                 skimming=amount("volume_per_day", wet_skim_l_day), days=amount("days", days_away),
                 reserve=amount("days", reserve_d)),
            step("Largest that may run in at once", "{volume} × {bearable} ÷ ({salinity} − {bearable})",
                 amount("volume", stuck), "mass balance", volume=amount("volume", volume_l),
                 bearable=amount("ratio", bearable), salinity=amount("salinity", salinity)),
            *(() if missed is None else (
                step("Salinity after a whole span without top-off", "{salinity} × {volume} ÷ ({volume} − {lost})",
                     amount("salinity", missed), "mass balance", salinity=amount("salinity", salinity),
                     volume=amount("volume", volume_l), lost=amount("volume", lost_l)),
            )),
            step("Days until the bearable rise", "{volume} × {bearable} ÷ ({salinity} + {bearable}) ÷ {evaporation}",
                 amount("days", limit_d), "mass balance", volume=amount("volume", volume_l),
                 bearable=amount("ratio", bearable), salinity=amount("salinity", salinity),
                 evaporation=amount("volume_per_day", rate)),
        ),
        flags=tuple(flags),
        listings=(_year_list(year, days_away + reserve_d, wet_skim_l_day),) if year else (),
    )  # fmt: skip


def _year_list(year: top_off.EvaporationYear, days: float, wet_skim_l_day: float) -> Listing:
    """Top-off by month and the water to keep ready."""
    rows = tuple(
        (
            name,
            amount("volume_per_day", rate),
            amount("volume", rate * length),
            amount("volume", (rate + wet_skim_l_day) * days),
        )
        for name, rate, length in zip(MONTHS, year.monthly_l_day, top_off.DAYS_IN_MONTH, strict=True)
    )
    return Listing("Over the year", ("Month", "Evaporation", "In the month", "Keep ready"), rows)


SHEETS = (
    Worksheet(
        name="top-off",
        title="Top-off",
        subject=SUBJECT,
        purpose="Fresh water to keep ready over the year, and what a missed or stuck top-off does.",
        inputs=(
            VOLUME,
            replace(EVAPORATION, low=0.01),
            Rows("months", "Evaporation by month, or by season from winter, a line each",
                 (replace(EVAPORATION, label="Evaporation", recall=""),), 0, 12,
                 help="Twelve months from January, or winter, spring, summer, autumn. When typed, its worst counts."),
            Input("days_away", "Days from visit to visit", "days", 0.5, 90, 7),
            Input("reserve_d", "Days in reserve", "days", 0, 60, 3),
            Input("wet_skim_l_day", "Skimmate and spill replaced by fresh water", "volume_per_day", 0, 1000, 0,
                  detail=True),
            Input("bearable", "Change of salinity that is bearable, PSS", "ratio", 0.1, 5, 1, detail=True),
            Input("reservoir_l", "Reservoir in use", "volume", 0.1, 1e6, optional=True,
                  recall="plant.top_off.capacity"),
            SALINITY,
        ),
        outputs=(
            Output("reservoir_needed_l", "Water to keep ready", "volume", main=True),
            Output("worst_l_day", "Evaporation that counts", "volume_per_day"),
            Output("largest_l", "Largest that may run in at once", "volume", main=True),
            Output("missed_salinity", "Salinity after a whole span without top-off", "salinity"),
            Output("limit_d", "Days until the bearable rise", "days"),
            Output("year_l", "Evaporation over the year", "volume"),
        ),
        compute=top_off_plan,
        sources=("mass balance", "common practice"),
        valid="Salt stays when water evaporates; splash and salt creep are small.",
    ),
)  # fmt: skip
