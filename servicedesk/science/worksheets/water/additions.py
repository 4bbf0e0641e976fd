"""Worksheets that raise a parameter with a salt or with a solution that states its strength."""

from servicedesk.science.quantities import QUANTITIES
from servicedesk.science.water import dosing, residue
from servicedesk.science.water.dosing import Correction, Portion, Product
from servicedesk.science.words import Say, Term, say
from servicedesk.science.worksheets.declare import (
    Answer,
    Choice,
    Input,
    Listing,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import PER_DAY_HELP, VOLUME
from servicedesk.science.worksheets.telling import number_text

SUBJECT = "Dosing"
LABEL = "Read the label's own warnings; gloves and goggles for concentrated solutions."
WORKING_LIME_G_L = 0.6 * dosing.PRODUCTS["caoh2"].solubility_g_l
# parameter: (title, low, high, greatest safe rise a day, natural target)
RAISED: dict[str, tuple[str, float, float, float, float]] = {
    "alkalinity": ("alkalinity", 0.3, 12, 0.5, 2.9),
    "calcium": ("calcium", 50, 1500, 20, 420),
    "magnesium": ("magnesium", 100, 3000, 50, 1300),
    "strontium": ("strontium", 0, 40, 1, 8),
    "potassium": ("potassium", 50, 1000, 20, 400),
    "iodide": ("iodide", 0, 0.5, 0.01, 0.06),
    "boron": ("boron", 0, 30, 1, 4.5),
}
USUAL = {  # outside it the unit or the value is likely wrong, common practice
    "alkalinity": (1.8, 5.0), "calcium": (340, 520), "magnesium": (1100, 1550), "strontium": (3, 15),
    "potassium": (330, 470), "iodide": (0.005, 0.12), "boron": (2, 10),
}  # fmt: skip
MINUTES_PER_HOUR = 60
MANY_DAYS = 14
LISTED_PORTIONS = 40
LIFTED_L = 20.0
LEAST_WEIGHED_G = 1.0
DROP_BY_DROP = "caoh2"  # only as clear limewater through the night
NIGHT = "21:00 to 09:00"
APART_BY_LABEL = {"alkalinity", "calcium"}
BROUGHT = {"Na": "sodium", "Ca": "calcium", "K": "potassium", "Cl": "chloride", "SO4": "sulphate"}


def correction_answer(
    parameter: str,
    product: Product,
    *,
    volume_l: float,
    now: float,
    target: float,
    rise_per_day: float,
    purity_pct: float = 100.0,
    liquid: bool = False,
) -> Answer:
    """The instruction, sum and timetable of a correction."""
    plan = dosing.plan_correction(
        parameter=parameter,
        current=now,
        target=target,
        volume_l=volume_l,
        product=product,
        rise_per_day=rise_per_day,
        purity=purity_pct / 100,
    )
    if plan is None:
        return Answer(
            values={"mass": 0.0, "days_d": 0.0, "change": 0.0, "portion": 0.0},
            do=(
                say(
                    "Nothing to raise: {now} is at or above {target}.",
                    now=amount(parameter, now),
                    target=amount(parameter, target),
                ),
            ),
            flags=_too_high(parameter, now, target),
        )
    quantity = "dose_volume" if liquid else "mass"
    return Answer(
        values={
            "mass": plan.mass_g,
            "days_d": float(plan.days),
            "change": plan.change_per_day,
            "portion": plan.mass_today_g if product.key == DROP_BY_DROP else plan.portions[0].mass_g,
        },
        cautions=product.cautions,
        do=_instruction(plan, quantity, volume_l),
        steps=_steps(plan, product, volume_l, now, target, purity_pct, quantity, rise_per_day),
        flags=(*_long(plan), *_heavy(plan, quantity)),
        listings=(_nights(plan) if product.key == DROP_BY_DROP else _timetable(plan, quantity),),
    )


def _too_high(parameter: str, now: float, target: float) -> tuple[Say, ...]:
    if now <= target:
        return ()
    return (say("A dose only raises. To come down, stop the supply or change water."),)


def _long(plan: Correction) -> tuple[Say, ...]:
    if plan.days <= MANY_DAYS:
        return ()
    return (say("This takes {days}: test again on the way, the consumption goes on meanwhile.",
                days=amount("days", plan.days)),)  # fmt: skip


def _heavy(plan: Correction, quantity: str) -> tuple[Say, ...]:
    first = plan.portions[0]
    if (first.dissolve_l if quantity == "mass" else first.mass_g / 1000) <= LIFTED_L:
        return ()
    return (say("More than one person should lift: have it in a barrel beside the sump and pump it over."),)


def _instruction(plan: Correction, quantity: str, volume_l: float) -> tuple[Say, ...]:
    return (
        *_act(plan, quantity),
        say(
            "In all {mass}. This moves it by {change} a day; test before the first portion of each day and once more the "
            "morning after the last, and stop when the wanted level is reached.",
            mass=amount(quantity, plan.mass_g),
            change=amount(plan.parameter, plan.change_per_day),
        ),
        *_blend(plan, volume_l),
        *_brought(plan, volume_l),
    )


def _blend(plan: Correction, volume_l: float) -> tuple[Say, ...]:
    """The two magnesium salts in the share that keeps chloride to sulphate as in seawater."""
    if plan.parameter != "magnesium" or plan.product.key not in dosing.PRODUCTS:
        return ()
    chloride, sulphate = residue.magnesium_blend(volume_l * plan.change / 1000)
    return (say("For a big or a repeated rise take both salts instead, in the same portions: {chloride} of the chloride and "
                "{sulphate} of the sulphate in all; that keeps chloride to sulphate as in seawater.",
                chloride=amount("mass", chloride), sulphate=amount("mass", sulphate)),)  # fmt: skip


def _brought(plan: Correction, volume_l: float) -> tuple[Say, ...]:
    """What else the salt brings into the water."""
    if plan.product.key not in residue.IONS:
        return ()
    added = residue.ions_mg_l(plan.product.key, plan.mass_g, volume_l)
    others = [f"{number_text(mg)} mg/L of {name}" for ion, name in BROUGHT.items()
              if (mg := added.get(ion, 0.0)) and name != plan.parameter]  # fmt: skip
    return (say("The salt also brings {others}.", others=" and ".join(others)),) if others else ()


def _act(plan: Correction, quantity: str) -> tuple[Say, ...]:
    """What to do at each time: pour a solution, weigh a powder, or drip limewater over the night."""
    first = plan.portions[0]
    times = ", ".join(f"{portion.at_min // 60:02}:{portion.at_min % 60:02}" for portion in plan.portions
                      if portion.day == first.day)  # fmt: skip
    told: dict[str, Term] = {
        "days": amount("days", plan.days), "times": times, "portion": amount(quantity, first.mass_g),
        "product": plan.product.name, "place": plan.product.place,
    }  # fmt: skip
    if quantity == "dose_volume":
        return (say("For {days}, at {times}: give {portion} {place}.", **told),)
    if plan.product.key == DROP_BY_DROP:
        night = plan.mass_g / plan.days
        return (say(
            "On {days} one after the other: stir {night} of calcium hydroxide into {water} of RO water, let it settle covered, "
            "and let the clear water alone drip in through the top-off, evenly from " + NIGHT + "; its water counts as "
            "top-off, so never more than evaporates.",
            night=amount(quantity, night), water=amount("jug", night / WORKING_LIME_G_L), **told,
        ),)  # fmt: skip
    if strength := _thin_stock_g_l(plan, quantity):
        return (
            say("This is too little to weigh each time: dissolve {stock} of {product} in RO water and fill up to 1 L; label it "
                "with name, strength and date, out of reach.", stock=amount("mass", strength), **told),
            say("For {days}, at {times}: give {millilitres} of it (it holds {portion}) in a jug of tank water, {place}.",
                millilitres=amount("dose_volume", first.mass_g / strength * 1000), **told),
        )  # fmt: skip
    return (
        say("For {days}, at {times}: dissolve {portion} of {product} in {water} of RO water and pour it {place}.",
            water=amount("jug", first.dissolve_l), **told),
    )  # fmt: skip


def _steps(
    plan: Correction,
    product: Product,
    volume_l: float,
    now: float,
    target: float,
    purity_pct: float,
    quantity: str,
    rise_per_day: float,
) -> tuple[Step, ...]:
    unit = QUANTITIES[plan.parameter][0].label
    per = f"{product.g_per_l_unit:.5g} {'mL' if quantity == 'dose_volume' else 'g'} a litre and {unit}"
    return (
        step(
            "Rise wanted",
            "{target} − {now}",
            amount(plan.parameter, plan.change),
            "mass balance",
            target=amount(plan.parameter, target),
            now=amount(plan.parameter, now),
        ),
        step(
            "Days",
            "{rise} ÷ {limit}, rounded up",
            amount("days", plan.days),
            "common practice",
            rise=amount(plan.parameter, plan.change),
            limit=amount(plan.parameter, min(rise_per_day, product.max_step * dosing.MAX_PORTIONS_PER_DAY)),
        ),
        step(
            "In all",
            "{volume} × {rise} × {per_litre} ÷ ({purity} ÷ 100)",
            amount(quantity, plan.mass_g),
            "stoichiometry",
            volume=amount("volume", volume_l),
            rise=amount(plan.parameter, plan.change),
            per_litre=per,
            purity=amount("percent", purity_pct),
        ),
        step(
            "A portion",
            "{whole} ÷ {portions} portions",
            amount(quantity, plan.portions[0].mass_g),
            "common practice",
            whole=amount(quantity, plan.mass_g),
            portions=str(len(plan.portions)),
        ),
    )


def _nights(plan: Correction) -> Listing:
    """Limewater by night: powder and water."""
    night = plan.mass_g / plan.days
    rows = tuple(
        (str(day + 1), NIGHT, amount("mass", night), amount("jug", night / WORKING_LIME_G_L))
        for day in range(min(plan.days, LISTED_PORTIONS))
    )
    return Listing("Nights", ("Night", "Time", "Amount", "In water"), rows)


def _timetable(plan: Correction, quantity: str) -> Listing:
    strength = _thin_stock_g_l(plan, quantity)
    return Listing(
        "Portions" if len(plan.portions) <= LISTED_PORTIONS else f"The first {LISTED_PORTIONS} portions",
        ("Day", "Time", "Amount", "In water" if quantity == "mass" and not strength else "Of the solution"),
        tuple(
            (
                str(portion.day + 1),
                amount("clock", portion.at_min / MINUTES_PER_HOUR),
                amount(quantity, portion.mass_g),
                _given_as(portion, quantity, strength),
            )
            for portion in plan.portions[:LISTED_PORTIONS]
        ),
    )


def _given_as(portion: Portion, quantity: str, strength_g_l: float) -> Term:
    """The water to dissolve a portion in, or the solution that holds it."""
    if quantity == "dose_volume":
        return amount(quantity, portion.mass_g)
    if strength_g_l:
        return amount("dose_volume", portion.mass_g / strength_g_l * 1000)
    return amount("jug", portion.dissolve_l)


def _thin_stock_g_l(plan: Correction, quantity: str) -> float:
    """Strength of the solution to make first when a portion is too little to weigh; 0 when it is not."""
    first_g = plan.portions[0].mass_g
    if quantity != "mass" or first_g >= LEAST_WEIGHED_G:
        return 0.0
    return 10.0 if first_g >= LEAST_WEIGHED_G / 10 else 1.0


def _levels(parameter: str) -> tuple[Input, Input]:
    """The level now and the wanted one."""
    title, low, high, _, natural = RAISED[parameter]
    suffix = {"alkalinity": "meq_l"}.get(parameter, "mg_l")
    usual = USUAL[parameter]
    return (
        Input(f"{parameter}_{suffix}", f"{title.capitalize()} now", parameter, low, high,
              recall=f"reading.{parameter}", usual=usual),
        Input(f"target_{suffix}", f"Wanted {title}", parameter, low, high, default=natural,
              recall=f"target.{parameter}", usual=usual),
    )  # fmt: skip


def _raise_sheet(parameter: str) -> Worksheet:
    title, _, _, limit, _ = RAISED[parameter]
    suffix = {"alkalinity": "meq_l"}.get(parameter, "mg_l")
    products = dosing.products_for(parameter)

    def compute(*, volume_l: float, product: str, purity_pct: float, rise_per_day: float, **levels: float) -> Answer:
        return correction_answer(
            parameter,
            products[product],
            volume_l=volume_l,
            now=levels[f"{parameter}_{suffix}"],
            target=levels[f"target_{suffix}"],
            rise_per_day=rise_per_day,
            purity_pct=purity_pct,
        )

    return Worksheet(
        name=f"raise-{parameter}",
        title=f"Raise {title}",
        subject=SUBJECT,
        purpose=f"What to weigh, dissolve and pour when, to raise {title} no faster than is safe.",
        inputs=(
            VOLUME,
            *_levels(parameter),
            Choice("product", "With", tuple((key, product.name) for key, product in products.items()),
                   dosing.USUAL_PRODUCT[parameter], recall=f"product.{parameter}"),
            Input("purity_pct", "Purity", "percent", 20, 100, default=100, detail=True,
                  help="From the label; hydrates are counted already, a damp bag is not."),
            Input("rise_per_day", "Greatest rise a day", parameter, limit / 100, limit * 5, default=limit,
                  help=PER_DAY_HELP, recall=f"limit.{parameter}", usual=(0, limit), detail=True),
        ),
        outputs=_outputs(parameter, "mass"),
        compute=compute,
        sources=("stoichiometry", "CIAAW 2021", "common practice"),
        valid="Well mixed system; the consumption during the correction is not counted: go on with the daily dosing. Net "
        "volume decides: find it first.",
    )  # fmt: skip


def _outputs(parameter: str, quantity: str) -> tuple[Output, ...]:
    return (
        Output("mass", "In all", quantity, main=True),
        Output("portion", "Each time", quantity, main=True),
        Output("days_d", "Over", "days"),
        Output("change", "Change a day", parameter),
    )


def _label_sheet(parameter: str) -> Worksheet:
    """A product that states its strength on the label."""
    title, _, high, limit, _ = RAISED[parameter]
    suffix = {"alkalinity": "meq_l"}.get(parameter, "mg_l")

    def compute(
        *,
        volume_l: float,
        label_rise: float,
        label_dose_ml: float,
        label_water_l: float,
        rise_per_day: float,
        **levels: float,
    ) -> Answer:
        product = dosing.user_product_by_volume(
            key="own", name="the solution", parameter=parameter, rise=label_rise, ml=label_dose_ml, per_l=label_water_l,
            max_step=rise_per_day / 2,
        )  # fmt: skip
        return correction_answer(
            parameter,
            product,
            volume_l=volume_l,
            now=levels[f"{parameter}_{suffix}"],
            target=levels[f"target_{suffix}"],
            rise_per_day=rise_per_day,
            liquid=True,
        )

    return Worksheet(
        name=f"raise-{parameter}-by-label",
        title=f"Raise {title} with a bought solution",
        subject=SUBJECT,
        purpose="Millilitres of a solution that states what it raises.",
        inputs=(
            VOLUME,
            *_levels(parameter),
            Input("label_dose_ml", "Label: so many millilitres", "dose_volume", 0.01, 10_000, default=10),
            Input("label_water_l", "Label: in so much water", "volume", 0.1, 100_000, default=100),
            Input("label_rise", "Label: raise by", parameter, limit / 1e4, high),
            Input("rise_per_day", "Greatest rise a day", parameter, limit / 100, limit * 5, default=limit,
                  help=PER_DAY_HELP, recall=f"limit.{parameter}", usual=(0, limit), detail=True),
        ),
        outputs=_outputs(parameter, "dose_volume"),
        compute=compute,
        sources=("mass balance", "common practice"),
        valid="The strength is the label's; check it by a reading after the first portion.",
        cautions=(LABEL, *((dosing.APART,) if parameter in APART_BY_LABEL else ())),
    )  # fmt: skip


SHEETS = (
    *(_raise_sheet(parameter) for parameter in RAISED),
    *(_label_sheet(parameter) for parameter in RAISED),
)
