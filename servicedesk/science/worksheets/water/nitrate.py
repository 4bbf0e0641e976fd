"""Worksheet of the nitrate balance."""

from dataclasses import replace

from servicedesk.science.quantities import NO3_PER_N
from servicedesk.science.water import algae, carbon_dosing, nutrients
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Input, Output, Worksheet, amount
from servicedesk.science.worksheets.inputs import VOLUME
from servicedesk.science.worksheets.water.nutrient_parts import (
    ALGAE,
    CHANGED,
    DAYS_A_WEEK,
    FEED,
    FROZEN,
    LOST,
    SKIMMED,
    WET,
    assumed,
    check_feed,
    common_steps,
    course_chart,
    feed_factor,
    made_steps,
    orders,
    outlook,
    parts_chart,
    settled,
    taken_step,
)


def nitrate(
    *,
    volume_l: float,
    nitrate_mg_l: float,
    feed_g_day: float,
    frozen_g_day: float,
    changed_pct: float,
    new_mg_l: float,
    algae_g_day: float,
    ethanol_g_day: float,
    target_mg_l: float,
    earlier_mg_l: float | None,
    since_d: float,
    lost_pct: float,
    skimmed_pct: float,
    nitrogen_pct: float,
) -> Answer:
    check_feed(volume_l, feed_g_day + frozen_g_day)
    nitrogen = feed_g_day * nitrogen_pct / 100 + frozen_g_day * WET.nitrogen
    load = nutrients.nitrate_load_g_day(nitrogen)
    skimmed = nutrients.skimmed_g_day(load_g_day=load, share=skimmed_pct / 100)
    scrubbed = algae.harvest(wet_g=algae_g_day).nitrate_g
    by_carbon = carbon_dosing.effect(substance="ethanol", mass_g_day=ethanol_g_day).nitrate_g
    feeds = (feed_g_day, frozen_g_day)
    fixed = (("Skimmer", skimmed), ("Algae", scrubbed), ("Carbon", by_carbon))
    system = nutrients.balance(
        volume_l=volume_l,
        load_g_day=load,
        fixed_g_day=sum(value for _name, value in fixed),
        lost_per_day=lost_pct / 100,
        changed_per_day=changed_pct / 100 / DAYS_A_WEEK,
        new_mg_l=new_mg_l,
    )
    if earlier_mg_l is not None:
        lost = nutrients.loss_from_readings_per_day(
            system=system, start_mg_l=earlier_mg_l, end_mg_l=nitrate_mg_l, days=since_d
        )
        system = replace(system, lost_per_day=lost)
    missing = system.export_needed_g_day(target_mg_l)
    # Skimming falls with the feed, so the allowed feed goes by the whole of what is left of it.
    factor = feed_factor(system, load - skimmed, missing)
    return Answer(
        values={
            "settled_mg_l": settled(system),
            "load_g_day": load,
            "missing_g_day": missing,
            "feed_allowed_g_day": factor * feed_g_day,
            "lost_per_day": system.lost_per_day,
        },
        do=(
            outlook(system, "nitrate", nitrate_mg_l),
            *orders(
                system,
                "nitrate",
                target=target_mg_l,
                missing=missing,
                feeds=feeds,
                factor=factor,
                changed_pct=changed_pct,
                to_spare="dose less carbon, skim drier, harvest less, or feed more",
                ways=_ways(missing) if missing > 0 else (),
            ),
        ),
        steps=(
            *made_steps(
                "Nitrogen",
                "Nitrate made",
                feeds=feeds,
                content_pct=nitrogen_pct,
                wet_share=WET.nitrogen,
                fed_g_day=nitrogen,
                dissolved=nutrients.NITROGEN_FATE.dissolved,
                per_element=NO3_PER_N,
                load_g_day=load,
            ),
            taken_step(fixed),
            *common_steps(system, "nitrate", target_mg_l, missing, measured=earlier_mg_l is not None),
        ),
        flags=assumed(measured=earlier_mg_l is not None),
        charts=(
            course_chart(system, "Nitrate", "nitrate", nitrate_mg_l, target_mg_l, missing),
            parts_chart(system, "Nitrate", nitrate_mg_l, fixed),
        ),
    )


def _ways(missing: float) -> tuple[Say, ...]:
    ethanol = carbon_dosing.dose_for_nitrate_g_day(substance="ethanol", nitrate_g_day=missing)
    return (
        say("Or harvest {wet} more wet algae.", wet=amount("mass_per_day", algae.wet_g_for_nitrate(missing))),
        say(
            "Or dose {ethanol} more ethanol (pure), raised by a quarter a week: see the sheet carbon-dosing for its "
            "oxygen first.",
            ethanol=amount("mass_per_day", ethanol),
        ),
    )


SHEETS = (
    Worksheet(
        name="nitrate-balance",
        title="Nitrate: what feed and what export hold it",
        subject="Nutrients and feeding",
        purpose="Where nitrate goes from here, and the feed or the export that holds the target.",
        inputs=(
            VOLUME,
            Input("nitrate_mg_l", "Nitrate now", "nitrate", 0, 500, recall="reading.nitrate"),
            FEED, FROZEN, CHANGED,
            Input("target_mg_l", "Nitrate to hold", "nitrate", 0.1, 100, default=10, usual=(1, 25),
                  recall="target.nitrate",
                  help="Common practice: about 10 mg/L on a heavily fed system."),
            ALGAE,
            Input("ethanol_g_day", "Carbon dosed a day, as pure ethanol", "mass_per_day", 0, 10000, default=0),
            Input("earlier_mg_l", "An earlier nitrate reading", "nitrate", 0, 500, optional=True,
                  help="With it the loss in rock and sand is found rather than assumed."),
            Input("since_d", "Days ago", "days", 1, 120, default=14, help="Of the earlier reading."),
            LOST, SKIMMED,
            Input("new_mg_l", "Nitrate of the new water", "nitrate", 0, 50, default=0.5, detail=True),
            Input("nitrogen_pct", "Nitrogen in the dry feed", "percent_fine", 0, 16, default=7.5,
                  help="Protein on the label ÷ 6.25.", detail=True),
        ),
        outputs=(
            Output("settled_mg_l", "Settles at", "nitrate", main=True),
            Output("missing_g_day", "Further export needed", "mass_per_day"),
            Output("feed_allowed_g_day", "Dry feed that holds the target", "mass_per_day"),
            Output("load_g_day", "Nitrate made", "mass_per_day"),
            Output("lost_per_day", "Lost in rock, sand and growth", "per_day"),
        ),
        compute=nitrate,
        sources=("mass balance", "stoichiometry", "common practice", "Jones 1931", "Ebeling 2006",
                 "Atkinson & Smith 1983"),
        valid="A settled system: all ammonia nitrified, animals growing slowly. 25 % of the nitrogen fed is taken as "
        "kept by animals, 15 % as removed with solids.",
    ),
)  # fmt: skip
