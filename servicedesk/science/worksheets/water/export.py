"""Worksheets of nutrient export: carbon dosing and the harvest of algae."""

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import algae, carbon_dosing, oxygen
from servicedesk.science.words import Amount, Say, say
from servicedesk.science.worksheets.declare import (
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Listing,
    Output,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import VOLUME

SOLUTIONS = {  # density in kg/L and strength by mass in %, as usually bought: common practice
    "ethanol": (0.94, 33.3),  # spirit of 40 % by volume
    "acetic acid": (1.006, 5.0),  # white vinegar
    "glucose": (1.0, 100.0),  # dry powder
}
FLAMMABLE = "Spirit burns: keep it from flames and sparks, closed, and a small stock only."
HAZE = "Never without a running skimmer. Stop dosing at the first haze, white strings or gasping fish, and aerate."

WEEKLY_FALL = 0.2  # of the nitrate, common practice


def _pace_flags(nitrate_mg_l: float, target_mg_l: float, weekly_mg_l: float) -> tuple[Say, ...]:
    """Too fast a fall starves corals; under the target there is nothing to bring down."""
    if nitrate_mg_l < target_mg_l:
        return (say("Nitrate is under the target already: dose nothing until it has risen to {target}; then this dose holds it.",
                    target=amount("nitrate", target_mg_l)),)  # fmt: skip
    if weekly_mg_l > WEEKLY_FALL * nitrate_mg_l:
        return (say("Nitrate would fall by {fall} a week, more than a fifth of it: take longer.",
                    fall=amount("nitrate", weekly_mg_l)),)  # fmt: skip
    return ()


def carbon(
    *,
    volume_l: float,
    nitrate_mg_l: float,
    phosphate_mg_l: float,
    target_mg_l: float,
    weeks_d: float,
    load_g_day: float,
    substance: str,
    now_ml_day: float,
    lowest_mg_l: float | None,
    exchange_per_h: float,
    density_kg_l: float | None,
    strength_pct: float | None,
    yield_pct: float,
) -> Answer:
    usual = SOLUTIONS[substance]
    density = usual[0] if density_kg_l is None else density_kg_l
    strength = usual[1] if strength_pct is None else strength_pct
    fall = max(nitrate_mg_l - target_mg_l, 0.0)
    nitrate_g_day = fall * volume_l / 1000 / weeks_d + load_g_day
    if nitrate_g_day == 0:
        raise ScienceError("Nitrate is at or under the target: no carbon is needed.", "target_mg_l")
    share = yield_pct / 100
    mass = carbon_dosing.dose_for_nitrate_g_day(substance=substance, nitrate_g_day=nitrate_g_day, cell_yield=share)
    found = carbon_dosing.effect(substance=substance, mass_g_day=mass, cell_yield=share)
    goal_ml = carbon_dosing.volume_ml(mass_g=mass, density_g_ml=density, strength_pct=strength)
    start_ml = now_ml_day * 1.25 if now_ml_day else goal_ml / 4
    weeks = carbon_dosing.steps(start=min(start_ml, goal_ml), goal=goal_ml)
    per_ml = mass / goal_ml
    per_hour = found.oxygen_most_g * 1000 / 24 / volume_l
    dip = per_hour / exchange_per_h
    phosphate_needed = found.phosphate_g * 1000 / volume_l * weeks_d
    unit = "mass_per_day" if substance == "glucose" else "dose_per_day"
    return Answer(
        values={
            "goal_ml_day": goal_ml,
            "first_ml_day": weeks[0],
            "mass_g_day": mass,
            "oxygen_g_day": found.oxygen_most_g,
            "dip_mg_l": dip,
            "phosphate_mg_l": phosphate_needed,
        },
        do=(
            say(
                "Dose {first} this week, in at least four parts by day into the pump chamber of the sump before the "
                "skimmer, then raise it by a quarter each week to {goal}; the table gives the weeks."
                if weeks[0] < goal_ml
                else "Dose {goal} and no more, in at least four parts by day into the pump chamber of the sump before the "
                "skimmer.",
                first=amount(unit, weeks[0]),
                goal=amount(unit, goal_ml),
            ),
            _oxygen_order(lowest_mg_l, dip),
            say(
                "Measure nitrate and phosphate each week; at {target} nitrate halve the dose and hold.",
                target=amount("nitrate", target_mg_l),
            ),
        ),
        steps=(
            step(
                "Nitrate to take up",
                "({nitrate} − {target}) × {volume} ÷ 1000 ÷ {days} + {load}",
                amount("mass_per_day", nitrate_g_day),
                "mass balance",
                nitrate=amount("nitrate", nitrate_mg_l),
                target=amount("nitrate", min(target_mg_l, nitrate_mg_l)),
                volume=amount("volume", volume_l),
                days=amount("days", weeks_d),
                load=amount("mass_per_day", load_g_day),
            ),
            step(
                "Carbon source, pure",
                "{nitrate} ÷ 4.427 ÷ ({cod} × {cell_yield} ÷ 1.414 × 0.1238)",
                amount("mass_per_day", mass),
                "stoichiometry",
                nitrate=amount("mass_per_day", nitrate_g_day),
                cod=amount("ratio", carbon_dosing.cod_g_per_g(substance)),
                cell_yield=amount("ratio", share),
            ),
            step(
                "As bought",
                "{mass} ÷ ({density} × {strength} ÷ 100)",
                amount(unit, goal_ml),
                "common practice",
                mass=amount("mass_per_day", mass),
                density=amount("density", density),
                strength=amount("percent_fine", strength),
            ),
            step(
                "Oxygen used at most",
                "{mass} × {cod} × (1 − {cell_yield})",
                amount("mass_per_day", found.oxygen_most_g),
                "stoichiometry",
                mass=amount("mass_per_day", mass),
                cod=amount("ratio", carbon_dosing.cod_g_per_g(substance)),
                cell_yield=amount("ratio", share),
            ),
            step(
                "Oxygen lower by",
                "{used} × 1000 ÷ 24 ÷ {volume} ÷ {exchange}",
                amount("trace", dip),
                "mass balance",
                used=amount("mass_per_day", found.oxygen_most_g),
                volume=amount("volume", volume_l),
                exchange=amount("per_hour", exchange_per_h),
            ),
            step(
                "Phosphate taken up meanwhile",
                "{cells} × 0.02 × 3.066 × 1000 ÷ {volume} × {days}",
                amount("phosphate", phosphate_needed),
                "common practice",
                cells=amount("mass_per_day", found.cells_g),
                volume=amount("volume", volume_l),
                days=amount("days", weeks_d),
            ),
        ),
        flags=(
            *_phosphate_flag(phosphate_mg_l, phosphate_needed),
            *_pace_flags(nitrate_mg_l, target_mg_l, fall / weeks_d * 7),
        ),
        listings=(
            Listing(
                "Dose by week",
                ("Week", "A day", "Nitrate taken a day", "Oxygen used a day, at most"),
                tuple(
                    (str(week), amount(unit, dose), *_week_effect(substance, dose * per_ml, share))
                    for week, dose in enumerate(weeks, 1)
                ),
            ),
        ),
    )


def _week_effect(substance: str, mass_g_day: float, share: float) -> tuple[Amount, Amount]:
    found = carbon_dosing.effect(substance=substance, mass_g_day=mass_g_day, cell_yield=share)
    return amount("mass_per_day", found.nitrate_g), amount("mass_per_day", found.oxygen_most_g)


def _oxygen_order(lowest: float | None, dip: float) -> Say:
    if lowest is None:
        return say(
            "Before the first dose measure oxygen just before lights on: the full dose lowers it by up to {dip}, and it "
            "must stay above {limit}.",
            dip=amount("trace", dip),
            limit=amount("oxygen", oxygen.WARN_MG_L),
        )
    left = amount("oxygen", max(lowest - dip, 0.0))
    if lowest - dip < oxygen.WARN_MG_L:
        return say(
            "Do not go to the full dose: oxygen before lights on would fall to {left}, under {limit}. Give more air "
            "first, or stop at a week of the table whose oxygen the night can bear.",
            left=left,
            limit=amount("oxygen", oxygen.WARN_MG_L),
        )
    return say("Oxygen before lights on stays at {left} with the full dose: enough.", left=left)


def _phosphate_flag(now: float, needed: float) -> tuple[Say, ...]:
    if now >= needed:
        return ()
    return (
        say(
            "Phosphate runs out first: this needs {needed} and the water holds {now} (feed brings more). Without "
            "phosphate nitrate stops falling and corals starve; dose more slowly.",
            needed=amount("phosphate", needed),
            now=amount("phosphate", now),
        ),
    )


def harvest(
    *,
    volume_l: float,
    harvest_g: float,
    since_d: float,
    nitrate_mg_l: float,
    phosphate_mg_l: float,
    target_mg_l: float,
    dry_pct: float,
    nitrogen_pct: float,
    n_to_p: float,
) -> Answer:
    found = algae.harvest(wet_g=harvest_g, dry_pct=dry_pct, nitrogen_pct=nitrogen_pct, n_to_p=n_to_p)
    by_nitrate = found.nitrate_g / volume_l * 1000
    by_phosphate = found.phosphate_g / volume_l * 1000
    ratio = algae.no3_per_po4(n_to_p)
    fall = max(nitrate_mg_l - target_mg_l, 0.0)
    left = algae.phosphate_left_mg_l(
        nitrate_mg_l=nitrate_mg_l,
        phosphate_mg_l=phosphate_mg_l,
        nitrate_goal_mg_l=min(target_mg_l, nitrate_mg_l),
        ratio=ratio,
    )
    return Answer(
        values={
            "nitrate_g": found.nitrate_g,
            "phosphate_g": found.phosphate_g,
            "nitrate_mg_l": by_nitrate,
            "phosphate_mg_l": by_phosphate,
            "export_g_day": found.nitrate_g / since_d,
            "left_mg_l": left if left >= 0 else 0.0,
        },
        do=(
            say(
                "This harvest takes {nitrate} of nitrate and {phosphate} of phosphate out, {by_nitrate} and {by_phosphate} "
                "of the whole water. Weigh it drained, in the net; leave a third to half of the mat to grow again; "
                "harvest next in {next}.",
                nitrate=amount("mass", found.nitrate_g),
                phosphate=amount("mass", found.phosphate_g),
                by_nitrate=amount("nitrate", by_nitrate),
                by_phosphate=amount("phosphate", by_phosphate),
                next=amount("days", min(max(since_d, 5.0), 14.0)),
            ),
            _which_runs_out(fall, left),
        ),
        steps=(
            step(
                "Nitrogen in it",
                "{wet} × {dry} ÷ 100 × {content} ÷ 100",
                amount("mass", found.nitrogen_g),
                "common practice",
                wet=amount("mass", harvest_g),
                dry=amount("percent_fine", dry_pct),
                content=amount("percent_fine", nitrogen_pct),
            ),
            step(
                "As nitrate",
                "{nitrogen} × 4.427",
                amount("mass", found.nitrate_g),
                "stoichiometry",
                nitrogen=amount("mass", found.nitrogen_g),
            ),
            step(
                "Phosphate with it",
                "{nitrate} ÷ {ratio}",
                amount("mass", found.phosphate_g),
                "Atkinson & Smith 1983",
                nitrate=amount("mass", found.nitrate_g),
                ratio=amount("ratio", ratio),
            ),
            step(
                "Phosphate left at the nitrate target",
                "{phosphate} − ({nitrate} − {target}) ÷ {ratio}; less than nothing: it runs out first",
                amount("phosphate", left),
                "Atkinson & Smith 1983",
                phosphate=amount("phosphate", phosphate_mg_l),
                nitrate=amount("nitrate", nitrate_mg_l),
                target=amount("nitrate", min(target_mg_l, nitrate_mg_l)),
                ratio=amount("ratio", ratio),
            ),
        ),
        charts=(_strip_chart(nitrate_mg_l, phosphate_mg_l, ratio),),
    )


def _which_runs_out(fall: float, left: float) -> Say:
    if fall == 0:
        return say("Nitrate is at its target: the algae only need to take what the feed brings.")
    if left > 0:
        return say("Taking nitrate down by {fall} leaves {left} of phosphate: both last.",
                   fall=amount("nitrate", fall), left=amount("phosphate", left))  # fmt: skip
    return say(
        "Phosphate runs out before nitrate has fallen by {fall}: the algae then stop. Feed more, or leave the phosphate "
        "medium out.",
        fall=amount("nitrate", fall),
    )


def _strip_chart(nitrate_mg_l: float, phosphate_mg_l: float, ratio: float) -> LineChart:
    share = min(phosphate_mg_l * ratio / nitrate_mg_l, 1.0) if nitrate_mg_l else 0.0
    ends = [nitrate_mg_l, nitrate_mg_l * (1 - share)]
    return LineChart(
        "Nitrate and phosphate taken up together",
        "Nitrate",
        "nitrate",
        "Phosphate",
        "phosphate",
        (
            Curve("Course", ends, [phosphate_mg_l, max(phosphate_mg_l - nitrate_mg_l * share / ratio, 0.0)]),
            Curve("Now", [nitrate_mg_l], [phosphate_mg_l], points_only=True),
        ),
    )


NITRATE = Input("nitrate_mg_l", "Nitrate now", "nitrate", 0, 500, recall="reading.nitrate")
PHOSPHATE = Input("phosphate_mg_l", "Phosphate now", "phosphate", 0, 20, recall="reading.phosphate")
TARGET = Input("target_mg_l", "Nitrate aimed at", "nitrate", 0.1, 100, default=10, usual=(1, 25),
               recall="target.nitrate",
               help="Common practice: about 10 mg/L on a heavily fed system.")  # fmt: skip

SHEETS = (
    Worksheet(
        name="carbon-dosing",
        title="Carbon dosing",
        subject="Nutrients and feeding",
        purpose="How much carbon source brings nitrate down, raised by the week, and the oxygen it uses.",
        inputs=(
            VOLUME, NITRATE, PHOSPHATE, TARGET,
            Input("weeks_d", "Time to get there", "days", 14, 365, default=56),
            Input("load_g_day", "Nitrate that feed adds beyond other exports", "mass_per_day", 0, 10000, default=0,
                  help="Further export needed, from the sheet nitrate-balance.", detail=True),
            Choice("substance", "Carbon source", (("ethanol", "Spirit (ethanol)"), ("acetic acid", "White vinegar"),
                   ("glucose", "Glucose powder")), "ethanol"),
            Input("now_ml_day", "Dosed now, of the solution", "dose_per_day", 0, 50000, default=0),
            Input("lowest_mg_l", "Oxygen just before lights on", "oxygen", 0, 12, optional=True),
            Input("exchange_per_h", "Gas exchange", "per_hour", 0.05, 10, default=0.5,
                  help="From the sheet oxygen-budget.", detail=True),
            Input("density_kg_l", "Density of the solution", "density", 0.7, 1.6, optional=True,
                  help="Empty: spirit of 40 % vol 0.94, vinegar 1.006.", detail=True),
            Input("strength_pct", "Strength by mass", "percent_fine", 1, 100, optional=True,
                  help="Empty: spirit of 40 % vol is 33 % by mass, vinegar 5 %, powder 100 %.", detail=True),
            Input("yield_pct", "Share of the carbon made into cells", "percent", 30, 65, default=50,
                  help="Common practice 40 to 60 %.", detail=True),
        ),
        outputs=(
            Output("goal_ml_day", "Full dose of the solution", "dose_per_day", main=True),
            Output("first_ml_day", "Dose this week", "dose_per_day"),
            Output("mass_g_day", "Pure carbon source, full dose", "mass_per_day"),
            Output("oxygen_g_day", "Oxygen used at most", "mass_per_day"),
            Output("dip_mg_l", "Oxygen lower by", "trace"),
            Output("phosphate_mg_l", "Phosphate needed", "phosphate"),
        ),
        compute=carbon,
        sources=("stoichiometry", "mass balance", "Ebeling 2006", "common practice"),
        valid="Carbon used with oxygen by bacteria that the skimmer takes out. Glucose: mL of powder are g.",
        cautions=(HAZE, FLAMMABLE,),
    ),
    Worksheet(
        name="algae-harvest",
        title="What a harvest of algae takes out",
        subject="Nutrients and feeding",
        purpose="Nitrate and phosphate in the wet harvest, and which of the two runs out first.",
        inputs=(
            VOLUME,
            Input("harvest_g", "Harvest, wet and drained", "mass", 0, 1e6, recall="check.scrubber.harvest_g"),
            Input("since_d", "Since the last harvest", "days", 1, 120, default=7),
            NITRATE, PHOSPHATE, TARGET,
            Input("dry_pct", "Dry share", "percent_fine", 3, 40, default=12, usual=(8, 20),
                  help="Common practice 10 to 15 %; weigh, dry at 60 °C, weigh again.", detail=True),
            Input("nitrogen_pct", "Nitrogen in the dry algae", "percent_fine", 0.5, 8, default=3,
                  help="Common practice 2 to 5 %.", detail=True),
            Input("n_to_p", "Nitrogen to phosphorus, mol", "ratio", 5, 100, default=algae.MACROALGAE_N_TO_P,
                  help="Macroalgae 30, plankton 16.", detail=True),
        ),
        outputs=(
            Output("nitrate_g", "Nitrate taken out", "mass", main=True),
            Output("phosphate_g", "Phosphate taken out", "mass"),
            Output("nitrate_mg_l", "Of the water’s nitrate", "nitrate"),
            Output("phosphate_mg_l", "Of the water’s phosphate", "phosphate"),
            Output("export_g_day", "Nitrate export", "mass_per_day"),
            Output("left_mg_l", "Phosphate left at the nitrate target", "phosphate"),
        ),
        compute=harvest,
        sources=("Atkinson & Smith 1983", "stoichiometry", "common practice"),
        valid="Green algae grown in this water; a harvest drained the same way each time.",
    ),
)  # fmt: skip
