"""Worksheet of the feeding plan."""

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import feeding, nutrients
from servicedesk.science.water.feeding import FEEDS, GROUPS, Meal, Ration
from servicedesk.science.water.nitrification import TAN_PER_PROTEIN
from servicedesk.science.words import Say, Term, say
from servicedesk.science.worksheets.declare import (
    STINGS,
    Answer,
    BarChart,
    Choice,
    Input,
    Listing,
    Output,
    Rows,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import LIGHTS_OFF, LIGHTS_ON, VOLUME

MOST_FISH_KG_L = 0.1
OXYGEN_PER_FEED = 0.45  # kg per kg of dry feed, over the hours after a meal: common practice
DIGEST_H = 6.0


def plan(
    *,
    volume_l: float,
    fish_kg: float | None,
    groups: tuple[tuple[str, float, float | None], ...],
    coral_feed_g: float,
    meals: float,
    coral_feeds: float,
    lights_on: float,
    lights_off: float,
    grams_per_turn: float | None,
    fasting: str,
) -> Answer:
    kept = groups or ((("omnivore", fish_kg, None),) if fish_kg else ())
    live_kg = sum(mass for _, mass, _ in kept)
    _check_fish(live_kg, volume_l)
    fish = [feeding.ration(group=group, mass_kg=mass, dry_pct=share) for group, mass, share in kept]
    corals = [Ration("plankton", coral_feed_g)] if coral_feed_g else []
    if not fish and not corals:
        raise ScienceError("Type the mass of the fish, by group or in all, or the coral feed.", "fish_kg")
    count, nights = round(meals), round(coral_feeds)
    day = feeding.plan(
        fish=fish,
        corals=corals,
        meals=count,
        lights_on_h=lights_on,
        lights_off_h=lights_off,
        coral_feeds=nights,
    )
    every = [*fish, *corals]
    share = 6 / 7 if fasting == "yes" else 1.0
    weekly = [*(Ration(part.feed, part.mass_g * share) for part in fish), *corals]
    nitrogen = feeding.nitrogen_g_day(weekly)
    phosphorus = feeding.phosphorus_g_day(weekly)
    nitrate = nutrients.nitrate_load_g_day(nitrogen)
    phosphate = nutrients.phosphate_load_g_day(phosphorus)
    dry = sum(part.dry_g for part in every)
    largest = sum(part.dry_g for part in fish) / count
    dip = largest * OXYGEN_PER_FEED * 1000 / DIGEST_H / volume_l
    ammonia = TAN_PER_PROTEIN * sum(part.protein_g for part in fish) / count * 1000 / volume_l
    return Answer(
        values={
            "feed_g_day": sum(part.mass_g for part in every),
            "dry_g_day": dry,
            "nitrogen_g_day": nitrogen,
            "phosphorus_g_day": phosphorus,
            "nitrate_mg_l_day": nitrate * 1000 / volume_l,
            "phosphate_mg_l_day": phosphate * 1000 / volume_l,
        },
        do=(
            *_weigh_orders(fish, corals, count, nights),
            say(
                "Give them at the times of the table, metered, into the flow at the front; watch that all is eaten "
                "within two minutes, and take the feed back by a tenth when it is not."
            ),
            *((say("Feed fish nothing on one day a week; corals as usual."),) if fasting == "yes" and fish else ()),
        ),
        steps=(
            *(_ration_step(part, kept[index]) for index, part in enumerate(fish)),
            step(
                "Nitrogen fed, mean of the week",
                " + ".join(f"{{{feed}}} × {FEEDS[feed].nitrogen:g}" for feed in feeding.total(weekly)),
                amount("mass_per_day", nitrogen),
                "common practice",
                **{feed: amount("mass_per_day", mass) for feed, mass in feeding.total(weekly).items()},
            ),
            step(
                "Nitrate it makes",
                "{nitrogen} × 60 ÷ 100 × 4.427 × 1000 ÷ {volume}",
                amount("ion_per_day", nitrate * 1000 / volume_l),
                "stoichiometry",
                nitrogen=amount("mass_per_day", nitrogen),
                volume=amount("volume", volume_l),
            ),
            step(
                "Phosphate it makes",
                "{phosphorus} × 50 ÷ 100 × 3.066 × 1000 ÷ {volume}",
                amount("ion_per_day", phosphate * 1000 / volume_l),
                "stoichiometry",
                phosphorus=amount("mass_per_day", phosphorus),
                volume=amount("volume", volume_l),
            ),
            step(
                "Oxygen used in the hours after a meal",
                "{dry} × 0.45 × 1000 ÷ 6 ÷ {volume}",
                amount("oxygen_per_hour", dip),
                "common practice",
                dry=amount("mass", largest),
                volume=amount("volume", volume_l),
            ),
            step(
                "Ammonia nitrogen from one meal",
                "0.092 × {protein} × 1000 ÷ {volume}",
                amount("trace", ammonia),
                "Timmons & Ebeling",
                protein=amount("mass", sum(part.protein_g for part in fish) / count),
                volume=amount("volume", volume_l),
            ),
        ),
        flags=_flags(nitrate * 1000 / volume_l, dip, fish, groups),
        listings=(_timetable(day, grams_per_turn),),
        charts=(
            BarChart(
                "Nitrogen fed, by feed",
                "mass_per_day",
                tuple((FEEDS[feed].label, mass * FEEDS[feed].nitrogen) for feed, mass in feeding.total(every).items()),
                "In all",
            ),
        ),
    )


def _check_fish(live_kg: float, volume_l: float) -> None:
    if live_kg > MOST_FISH_KG_L * volume_l:
        raise OutOfRange(
            say(
                "{fish} of fish in {volume} is not water: check units and volume.",
                fish=amount("mass_kg", live_kg),
                volume=amount("volume", volume_l),
            ),
            "fish_kg",
        )


def _weigh_orders(fish: list[Ration], corals: list[Ration], meals: int, nights: int) -> tuple[Say, ...]:
    found = [
        say(
            "Weigh out {mass} of {feed} for the day, in {meals} equal parts of {part}, by day, for the fish.",
            mass=amount("mass", mass),
            feed=FEEDS[feed].label.lower(),
            meals=str(meals),
            part=amount("mass", mass / meals),
        )
        for feed, mass in feeding.total(fish).items()
        if mass > 0
    ]
    found += [
        say(
            "Stir {mass} of {feed} into a jug of tank water for the corals, {parts}, after dark, pumps on low.",
            mass=amount("mass", mass),
            feed=FEEDS[feed].label.lower(),
            parts="all at once" if nights == 1 else f"in {nights} parts",
        )
        for feed, mass in feeding.total(corals).items()
    ]
    return tuple(found)


def _ration_step(part: Ration, kept: tuple[str, float, float | None]) -> Step:
    group, mass, typed = kept
    return step(
        f"{GROUPS[group].label}: {FEEDS[part.feed].label.lower()}",
        "{mass} × 1000 × {share} ÷ 100 ÷ {dry}",
        amount("mass_per_day", part.mass_g),
        "common practice",
        mass=amount("mass_kg", mass),
        share=amount("percent_fine", GROUPS[group].dry_pct if typed is None else typed),
        dry=amount("ratio", FEEDS[part.feed].dry),
    )


def _timetable(day: list[Meal], grams_per_turn: float | None) -> Listing:
    turns = grams_per_turn is not None
    heads = ("Time", "For", "What", *(("Feeder turns (dry feed)",) if turns else ()))
    rows: list[tuple[Term, ...]] = []
    for meal in day:
        for feed, mass in meal.amounts.items():
            row: list[Term] = [
                amount("clock", round(meal.hour * 12) / 12),
                meal.who,
                FEEDS[feed].label,
                amount("mass", mass),
            ]
            if grams_per_turn is not None:
                dry = feed in ("pellet", "flake")
                row.append(str(feeding.feeder_turns(mass, grams_per_turn)) if dry else "by hand")
            rows.append(tuple(row))
    return Listing("The day’s feeds", (*heads[:3], "Portion", *heads[3:]), tuple(rows))


def _flags(
    nitrate_mg_l_day: float, dip: float, fish: list[Ration], groups: tuple[tuple[str, float, float | None], ...]
) -> tuple[Say, ...]:
    found = []
    if nitrate_mg_l_day > 2:
        found.append(
            say(
                "This is heavy feeding: {rise} of nitrate. See the sheet nitrate-balance for the export it needs.",
                rise=amount("ion_per_day", nitrate_mg_l_day),
            )
        )
    if dip > 0.5:
        found.append(
            say(
                "A meal uses {dip} of oxygen for some hours: more and smaller meals, none in the last hour of light.",
                dip=amount("oxygen_per_hour", dip),
            )
        )
    if fish and not groups:
        found.append(say("All fish are taken as mixed feeders: list them by group for a better plan."))
    return tuple(found)


SHEETS = (
    Worksheet(
        name="feeding-plan",
        title="Feeding plan",
        subject="Nutrients and feeding",
        purpose="The day’s ration by species group, split into metered meals with clock times, corals after dark, and "
        "what it adds to nitrate and phosphate.",
        inputs=(
            VOLUME,
            Input("fish_kg", "Fish in all", "mass_kg", 0, 20000, optional=True, recall="animals.fish_kg",
                  help="Used when no groups are listed."),
            Rows(
                "groups",
                "Fish by group",
                (
                    Choice("group", "Group", tuple((key, group.label) for key, group in GROUPS.items()), "omnivore"),
                    Input("mass_kg", "Live mass", "mass_kg", 0, 20000),
                    Input("ration_pct", "Dry feed, % of mass a day", "percent_fine", 0, 10, optional=True),
                ),
                least=0,
                most=12,
                help="One line each: planktivore, herbivore, omnivore or predator, its mass, and the ration if not the "
                "usual (2, 1.5, 1.2, 0.8 % a day).",
            ),
            Input("coral_feed_g", "Plankton powder for corals a day", "mass", 0, 5000, default=0,
                  help="Common practice 0.5 to 2 g for each 1000 L."),
            Input("meals", "Fish meals a day", "count", feeding.LEAST_MEALS, feeding.MOST_MEALS, default=5,
                  recall="programme.feeds_per_day", help="Common practice: at least four metered feeds."),
            LIGHTS_ON,
            LIGHTS_OFF,
            Input("coral_feeds", "Coral feeds a night", "count", 1, 4, default=1, detail=True),
            Input("grams_per_turn", "One turn of the feeder, weighed", "mass", 0.01, 500, optional=True, detail=True),
            Choice("fasting", "One day a week without", (("no", "No"), ("yes", "Yes")), "no", detail=True),
        ),
        outputs=(
            Output("feed_g_day", "Feed a day, as fed", "mass_per_day", main=True),
            Output("dry_g_day", "Of it dry matter", "mass_per_day"),
            Output("nitrogen_g_day", "Nitrogen fed", "mass_per_day"),
            Output("phosphorus_g_day", "Phosphorus fed", "mass_per_day"),
            Output("nitrate_mg_l_day", "Nitrate it makes", "ion_per_day"),
            Output("phosphate_mg_l_day", "Phosphate it makes", "ion_per_day"),
        ),
        compute=plan,
        sources=("common practice", "Jones 1931", "Timmons & Ebeling", "stoichiometry"),
        valid="Grown fish in a settled system at 24 to 27 °C; young fish need two to three times as much. Feeds as on "
        "common labels.",
        cautions=(STINGS,),
    ),
)  # fmt: skip
