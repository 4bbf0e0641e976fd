"""Worksheets of solutions: trace elements, a jug of stock, what two-part dosing leaves behind."""

from math import ceil

from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.water import dosing, molar, residue
from servicedesk.science.water.demand import CALCIUM_PER_MEQ
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import CAUSTIC, Answer, Choice, Input, Output, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import DEMAND, VOLUME

SUBJECT = "Dosing"
LEAST_ML = 1.0
MOST_ML_PER_L = 1.0


def trace(*, volume_l: float, rise_mg_l: float, natural_mg_l: float, stock_mg_l: float) -> Answer:
    step_mg_l = natural_mg_l * 0.1
    days = float(max(ceil(round(rise_mg_l / step_mg_l, 9)), 1))
    stock_ml = volume_l * rise_mg_l / stock_mg_l * 1000
    return Answer(
        values={"stock_ml": stock_ml, "daily_ml": stock_ml / days, "days_d": days},
        do=(
            say(
                "Give {daily} of the solution each day for {days}, into the sump by the return.",
                daily=amount("dose_volume", stock_ml / days),
                days=amount("days", days),
            ),
            *_thinned(stock_ml / days),
            say("Send a laboratory sample before and after: no kit shows trace elements well."),
        ),
        steps=(
            step(
                "Greatest rise a day",
                "{natural} × 10 %",
                amount("trace", step_mg_l),
                "common practice",
                natural=amount("trace", natural_mg_l),
            ),
            step(
                "Solution in all",
                "{volume} × {rise} ÷ {stock} × 1000",
                amount("dose_volume", stock_ml),
                "mass balance",
                volume=amount("volume", volume_l),
                rise=amount("trace", rise_mg_l),
                stock=amount("trace", stock_mg_l),
            ),
            step(
                "Days",
                "{rise} ÷ {limit}, rounded up",
                amount("days", days),
                "common practice",
                rise=amount("trace", rise_mg_l),
                limit=amount("trace", step_mg_l),
            ),
        ),
        flags=_trace_flags(rise_mg_l, natural_mg_l, stock_ml / volume_l),
    )


def _thinned(daily_ml: float) -> tuple[Say, ...]:
    if daily_ml >= LEAST_ML:
        return ()
    return (say("Less than 1 mL cannot be measured well: fill 10 mL of the solution up to 1 L with RO water and give "
                "{thin} of that.", thin=amount("dose_volume", daily_ml * 100)),)  # fmt: skip


def _trace_flags(rise_mg_l: float, natural_mg_l: float, ml_per_l: float) -> tuple[Say, ...]:
    flags = []
    if rise_mg_l > natural_mg_l:
        flags.append(say("The rise wanted {rise} is more than the natural level {natural}: check unit and value.",
                         rise=amount("trace", rise_mg_l), natural=amount("trace", natural_mg_l)))  # fmt: skip
    if ml_per_l > MOST_ML_PER_L:
        flags.append(say("That is more than 1 mL of solution for each litre of the system: its strength is mistyped, or it is "
                         "too weak for this."))  # fmt: skip
    return tuple(flags)


def stock(*, product: str, jug_l: float, strength_g_l: float) -> Answer:
    chosen = dosing.PRODUCTS[product]
    found = dosing.stock_solution(chosen, jug_l, strength_g_l)
    per_ml_1000_l = found.rise_per_ml_in_litre / 1000
    flags: tuple[Say, ...] = ()
    if found.of_solubility > 0.8:
        flags = (say("Near what dissolves at 20 °C: in a colder plant room salt falls out. Take less."),)
    return Answer(
        values={
            "mass_g": found.mass_g,
            "rise": amount(chosen.parameter, per_ml_1000_l * 100),
            "full_pct": found.of_solubility * 100,
        },
        do=(
            say(
                "Put about {water} of RO water into the jug, add {mass} of {product} while stirring, let it cool, "
                "fill up to {jug}, label it with name, strength, date and use-by.",
                water=amount("jug", jug_l * 0.8),
                mass=amount("mass", found.mass_g),
                product=chosen.name,
                jug=amount("jug", jug_l),
            ),
            say(
                "100 mL of it raise 1000 L by {rise}.",
                rise=amount(chosen.parameter, per_ml_1000_l * 100),
            ),
            *(say(caution) for caution in chosen.cautions),
        ),
        steps=(
            step(
                "Weigh",
                "{strength} × {jug}",
                amount("mass", found.mass_g),
                "mass balance",
                strength=amount("strength", strength_g_l),
                jug=amount("jug", jug_l),
            ),
            step(
                "100 mL in 1000 L",
                "{strength} × 0.1 L ÷ ({per_unit} g a litre and {unit} × 1000 L)",
                amount(chosen.parameter, per_ml_1000_l * 100),
                "stoichiometry",
                strength=amount("strength", strength_g_l),
                per_unit=f"{chosen.g_per_l_unit:.5g}",
                unit=QUANTITIES[chosen.parameter][0].label,
            ),
        ),
        flags=flags,
    )


def _water_for(product: str, mass_g: float) -> float:
    """Water that dissolves a mass with room to spare: to three fifths of what it can hold."""
    return mass_g / (0.6 * dosing.PRODUCTS[product].solubility_g_l)


def two_part(*, volume_l: float, demand_meq_l_day: float, change_pct: float, interval_d: float) -> Answer:
    a_day = residue.two_part_residue_mg_l(demand_meq_l_day) / 1000  # g/L
    changed = change_pct / 100 / interval_d
    settled = residue.settled_rise(a_day, changed)
    soda = dosing.dose_mass_g(dosing.PRODUCTS["nahco3"], volume_l, demand_meq_l_day)
    chloride = dosing.dose_mass_g(dosing.PRODUCTS["cacl2_2h2o"], volume_l, demand_meq_l_day * molar.CA / 2)
    portions = max(ceil(round(demand_meq_l_day / dosing.PRODUCTS["nahco3"].max_step, 9)), 1)
    a_year = a_day * residue.DAYS_PER_YEAR
    return Answer(
        values={
            "soda_g_day": soda,
            "chloride_g_day": chloride,
            "residue_g_day": a_day * volume_l,
            "creep": a_year / 1.0233,
            "settled": settled / 1.0233 if changed else None,
        },
        do=(
            say(
                "Each day dissolve {soda} of sodium bicarbonate in {soda_water} of RO water, and in another can {chloride} of "
                "calcium chloride dihydrate in {chloride_water}. Give each in {portions} into the sump by the return, the two "
                "at different places and six hours apart.",
                soda=amount("mass", soda),
                soda_water=amount("jug", _water_for("nahco3", soda)),
                chloride=amount("mass", chloride),
                chloride_water=amount("jug", _water_for("cacl2_2h2o", chloride)),
                portions="one portion" if portions == 1 else f"{portions} equal portions over the day",
            ),
            say(
                "They leave {residue} of common salt a day: without changes the salinity would creep by {creep} a year.",
                residue=amount("mass", a_day * volume_l),
                creep=amount("salinity_difference", a_year / 1.0233),
            ),
            say("Correct the salinity at each visit, and test the sulphate once a year by a laboratory."),
        ),
        steps=(
            step(
                "Common salt left a day",
                "{demand} × 58.44 ÷ 1000 g/meq × {volume}",
                amount("mass_per_day", a_day * volume_l),
                "stoichiometry",
                demand=amount("alkalinity_per_day", demand_meq_l_day),
                volume=amount("volume", volume_l),
            ),
            step(
                "Creep of salinity a year",
                "{grams} ÷ {volume} × 365.25 ÷ 1.0233",
                amount("salinity_difference", a_year / 1.0233),
                "mass balance",
                grams=amount("mass_per_day", a_day * volume_l),
                volume=amount("volume", volume_l),
            ),
        ),
    )


PRODUCT_CHOICE = Choice(
    "product",
    "Salt",
    tuple((key, product.name) for key, product in dosing.PRODUCTS.items() if key != "caoh2"),
    "nahco3",
)

SHEETS = (
    Worksheet(
        name="trace-element",
        title="Trace element from a solution",
        subject=SUBJECT,
        purpose="Millilitres a day of a trace solution of stated strength, in steps of a tenth of the natural level.",
        inputs=(
            VOLUME,
            Input("rise_mg_l", "Rise wanted", "trace", 1e-6, 10),
            Input("natural_mg_l", "Natural level", "trace", 1e-6, 20, help="Of seawater at salinity 35."),
            Input("stock_mg_l", "Strength of the solution", "trace", 0.01, 500_000),
        ),
        outputs=(
            Output("daily_ml", "Each day", "dose_volume", main=True),
            Output("days_d", "Over", "days"),
            Output("stock_ml", "In all", "dose_volume"),
        ),
        compute=trace,
        sources=("mass balance", "common practice"),
        valid="Only after a laboratory result: trace elements harm in excess. A tenth of the natural level a day.",
        cautions=("Concentrated trace solutions are poisonous: gloves and goggles, labelled, out of reach.",),
    ),
    Worksheet(
        name="stock-solution",
        title="Make a jug of solution",
        subject=SUBJECT,
        purpose="Salt to weigh for a jug, what it raises, and whether it stays dissolved.",
        inputs=(
            PRODUCT_CHOICE,
            Input("jug_l", "Jug", "jug", 0.1, 1000, default=10),
            Input("strength_g_l", "Strength", "strength", 0.1, 800, default=60),
        ),
        outputs=(
            Output("mass_g", "Salt to weigh", "mass", main=True),
            Output("rise", "100 mL raise 1000 L by"),
            Output("full_pct", "Of what dissolves at 20 °C", "percent"),
        ),
        compute=stock,
        sources=("mass balance", "stoichiometry"),
        valid="20 °C; solubilities from handbooks (from memory), planned well below.",
        cautions=(CAUSTIC,),
    ),
    Worksheet(
        name="two-part-residue",
        title="What two-part dosing leaves behind",
        subject=SUBJECT,
        purpose="Daily masses of soda and calcium chloride for a demand, and how salinity creeps.",
        inputs=(
            VOLUME,
            DEMAND,
            Input("change_pct", "Water changed each time", "percent", 0, 100, default=10),
            Input("interval_d", "Every", "days", 0.5, 365, default=14),
        ),
        outputs=(
            Output("soda_g_day", "Sodium bicarbonate", "mass_per_day", main=True),
            Output("chloride_g_day", "Calcium chloride dihydrate", "mass_per_day", main=True),
            Output("residue_g_day", "Common salt left", "mass_per_day"),
            Output("creep", "Creep of salinity a year without changes", "salinity_difference"),
            Output("settled", "Where it settles with the changes, above now", "salinity_difference"),
        ),
        compute=two_part,
        sources=("stoichiometry", "mass balance"),
        valid=f"Calcium follows calcification, {CALCIUM_PER_MEQ:.2f} mg a meq; nothing else removes the salt.",
        cautions=(CAUSTIC,),
    ),
)
