"""Worksheets of salinity: correction, salt for a batch, density and specific gravity."""

from dataclasses import replace

from servicedesk.science.water import salinity as salt
from servicedesk.science.water.seawater import (
    absolute_salinity_g_kg,
    conductivity_ms_cm,
    density_kg_l,
    specific_gravity,
)
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    LIFTING,
    Answer,
    Input,
    Listing,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import DRY, PER_DAY_HELP, SALINITY, TEMP, VOLUME

SUBJECT = "Salinity"
SOLUTION_G_L = 100.0  # stronger brine of a reef mix drops carbonate, common practice
SUM_DAYS = 6


def correction(
    *,
    volume_l: float,
    salinity: float,
    target_salinity: float,
    temp_c: float,
    dry_pct: float,
    rise_per_day: float,
    fall_per_day: float,
) -> Answer:
    plan = salt.correction(
        volume_l=volume_l,
        salinity=salinity,
        target=target_salinity,
        temp_c=temp_c,
        dry_fraction=dry_pct / 100,
        rise_per_day=rise_per_day,
        fall_per_day=fall_per_day,
    )
    return Answer(
        values={
            "salt_g": plan.salt_kg * 1000,
            "exchange_l": plan.exchange_l,
            "days_d": float(plan.days),
            "change_per_day": plan.per_day,
        },
        do=_correction_words(plan, salinity, target_salinity),
        steps=(
            step(
                "Days",
                "|{target} − {now}| ÷ {limit}, rounded up",
                amount("days", plan.days),
                "common practice",
                target=amount("salinity", target_salinity),
                now=amount("salinity", salinity),
                limit=amount("salinity", rise_per_day if plan.per_day > 0 else fall_per_day),
            ),
            *_amount_steps(plan, volume_l, salinity, target_salinity, temp_c, dry_pct),
        ),
        listings=_by_day(plan, salinity),
    )


def _amount_steps(
    plan: salt.SalinityPlan, volume_l: float, now: float, target: float, temp_c: float, dry_pct: float
) -> tuple[Step, ...]:
    """The salt as a difference of two waters, or the water day by day."""
    if plan.salt_kg:
        held = {salinity: salt.salt_kg(volume_l, salinity, temp_c, dry_pct / 100) for salinity in (now, target)}
        return (
            *(
                step(
                    f"Salt mix that the system holds {when}",
                    "{volume} × {density} × {salinity} × 35.165 ÷ 35 ÷ 1000 ÷ ({dry} ÷ 100)",
                    amount("mass_kg", held[salinity]),
                    "TEOS-10",
                    volume=amount("volume", volume_l),
                    density=amount("density", density_kg_l(salinity, temp_c)),
                    salinity=amount("salinity", salinity),
                    dry=amount("percent", dry_pct),
                )
                for when, salinity in (("now", now), ("when corrected", target))
            ),
            step(
                "Salt to dissolve",
                "{wanted} − {held}",
                amount("mass_kg", plan.salt_kg),
                "mass balance",
                wanted=f"{held[target]:.1f} kg",
                held=f"{held[now]:.1f} kg",
            ),
        )
    if not plan.exchange_l:
        return ()
    shares = [f"{-plan.per_day:.4g} ÷ {now + plan.per_day * day:.4g}" for day in range(plan.days)]
    more = " + …" if plan.days > SUM_DAYS else ""
    return (
        step(
            "Water to exchange, day by day",
            "{volume} × (" + " + ".join(shares[:SUM_DAYS]) + more + ")",
            amount("volume", plan.exchange_l),
            "mass balance",
            volume=amount("volume", volume_l),
        ),
    )


def _by_day(plan: salt.SalinityPlan, now: float) -> tuple[Listing, ...]:
    """What to give on each day and the salinity to find the next morning."""
    if not plan.salt_kg and not plan.exchange_l:
        return ()
    a_day = plan.salt_kg * 1000 / plan.days
    rows = tuple(
        (
            str(day + 1),
            amount("mass", a_day) if plan.salt_kg else amount("volume", plan.daily_l[day]),
            amount("salinity", now + plan.per_day * (day + 1)),
        )
        for day in range(plan.days)
    )
    return (Listing("Day by day", ("Day", "Salt mix" if plan.salt_kg else "Water to exchange", "Salinity then"), rows),)


def _correction_words(plan: salt.SalinityPlan, now: float, target: float) -> tuple[Say, ...]:
    days = amount("days", plan.days)
    if plan.salt_kg:
        a_day = plan.salt_kg * 1000 / plan.days
        return (
            say(
                "Each day for {days}: draw off {water} from the sump into a mixing tub, dissolve {mass} of salt mix in it, "
                "let it clear, and let it run slowly, over an hour, into the sump by the return.",
                days=days,
                mass=amount("mass", a_day),
                water=amount("volume", a_day / SOLUTION_G_L),
            ),
            say("Measure the next morning before the next portion."),
        )
    if plan.exchange_l:
        return (
            say(
                "Over {days} take out {whole} in all and give fresh (RO) water for it, {first} on the first day and the "
                "others by the table, slowly, a few hours, into the sump by the return.",
                days=days,
                whole=amount("volume", plan.exchange_l),
                first=amount("volume", plan.exchange_l_day),
            ),
            say("Measure the next morning before the next exchange; alkalinity and calcium fall with the salinity."),
        )
    return (say("Nothing to correct: {now} is the target.", now=amount("salinity", target)),)


def batch(*, batch_volume_l: float, salinity: float, temp_c: float, dry_pct: float) -> Answer:
    mass = salt.salt_kg(batch_volume_l, salinity, temp_c, dry_pct / 100)
    pure = salt.salt_kg(batch_volume_l, salinity, temp_c, 1.0)
    water_kg = batch_volume_l * density_kg_l(salinity, temp_c) - mass
    water_l = water_kg / density_kg_l(0.0, temp_c)
    return Answer(
        values={"salt_g": mass * 1000, "water_l": water_l, "whole_kg": water_kg + mass},
        do=(
            say(
                "Fill {water} of RO water, warm it to {temp}, stir, and add {mass} of salt mix little by little.",
                water=amount("volume", water_l),
                temp=amount("temperature", temp_c),
                mass=amount("mass", mass * 1000),
            ),
            say(
                "Stir and aerate until clear (a few hours; put no animal in sooner), measure the salinity at temperature, then trim: "
                "{trim} of mix is 0.5 of salinity.",
                trim=amount("mass", 0.5 * mass * 1000 / salinity),
            ),
        ),
        steps=(
            step(
                "Salt in seawater",
                "{salinity} × 35.165 ÷ 35 g/kg",
                amount("ratio", absolute_salinity_g_kg(salinity)),
                "Millero 2008",
                salinity=amount("salinity", salinity),
            ),
            step(
                "Dry salt",
                "{batch} × {density} × {grams_per_kg} g/kg ÷ 1000",
                amount("mass", pure * 1000),
                "TEOS-10",
                batch=amount("volume", batch_volume_l),
                density=amount("density", density_kg_l(salinity, temp_c)),
                grams_per_kg=amount("ratio", absolute_salinity_g_kg(salinity)),
            ),
            step(
                "Mix to weigh",
                "{dry_salt} ÷ ({dry} ÷ 100)",
                amount("mass", mass * 1000),
                "common practice",
                dry_salt=amount("mass", pure * 1000),
                dry=amount("percent", dry_pct),
            ),
            step(
                "RO water",
                "({batch} × {density} − {mix}) ÷ {density_of_water}",
                amount("volume", water_l),
                "mass balance",
                batch=amount("volume", batch_volume_l),
                density=amount("density", density_kg_l(salinity, temp_c)),
                mix=amount("mass_kg", mass),
                density_of_water=amount("density", density_kg_l(0.0, temp_c)),
            ),
        ),
    )


def density(*, salinity: float, temp_c: float, water_temp_c: float) -> Answer:
    rho, gravity = density_kg_l(salinity, temp_c), specific_gravity(salinity, temp_c, water_temp_c)
    conductivity = conductivity_ms_cm(salinity, temp_c)
    return Answer(
        values={"density_kg_l": rho, "gravity": gravity, "conductivity_ms_cm": conductivity},
        do=(
            say(
                "A hydrometer of pure water at {reference} reads {gravity}; a raw conductivity meter {conductivity}.",
                reference=amount("temperature", water_temp_c),
                gravity=amount("specific_gravity", gravity),
                conductivity=amount("conductivity", conductivity),
            ),
        ),
        steps=(
            step(
                "Density",
                "TEOS-10 at {salinity} and {temp}",
                amount("density", rho),
                "TEOS-10",
                salinity=amount("salinity", salinity),
                temp=amount("temperature", temp_c),
            ),
            step(
                "Specific gravity",
                "{density} ÷ {water}",
                amount("specific_gravity", gravity),
                "TEOS-10",
                density=amount("density", rho),
                water=amount("density", density_kg_l(0.0, water_temp_c)),
            ),
            step(
                "Conductivity",
                "PSS-78 at {salinity} and {temp}",
                amount("conductivity", conductivity),
                "UNESCO 44",
                salinity=amount("salinity", salinity),
                temp=amount("temperature", temp_c),
            ),
        ),
    )


WIDE_SALINITY = replace(SALINITY, low=2)
SHEETS = (
    Worksheet(
        name="salinity-correction",
        title="Correct the salinity",
        subject=SUBJECT,
        purpose="Salt to dissolve or water to exchange, in daily steps that the animals stand.",
        inputs=(
            VOLUME,
            replace(WIDE_SALINITY, label="Salinity now", default=None),
            Input("target_salinity", "Wanted salinity", "salinity", 2, 42, default=35.0, recall="target.salinity",
                  usual=(30, 37)),
            TEMP,
            DRY,
            Input("rise_per_day", "Greatest rise a day", "salinity", 0.1, 5, default=1.0, help=PER_DAY_HELP,
                  recall="limit.salinity", detail=True),
            Input("fall_per_day", "Greatest fall a day", "salinity", 0.1, 5, default=1.0, help=PER_DAY_HELP,
                  detail=True),
        ),
        outputs=(
            Output("salt_g", "Salt mix in all", "mass", main=True),
            Output("exchange_l", "Water to exchange in all", "volume", main=True),
            Output("days_d", "Over", "days"),
            Output("change_per_day", "Change a day", "salinity"),
        ),
        compute=correction,
        sources=("Millero 2008", "TEOS-10", "mass balance", "common practice"),
        valid="Salinity 2 to 42; the net volume decides: find it first.",
        cautions=(LIFTING,),
    ),
    Worksheet(
        name="salt-batch",
        title="Salt for a batch of new water",
        subject=SUBJECT,
        purpose="RO water and salt mix for a mixing tank.",
        inputs=(
            Input("batch_volume_l", "Finished water", "volume", 5, 200_000, default=1000),
            WIDE_SALINITY,
            TEMP,
            DRY,
        ),
        outputs=(
            Output("salt_g", "Salt mix", "mass", main=True),
            Output("water_l", "RO water", "volume", main=True),
            Output("whole_kg", "Weight of the batch", "mass_kg"),
        ),
        compute=batch,
        sources=("Millero 2008", "TEOS-10", "common practice"),
        valid="Salinity 2 to 42, 5 to 34 °C.",
        cautions=(LIFTING,),
    ),
    Worksheet(
        name="density",
        title="Density, specific gravity and conductivity",
        subject=SUBJECT,
        purpose="What a hydrometer and a conductivity meter show in this water.",
        inputs=(
            WIDE_SALINITY,
            TEMP,
            Input("water_temp_c", "Reference temperature of the hydrometer", "temperature", 3, 30, default=25,
                  help="Printed on the hydrometer after the slash, such as 25/25 °C or 60/60 °F.",
                  recall="instrument.water_c"),
        ),
        outputs=(
            Output("gravity", "Specific gravity", "specific_gravity", main=True),
            Output("density_kg_l", "Density", "density"),
            Output("conductivity_ms_cm", "Conductivity, not compensated", "conductivity"),
        ),
        compute=density,
        sources=("TEOS-10", "UNESCO 44"),
        valid="Salinity 2 to 42, 5 to 34 °C, one atmosphere.",
    ),
)  # fmt: skip
