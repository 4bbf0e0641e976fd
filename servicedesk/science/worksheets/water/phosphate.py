"""Worksheet of the phosphate balance."""

from servicedesk.science.quantities import PO4_PER_P
from servicedesk.science.water import algae, nutrients
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Curve, Input, LineChart, Output, Worksheet, amount
from servicedesk.science.worksheets.inputs import VOLUME
from servicedesk.science.worksheets.water.nutrient_parts import (
    ALGAE,
    CHANGED,
    DAYS,
    DAYS_A_WEEK,
    FEED,
    FROZEN,
    LOST,
    SKIMMED,
    WET,
    assumed,
    check_feed,
    common_steps,
    feed_factor,
    made_steps,
    orders,
    outlook,
    parts_chart,
    settled,
    taken_step,
)


def phosphate(
    *,
    volume_l: float,
    phosphate_mg_l: float,
    feed_g_day: float,
    frozen_g_day: float,
    changed_pct: float,
    new_mg_l: float,
    algae_g_day: float,
    media_mg_day: float,
    media_l: float,
    target_mg_l: float,
    rock_mg_l: float | None,
    rock_stock: float,
    exchange_per_day: float,
    capacity_g_l: float,
    lost_pct: float,
    skimmed_pct: float,
    phosphorus_pct: float,
) -> Answer:
    check_feed(volume_l, feed_g_day + frozen_g_day)
    phosphorus = feed_g_day * phosphorus_pct / 100 + frozen_g_day * WET.phosphorus
    load = nutrients.phosphate_load_g_day(phosphorus)
    skimmed = nutrients.skimmed_g_day(load_g_day=load, share=skimmed_pct / 100)
    scrubbed = algae.harvest(wet_g=algae_g_day).phosphate_g
    media = media_mg_day / 1000
    feeds = (feed_g_day, frozen_g_day)
    fixed = (("Skimmer", skimmed), ("Algae", scrubbed), ("Media", media))
    system = nutrients.balance(
        volume_l=volume_l,
        load_g_day=load,
        fixed_g_day=sum(value for _name, value in fixed),
        lost_per_day=lost_pct / 100,
        changed_per_day=changed_pct / 100 / DAYS_A_WEEK,
        new_mg_l=new_mg_l,
    )
    missing = system.export_needed_g_day(target_mg_l)
    factor = feed_factor(system, load - skimmed, missing)
    rock = phosphate_mg_l if rock_mg_l is None else rock_mg_l
    course = nutrients.with_rock(
        system=system,
        start_mg_l=phosphate_mg_l,
        days=DAYS,
        rock_mg_l=rock,
        stock=rock_stock,
        exchange_per_day=exchange_per_day,
    )
    litres = nutrients.media_l_for(phosphate_g=max(missing, 0.0) * 30, capacity_g_l=capacity_g_l)
    return Answer(
        values={
            "settled_mg_l": settled(system),
            "month_mg_l": course[30],
            "load_g_day": load,
            "missing_g_day": missing,
            "feed_allowed_g_day": factor * feed_g_day,
        },
        do=(
            outlook(system, "phosphate", phosphate_mg_l),
            *_medium_order(media, media_l, capacity_g_l),
            *orders(
                system,
                "phosphate",
                target=target_mg_l,
                missing=missing,
                feeds=feeds,
                factor=factor,
                changed_pct=changed_pct,
                to_spare="take media out, or feed more",
                ways=_ways(missing, litres) if missing > 0 else (),
            ),
        ),
        steps=(
            *made_steps(
                "Phosphorus",
                "Phosphate dissolved",
                feeds=feeds,
                content_pct=phosphorus_pct,
                wet_share=WET.phosphorus,
                fed_g_day=phosphorus,
                dissolved=nutrients.PHOSPHORUS_FATE.dissolved,
                per_element=PO4_PER_P,
                load_g_day=load,
            ),
            taken_step(fixed),
            *common_steps(system, "phosphate", target_mg_l, missing, measured=False),
        ),
        flags=(
            *assumed(measured=False),
            say(
                "Rock gives phosphate back for months: the water moves slower than the sum without rock. In 30 days "
                "expect {month}. Lower it by at most a fifth a week: a sudden fall harms corals.",
                month=amount("phosphate", course[30]),
            ),
        ),
        charts=(
            LineChart(
                "Phosphate from today",
                "Days",
                "days",
                "Phosphate",
                "phosphate",
                (
                    Curve("With the rock", DAYS, course),
                    Curve("Without rock", DAYS, [system.after_days(phosphate_mg_l, day) for day in DAYS]),
                ),
                (("Target", target_mg_l),),
            ),
            parts_chart(system, "Phosphate", phosphate_mg_l, fixed),
        ),
    )


def _medium_order(taken_g_day: float, media_l: float, capacity_g_l: float) -> tuple[Say, ...]:
    if not taken_g_day or not media_l:
        return ()
    days = nutrients.media_days(phosphate_g_day=taken_g_day, media_l=media_l, capacity_g_l=capacity_g_l)
    return (say("A new fill of the medium now in use lasts about {days} at this rate.", days=amount("days", days)),)


def _ways(missing: float, litres: float) -> tuple[Say, ...]:
    return (
        say("Or harvest {wet} more wet algae.", wet=amount("mass_per_day", algae_for_phosphate(missing))),
        say(
            "Or put {litres} of phosphate medium in its reactor in the sump, a quarter of it in each of the first four "
            "weeks; by the capacity given the whole lasts about 30 days.",
            litres=amount("volume", litres),
        ),
    )


def algae_for_phosphate(phosphate_g: float) -> float:
    """Wet harvest that takes out so much phosphate."""
    return phosphate_g / algae.harvest(wet_g=1.0).phosphate_g


SHEETS = (
    Worksheet(
        name="phosphate-balance",
        title="Phosphate: what feed and what export hold it",
        subject="Nutrients and feeding",
        purpose="Where phosphate goes from here, with the rock that stores it, and what holds the target.",
        inputs=(
            VOLUME,
            Input("phosphate_mg_l", "Phosphate now", "phosphate", 0, 20, recall="reading.phosphate"),
            FEED, FROZEN, CHANGED,
            Input("target_mg_l", "Phosphate to hold", "phosphate", 0.005, 5, default=0.06, usual=(0.02, 0.3),
                  recall="target.phosphate",
                  help="Common practice 0.03 to 0.1 mg/L."),
            ALGAE,
            Input("media_mg_day", "Phosphate taken by media, mg a day", "count", 0, 1e6, default=0,
                  help="Flow through the medium × (phosphate in − out)."),
            Input("media_l", "Medium in the reactor", "volume", 0, 5000, default=0, detail=True),
            Input("rock_mg_l", "Phosphate the rock is in balance with", "phosphate", 0, 20, optional=True,
                  help="What the water stood at for the last months; empty: as now.", detail=True),
            Input("rock_stock", "Store of the rock, as times that of the water", "ratio", 0.1, 500, default=10,
                  help="Common practice 5 to 50: much rock, much store.", detail=True),
            Input("exchange_per_day", "Exchange with the rock", "per_day", 0, 5, default=0.1, detail=True),
            Input("capacity_g_l", "Capacity of the medium, PO₄", "strength", 0.2, 50, default=4,
                  help="Common practice 2 to 10 g per litre of granulate.", detail=True),
            LOST, SKIMMED,
            Input("new_mg_l", "Phosphate of the new water", "phosphate", 0, 5, default=0.01, detail=True),
            Input("phosphorus_pct", "Phosphorus in the dry feed", "percent_fine", 0, 5, default=1.1, detail=True),
        ),
        outputs=(
            Output("settled_mg_l", "Settles at", "phosphate", main=True),
            Output("month_mg_l", "In 30 days, with the rock", "phosphate"),
            Output("missing_g_day", "Further export needed", "mass_per_day"),
            Output("feed_allowed_g_day", "Dry feed that holds the target", "mass_per_day"),
            Output("load_g_day", "Phosphate dissolved", "mass_per_day"),
        ),
        compute=phosphate,
        sources=("mass balance", "stoichiometry", "common practice", "Atkinson & Smith 1983"),
        valid="A settled system. 30 % of the phosphorus fed is taken as kept by animals, 20 % as removed with solids; "
        "the rock as one store that evens out slowly.",
    ),
)  # fmt: skip
