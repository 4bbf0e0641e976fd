"""Worksheets of reverse osmosis: daily supply and the first fill."""

from dataclasses import replace
from math import ceil, floor

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.water import exchange, molar
from servicedesk.science.water import reverse_osmosis as ro
from servicedesk.science.water.salinity import salt_kg
from servicedesk.science.water.seawater import absolute_salinity_g_kg, density_kg_l
from servicedesk.science.words import Say, Term, say
from servicedesk.science.worksheets.declare import (
    LIFTING,
    MAINS,
    Answer,
    AnyInput,
    Input,
    Listing,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import DRY, EVAPORATION, VOLUME
from servicedesk.science.worksheets.water.exchange import SALINITY, SUBJECT, TEMP

STORAGE_DAYS = 3.0
UNWATCHED = (
    "It runs unwatched: float valve and leak stop on the store, a tray with an alarm below, and somebody who looks in. "
    "Joining it to the drinking-water main, with its backflow preventer, is for a licensed plumber."
)
LISTED_BATCHES = 24

MEMBRANE: tuple[AnyInput, ...] = (
    Input("rated_l_day", "Rated output of the membranes at 25 °C", "volume_per_day", 1, 1e6,
          recall="plant.rodi.capacity"),
    Input("feed_temp_c", "Temperature of the cold main", "temperature", 1, 45, 12,
          help="In the coldest month: it governs."),
    Input("feed_kpa", "Pressure before the membrane", "pressure", 100, 7000, 414, usual=(250, 1000)),
    Input("recovery_pct", "Recovery", "percent", 5, 90, 25,
          help="Product over feed: 1 to 3 of reject is 25 %; pumps and recirculation reach 50 and more."),
    Input("tds_mg_l", "Dissolved solids of the main", "tds", 0, 5000, 300),
    Input("rating_kpa", "Pressure of the rating", "pressure", 100, 7000, 414, detail=True),
)  # fmt: skip


def _production(
    *, rated_l_day: float, feed_temp_c: float, feed_kpa: float, recovery_pct: float, tds_mg_l: float, rating_kpa: float
) -> tuple[float, tuple[Step, ...]]:
    """Litres a day of the membranes, and how that comes."""
    net = ro.net_pressure_kpa(feed_kpa=feed_kpa, tds_mg_l=tds_mg_l, recovery=recovery_pct / 100)
    made = ro.production_l_day(rated_l_day=rated_l_day, rated_kpa=rating_kpa, temp_c=feed_temp_c, net_kpa=net)
    factor = ro.temperature_factor(feed_temp_c)
    return made, (
        step("Part of the rating in water so cold", f"e^({ro.MEMBRANE_K:.0f} × (1/{ro.RATED_AT_C + ZERO_C_K:.2f} − 1/({{temperature}} + {ZERO_C_K})))",
             amount("ratio", factor), "ASTM D4516", temperature=amount("temperature", feed_temp_c)),
        step("Net pressure", "{feed} − 0.07 × {solids} × (1 + 1 ÷ (1 − {recovery} ÷ 100)) ÷ 2",
             amount("pressure", net), "ASTM D4516", feed=amount("pressure", feed_kpa),
             solids=amount("tds", tds_mg_l), recovery=amount("percent", recovery_pct)),
        step("Output", "{rated} × {factor} × {net} ÷ {rated_pressure}", amount("volume_per_day", made), "ASTM D4516",
             rated=amount("volume_per_day", rated_l_day), factor=f"{factor:.3f}", net=amount("pressure", net),
             rated_pressure=amount("pressure", rating_kpa)),
    )  # fmt: skip


def ro_supply(
    *,
    evaporation_l_day: float,
    change_l: float,
    interval_d: float,
    further_l_day: float,
    rejection_pct: float,
    resin_l: float | None,
    co2_mg_l: float,
    capacity_eq_l: float,
    **membrane: float,
) -> Answer:
    made, steps = _production(**membrane)
    recovery = membrane["recovery_pct"] / 100
    need = evaporation_l_day + change_l / interval_d + further_l_day
    reject, feed = ro.reject_l(need, recovery), ro.feed_l(need, recovery)
    solids = ro.product_tds_mg_l(membrane["tds_mg_l"], rejection_pct / 100)
    hours = 24 * need / made
    storage = max(STORAGE_DAYS * need, change_l)
    resin_days = None
    if resin_l and need and (solids or co2_mg_l):
        resin_days = ro.resin_days(
            resin_l=resin_l, use_l_day=need, tds_mg_l=solids, co2_mg_l=co2_mg_l, capacity_eq_l=capacity_eq_l
        )
    do, flags = [], []
    if hours > 24:
        flags.append(
            say(
                "The membranes give {made} and the system needs {need}: add membranes, or warm or pump the feed.",
                made=amount("volume_per_day", made),
                need=amount("volume_per_day", need),
            )
        )
    else:
        do.append(
            say(
                "Let the unit run {hours} a day; it gives {made} in water so cold.",
                hours=amount("hours", hours),
                made=amount("volume_per_day", made),
            )
        )
    do.append(
        say(
            "Store at least {storage}; plan a drain for {reject} and a main for {feed}.",
            storage=amount("volume", storage),
            reject=amount("volume_per_day", reject),
            feed=amount("volume_per_day", feed),
        )
    )
    if resin_days is not None:
        do.append(
            say(
                "Carry new resin every {days}, and sooner when the product reads more than 1 mg/L.",
                days=_whole_days(resin_days),
            )
        )
    return Answer(
        values={
            "production_l_day": made,
            "need_l_day": need,
            "run_h": min(hours, 24.0),
            "reject_l_day": reject,
            "product_mg_l": solids,
            "storage_l": storage,
            "resin_d": resin_days,
        },
        do=tuple(do),
        steps=(
            *steps,
            step("Daily need", "{evaporation} + {change} ÷ {interval} + {further}", amount("volume_per_day", need),
                 "mass balance", evaporation=amount("volume_per_day", evaporation_l_day),
                 change=amount("volume", change_l), interval=amount("days", interval_d),
                 further=amount("volume_per_day", further_l_day)),
            step("Hours a day", "24 × {need} ÷ {made}", amount("hours", hours), "mass balance",
                 need=amount("volume_per_day", need), made=amount("volume_per_day", made)),
            step("Reject", "{need} × (100 % − {recovery}) ÷ {recovery}", amount("volume_per_day", reject),
                 "mass balance", need=amount("volume_per_day", need),
                 recovery=amount("percent", membrane["recovery_pct"])),
            step("Solids after the membrane", "{solids} × (1 − {rejection} ÷ 100)", amount("tds", solids),
                 "mass balance", solids=amount("tds", membrane["tds_mg_l"]),
                 rejection=amount("percent", rejection_pct)),
            *_resin_step(resin_days, resin_l, need=need, solids=solids, co2_mg_l=co2_mg_l, capacity=capacity_eq_l),
        ),
        flags=tuple(flags),
    )  # fmt: skip


def _whole_days(days: float) -> Term:
    """Days as a technician plans them: whole, rounded down."""
    return amount("days", floor(days) if days >= 2 else days)


def _resin_step(
    days: float | None, resin_l: float | None, *, need: float, solids: float, co2_mg_l: float, capacity: float
) -> tuple[Step, ...]:
    if days is None or resin_l is None:
        return ()
    return (
        step("Days of resin", "{resin} × {capacity} × 1000 ÷ ({need} × "
             f"({{solids}} ÷ {ro.CACO3_MG_PER_MEQ:.2f} + {{carbon_dioxide}} ÷ {molar.CO2:.2f}))",
             amount("days", days), "mass balance", resin=amount("volume", resin_l),
             capacity=amount("resin", capacity), need=amount("volume_per_day", need), solids=f"{solids:.1f} mg/L",
             carbon_dioxide=amount("tds", co2_mg_l)),
    )  # fmt: skip


def first_fill(
    *,
    volume_l: float,
    mixing_l: float,
    stored_l: float,
    salinity: float,
    temp_c: float,
    dry_pct: float,
    mix_h: float,
    **membrane: float,
) -> Answer:
    made, steps = _production(**membrane)
    recovery = membrane["recovery_pct"] / 100
    mix = {"salinity": salinity, "temp_c": temp_c}
    water = exchange.fresh_water_l(batch_l=volume_l, **mix)
    salt = salt_kg(volume_l, dry_fraction=dry_pct / 100, **mix)
    to_make = max(water - stored_l, 0.0)
    days = ro.days_to_make(to_make, made)
    reject, feed = ro.reject_l(to_make, recovery), ro.feed_l(to_make, recovery)
    batches = exchange.haul(volume_l, mixing_l)
    each = {"batch": amount("volume", batches.each_l), "water": amount("volume", water / batches.goes),
            "salt": amount("mass_kg", salt / batches.goes)}  # fmt: skip
    made_of: dict[str, Term] = {"density": amount("density", density_kg_l(salinity, temp_c)),
               "salt": f"{absolute_salinity_g_kg(salinity):.2f} g/kg"}  # fmt: skip
    return Answer(
        values={
            "ro_d": days,
            "ready_d": days + mix_h / 24,
            "ro_water_l": water,
            "reject_l": reject,
            "feed_l": feed,
            "salt_kg": salt,
            "batches": float(batches.goes),
        },
        do=(
            say("Start the RO unit {days} before the day of filling (it gives {made} in water so cold) and book a "
                "drain for {reject}.", days=amount("days", ceil(days + mix_h / 24)),
                made=amount("volume_per_day", made), reject=amount("volume", reject)),
            say("Mix {number} of {batch}: for each fill {water} of RO water, warm it to {temperature}, then stir in "
                "{salt} of salt mix and let it turn for {hours} before it is checked and pumped over.",
                number="1 batch" if batches.goes == 1 else f"{batches.goes} batches",
                temperature=amount("temperature", temp_c), hours=amount("hours", mix_h), **each),
            say("Order {salt} of salt mix and a spare bag; add the last batch by the reading of salinity.",
                salt=amount("mass_kg", salt)),
        ),
        steps=(
            *steps,
            step("RO water", "{volume} × {density} × (1 − {salt} ÷ 1000) ÷ {density_of_water}",
                 amount("volume", water), "TEOS-10", volume=amount("volume", volume_l),
                 density_of_water=amount("density", density_kg_l(0, temp_c)), **made_of),
            step("Days of RO", "({water} − {stored}) ÷ {made}", amount("days", days), "mass balance",
                 water=amount("volume", water), stored=amount("volume", stored_l),
                 made=amount("volume_per_day", made)),
            step("Reject", "({water} − {stored}) × (100 % − {recovery}) ÷ {recovery}", amount("volume", reject),
                 "mass balance", water=amount("volume", water), stored=amount("volume", stored_l),
                 recovery=amount("percent", membrane["recovery_pct"])),
            step("Salt mix", "{volume} × {density} × {salt} ÷ 1000 ÷ ({dry} ÷ 100)",
                 amount("mass_kg", salt), "TEOS-10", volume=amount("volume", volume_l),
                 dry=amount("percent", dry_pct), **made_of),
        ),
        flags=tuple(_fill_flags(days, membrane["feed_temp_c"])),
        listings=(_batch_list(batches, water=water, salt=salt, made=made, stored_l=stored_l, mix_h=mix_h),),
    )  # fmt: skip


def _fill_flags(days: float, feed_temp_c: float) -> list[Say]:
    flags = []
    if days > 14:
        flags.append(say("{days} of RO is long: hire membranes, or have mixed seawater delivered.",
                         days=amount("days", days)))  # fmt: skip
    if feed_temp_c < 5:
        flags.append(say("A main below 5 °C gives half the rating and less: let the unit run in a warm room."))
    return flags


def _batch_list(
    batches: exchange.Haul, *, water: float, salt: float, made: float, stored_l: float, mix_h: float
) -> Listing:
    """When each batch has its water and when it is mixed, in days from the start of the RO unit."""
    each_water, each_salt = water / batches.goes, salt / batches.goes
    rows = []
    for number in range(1, min(batches.goes, LISTED_BATCHES) + 1):
        ready = max(number * each_water - stored_l, 0.0) / made
        rows.append((str(number), amount("volume", each_water), amount("mass_kg", each_salt), amount("days", ready),
                     amount("days", ready + mix_h / 24)))  # fmt: skip
    title = "Batches" if batches.goes <= LISTED_BATCHES else f"The first {LISTED_BATCHES} batches"
    return Listing(title, ("Batch", "RO water", "Salt mix", "Water made after", "Mixed after"), tuple(rows))


SHEETS = (
    Worksheet(
        name="ro-supply",
        title="Reverse osmosis: daily supply",
        subject=SUBJECT,
        purpose="Hours of running, storage, reject and days of resin for top-off and water changes.",
        inputs=(
            EVAPORATION,
            Input("change_l", "New water each change", "volume", 0, 1e6, 0),
            Input("interval_d", "Days from change to change", "days", 0.04, 365, 7),
            Input("further_l_day", "Other use of RO water", "volume_per_day", 0, 1e5, 0, detail=True),
            *MEMBRANE,
            Input("resin_l", "Mixed-bed resin", "volume", 0.1, 1e4, optional=True),
            Input("rejection_pct", "Rejection of the membrane", "percent", 50, 100, 97, detail=True),
            Input("co2_mg_l", "Carbon dioxide in the main", "tds", 0, 200, 5, detail=True,
                  help="It passes the membrane and uses up resin; well water may hold 20 and more."),
            Input("capacity_eq_l", "Capacity of the resin", "resin", 0.1, 1.5, 0.5, detail=True),
        ),
        outputs=(
            Output("production_l_day", "The unit gives", "volume_per_day", main=True),
            Output("need_l_day", "The system needs", "volume_per_day"),
            Output("run_h", "Hours of running a day", "hours", main=True),
            Output("reject_l_day", "Reject", "volume_per_day"),
            Output("product_mg_l", "Solids after the membrane", "tds"),
            Output("storage_l", "Store at least", "volume", main=True),
            Output("resin_d", "Days of resin", "days"),
        ),
        compute=ro_supply,
        sources=("ASTM D4516", "mass balance", "common practice"),
        valid="Tap-water membranes, feed 1 to 45 °C, no back pressure. Fouled membranes give less; storage for three "
              "days or one change is common practice.",
        cautions=(UNWATCHED, MAINS),
    ),
    Worksheet(
        name="first-fill",
        title="First fill",
        subject=SUBJECT,
        purpose="RO water, reject, salt, batches and days of RO to fill a new system from a cold main.",
        inputs=(
            VOLUME,
            Input("mixing_l", "Mixing tank", "volume", 20, 1e6,
                  help="The display itself when it is filled before rock and animals go in."),
            *MEMBRANE,
            Input("stored_l", "RO water already in store", "volume", 0, 1e6, 0, detail=True),
            replace(SALINITY, label="Salinity wanted", high=42, recall="target.salinity", detail=False),
            replace(TEMP, label="Temperature of the mix", default=25, recall=""),
            DRY,
            Input("mix_h", "Time to mix a batch", "hours", 1, 96, 24, detail=True),
        ),
        outputs=(
            Output("ro_d", "Days of RO", "days", main=True),
            Output("ready_d", "Last batch mixed after", "days"),
            Output("ro_water_l", "RO water", "volume", main=True),
            Output("reject_l", "Reject", "volume", main=True),
            Output("feed_l", "From the main", "volume"),
            Output("salt_kg", "Salt mix", "mass_kg", main=True),
            Output("batches", "Batches", "count"),
        ),
        compute=first_fill,
        sources=("ASTM D4516", "TEOS-10", "mass balance", "common practice"),
        valid="Salinity 5 to 42, feed 1 to 45 °C; the unit runs day and night.",
        cautions=(UNWATCHED, LIFTING, MAINS),
    ),
)  # fmt: skip
