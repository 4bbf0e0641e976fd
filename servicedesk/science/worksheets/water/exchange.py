"""Worksheet of water changes."""

from dataclasses import replace

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import exchange
from servicedesk.science.water.salinity import salt_kg
from servicedesk.science.water.seawater import absolute_salinity_g_kg, density_kg_l
from servicedesk.science.words import Say, Term, say
from servicedesk.science.worksheets import inputs
from servicedesk.science.worksheets.declare import (
    LIFTING,
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import DRY, VOLUME

SUBJECT = "Water change and top-off"
LARGE_SHARE = 0.3
SALINITY = replace(inputs.SALINITY, low=5, high=45, detail=True)
TEMP = replace(inputs.TEMP, high=35, detail=True)


def water_change(
    *,
    volume_l: float,
    way: str,
    nitrate_mg_l: float,
    new_mg_l: float,
    target_mg_l: float | None,
    change_l: float,
    times: float,
    interval_d: float,
    rise_mg_l_day: float,
    mixing_l: float | None,
    van_l: float | None,
    payload_kg: float | None,
    dry_pct: float,
    salinity: float,
    temp_c: float,
) -> Answer:
    share = change_l / volume_l
    if share > 1 and way == "batch":
        raise ScienceError("A change cannot take more than the system holds: check the units.", "change_l")
    count = int(times)
    days, levels = _course(way=way, volume_l=volume_l, start=nitrate_mg_l, new=new_mg_l, change_l=change_l,
                           count=count, interval_d=interval_d, rise_per_day=rise_mg_l_day)  # fmt: skip
    settled = _settled(way, new=new_mg_l, rise=rise_mg_l_day * interval_d, share=share)
    needed = _needed(way, before=nitrate_mg_l, new=new_mg_l, target=target_mg_l,
                     rise=rise_mg_l_day * interval_d, change_l=change_l, volume_l=volume_l)  # fmt: skip
    batch_l = exchange.haul(change_l, mixing_l).each_l if mixing_l else change_l
    mix = {"salinity": salinity, "temp_c": temp_c}
    salt = salt_kg(batch_l, dry_fraction=dry_pct / 100, **mix)
    water = exchange.fresh_water_l(batch_l=batch_l, **mix)
    do = [_how(way, change_l, share, count, interval_d, levels[-1]), *_logistics(
        change_l=change_l, batch_l=batch_l, mixing_l=mixing_l, van_l=van_l, payload_kg=payload_kg, salt=salt,
        water=water, **mix,
    )]  # fmt: skip
    if needed == 0:
        do.append(say("The level is at the target already: changes as usual keep it there."))
    elif needed is not None and target_mg_l is not None:
        do.append(say("To reach {target} it takes {water} of new water: {number} changes like this."
                      if way == "batch" else "To reach {target} it takes {water} of new water.",
                      target=amount("nitrate", target_mg_l), water=amount("volume", needed * change_l),
                      number=amount("count", needed)))  # fmt: skip
    if target_mg_l is not None and needed is None:
        do.extend(_more_water(new=new_mg_l, rise=rise_mg_l_day * interval_d, hold=target_mg_l, volume_l=volume_l))
    return Answer(
        values={
            "level_after_mg_l": levels[-1],
            "first_after_mg_l": exchange.after_change(before=nitrate_mg_l, new=new_mg_l, share=share)
            if way == "batch"
            else exchange.after_continuous(before=nitrate_mg_l, new=new_mg_l, exchanged_l=change_l, volume_l=volume_l),
            "changes_needed": needed,
            "settled_mg_l": settled,
            "water_l": change_l * count,
            "salt_kg": salt,
        },
        do=tuple(do),
        steps=_steps(way, volume_l=volume_l, before=nitrate_mg_l, new=new_mg_l, change_l=change_l, count=count,
                     rise=rise_mg_l_day * interval_d, settled=settled, batch_l=batch_l, salt=salt, dry_pct=dry_pct,
                     **mix),
        flags=tuple(_flags(share, way, settled, target_mg_l, needed is None)),
        charts=(LineChart(
            "Level over the changes", "Days", "days", "Level", "nitrate",
            (Curve("With the changes", days, levels),),
            (("Settles at", settled),) + ((("Target", target_mg_l),) if target_mg_l is not None else ()),
        ),),
    )  # fmt: skip


def _course(
    *, way: str, volume_l: float, start: float, new: float, change_l: float, count: int, interval_d: float,
    rise_per_day: float,
) -> tuple[list[float], list[float]]:  # fmt: skip
    """Days and levels: a first change at once, then one each interval; or water running in all the time."""
    if way == "continuous":
        days = [interval_d * count * i / 60 for i in range(61)]
        return days, [
            exchange.level_with_input(before=start, new=new, exchanged_l_day=change_l / interval_d,
                                      input_per_day=rise_per_day, volume_l=volume_l, days=day)
            for day in days
        ]  # fmt: skip
    days, levels = [0.0], [start]
    for number in range(count):
        before = levels[-1] + (rise_per_day * interval_d if number else 0.0)
        day = number * interval_d
        days += [day, day]
        levels += [before, exchange.after_change(before=before, new=new, share=change_l / volume_l)]
    return days, levels


def _settled(way: str, *, new: float, rise: float, share: float) -> float:
    """Where the level ends: just before a change, or all the time."""
    if way == "continuous":
        return new + rise / share
    return exchange.settled_before(new=new, input_per_interval=rise, share=share)


def _needed(
    way: str,
    *,
    before: float,
    new: float,
    target: float | None,
    rise: float,
    change_l: float,
    volume_l: float,
) -> float | None:
    """Changes to the target, whole ones when by batch; None without target or when they settle short of it."""
    if target is None:
        return None
    if not min(new, before) <= target <= max(new, before):
        raise ScienceError("The target must lie between the level of the new water and the level now.", "target_mg_l")
    share = change_l / volume_l
    try:
        if way == "continuous":
            return (
                exchange.continuous_to_target_l(
                    before=before, new=new, target=target, volume_l=volume_l, input_per_volume=rise / share
                )
                / change_l
            )
        if share > 1 - 1e-9:
            return 1.0
        return float(
            exchange.whole_changes(before=before, new=new, target=target, share=share, input_per_interval=rise)
        )
    except OutOfRange:
        return None


def _more_water(*, new: float, rise: float, hold: float, volume_l: float) -> list[Say]:
    """How much each change must take so that the level stays below ``hold``, when any change can."""
    try:
        share = exchange.share_to_hold(new=new, input_per_interval=rise, hold=hold)
    except OutOfRange:
        return [say("No change so rare holds {hold}: change more often.", hold=amount("nitrate", hold))]
    return [say("Change at least {water} each time to hold {hold}.", water=amount("volume", share * volume_l),
                hold=amount("nitrate", hold))]  # fmt: skip


def _how(way: str, change_l: float, share: float, count: int, interval_d: float, level: float) -> Say:
    words: dict[str, Term] = {
        "water": amount("volume", change_l), "share": amount("percent", 100 * share), "number": str(count),
        "interval": amount("days", interval_d), "level": amount("nitrate", level),
    }  # fmt: skip
    if way == "continuous":
        return say("Let {water} ({share}) run in and out evenly every {interval}; after {number} such spans the "
                   "level is {level}.", **words)  # fmt: skip
    return say("Change {water} ({share}) every {interval}; right after the change number {number} the level is "
               "{level}.", **words)  # fmt: skip


def _logistics(
    *, change_l: float, batch_l: float, mixing_l: float | None, van_l: float | None, payload_kg: float | None,
    salt: float, water: float, salinity: float, temp_c: float,
) -> list[Say]:  # fmt: skip
    """Batches in the mixing tank and loads of the van for one change."""
    said = [say("For each batch of {batch} fill {water} of RO water, then stir in {salt} of salt mix; match "
                "temperature within {kelvin}, salinity within 0.5 PSS and alkalinity before use.",
                kelvin=amount("temperature_difference", 1.0),
                batch=amount("volume", batch_l), water=amount("volume", water),
                salt=amount("mass_kg", salt))]  # fmt: skip
    if mixing_l:
        said.append(say("Mix one change in {goes} of the mixing tank.",
                        goes=_times(exchange.haul(change_l, mixing_l).goes, "batch", "batches")))  # fmt: skip
    if van_l or payload_kg:
        room = exchange.van_capacity_l(
            payload_kg=payload_kg or 1e9, tank_l=van_l or 1e9, salinity=salinity, temp_c=temp_c
        )
        load = exchange.haul(change_l, room)
        said.append(say("Bring one change in {goes} of {each}; the van's payload and tank allow {most}.",
                        goes=_times(load.goes, "van load", "van loads"), each=amount("volume", load.each_l),
                        most=amount("volume", room)))  # fmt: skip
    return said


def _times(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _steps(
    way: str, *, volume_l: float, before: float, new: float, change_l: float, count: int, rise: float,
    settled: float, batch_l: float, salt: float, dry_pct: float, salinity: float, temp_c: float,
) -> tuple[Step, ...]:  # fmt: skip
    share = change_l / volume_l
    terms = {"change": amount("volume", change_l), "volume": amount("volume", volume_l),
             "now": amount("nitrate", before), "new": amount("nitrate", new)}  # fmt: skip
    if way == "continuous":
        first = exchange.after_continuous(before=before, new=new, exchanged_l=change_l, volume_l=volume_l)
        one = step("After the first span, nothing added", "{new} + ({now} − {new}) × e^(−{change} ÷ {volume})",
                   amount("nitrate", first), "mass balance", **terms)  # fmt: skip
        end = step("Settles at", "{new} + {rise} × {volume} ÷ {change}", amount("nitrate", settled), "mass balance",
                   rise=amount("nitrate", rise), **terms)  # fmt: skip
    else:
        first = exchange.after_change(before=before, new=new, share=share)
        one = step("After the first change", "{now} × (1 − {change} ÷ {volume}) + {new} × {change} ÷ {volume}",
                   amount("nitrate", first), "mass balance", **terms)  # fmt: skip
        end = step("Settles before a change at", "{new} + {rise} × {volume} ÷ {change}", amount("nitrate", settled),
                   "mass balance", rise=amount("nitrate", rise), **terms)  # fmt: skip
    return (
        one,
        end,
        step("New water together", "{change} × {number}", amount("volume", change_l * count), "mass balance",
             change=amount("volume", change_l), number=amount("count", count)),
        step("Salt mix for a batch", "{batch} × {density} × {salt} ÷ 1000 ÷ ({dry} ÷ 100)",
             amount("mass_kg", salt), "TEOS-10", batch=amount("volume", batch_l), dry=amount("percent", dry_pct),
             density=amount("density", density_kg_l(salinity, temp_c)),
             salt=f"{absolute_salinity_g_kg(salinity):.2f} g/kg"),
    )  # fmt: skip


def _flags(share: float, way: str, settled: float, target: float | None, never: bool) -> list[Say]:
    flags = []
    if share > LARGE_SHARE and way == "batch":
        flags.append(
            say(
                "{share} at once is a large change: common practice is at most 30 %, slowly, with "
                "temperature, salinity and alkalinity matched.",
                share=amount("percent", 100 * share),
            )
        )
    if target is not None and never:
        flags.append(
            say(
                "With what the system adds these changes never reach the target; they settle at {settled}: "
                "change more, or feed less, or export more.",
                settled=amount("nitrate", settled),
            )
        )
    return flags


SHEETS = (
    Worksheet(
        name="water-change",
        title="Water change",
        subject=SUBJECT,
        purpose="What changes bring, one, many or continuous; how many to a target; batches, salt and van loads.",
        inputs=(
            VOLUME,
            Choice("way", "How", (("batch", "In batches"), ("continuous", "Water running in and out evenly")), "batch"),
            Input("nitrate_mg_l", "Nitrate now", "nitrate", 0, 1000, recall="reading.nitrate",
                  help="Or any other substance that nothing but changes takes out, in mg/L."),
            Input("new_mg_l", "In the new water", "nitrate", 0, 1000, 0),
            Input("target_mg_l", "Target", "nitrate", 0, 1000, optional=True, help="Common practice about 10 mg/L."),
            Input("change_l", "New water each time", "volume", 0.1, 2e6),
            Input("times", "Number of changes", "count", 1, 500, 6),
            Input("interval_d", "Days from change to change", "days", 0.04, 365, 7),
            Input("rise_mg_l_day", "What the system adds a day", "ion_per_day", 0, 100, 0,
                  help="Rise between changes over the days; the sheet of the nutrient balance tells it."),
            Input("mixing_l", "Mixing tank", "volume", 1, 1e6, optional=True),
            Input("van_l", "Water tank of the van", "volume", 1, 1e5, optional=True),
            Input("payload_kg", "Payload of the van for water", "mass_kg", 1, 1e5, optional=True),
            DRY, SALINITY, TEMP,
        ),
        outputs=(
            Output("level_after_mg_l", "Level after all changes", "nitrate", main=True),
            Output("first_after_mg_l", "Level after the first", "nitrate"),
            Output("changes_needed", "Changes to the target", "count", main=True),
            Output("settled_mg_l", "Settles at (just before a change)", "nitrate"),
            Output("water_l", "New water together", "volume"),
            Output("salt_kg", "Salt mix for one batch", "mass_kg", main=True),
        ),
        compute=water_change,
        sources=("mass balance", "TEOS-10", "common practice"),
        valid="Well mixed water and a substance that nothing else takes out or gives back; rock and sand give back "
              "nitrate and phosphate for weeks. The number to a target counts right after a change.",
        cautions=(LIFTING,),
    ),
)  # fmt: skip
