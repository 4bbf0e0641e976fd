"""Worksheet of the heaters."""

from typing import Any

from servicedesk.science.plant import heater
from servicedesk.science.plant.drift import Drift, drift
from servicedesk.science.plant.heat import exchange, heat_capacity_j_k
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    Curve,
    Input,
    LineChart,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.plant import asked

LONGEST_H = 14 * 24.0
DEAD_BAND_K = 0.5


def heater_size(
    *,
    volume_l: float,
    temp_c: float,
    room_c: float,
    warm_room_c: float,
    room_humidity_pct: float,
    steady_w: float,
    units: float,
    margin_pct: float,
    start_c: float,
    limit_c: float,
    night_h: float,
    altitude_m: float,
    **body: Any,
) -> Answer:
    tank = asked.tank_of(volume_l=volume_l, **body)
    air = asked.air_of(room_c, room_humidity_pct, altitude_m)
    warm_air = asked.air_of(max(warm_room_c, room_c), room_humidity_pct, altitude_m)

    def loose_w(water_c: float) -> float:
        return steady_w + exchange(tank, temp_c=water_c, air=air).total_w

    def loose_warm_w(water_c: float) -> float:
        return steady_w + exchange(tank, temp_c=water_c, air=warm_air).total_w

    lost = exchange(tank, temp_c=temp_c, air=air)
    loss_w = max(-loose_w(temp_c), 0.0)
    capacity = heat_capacity_j_k(volume_l, temp_c, tank.salinity)
    found = heater.size(loss_w, units=round(units), margin=1 + margin_pct / 100)
    stuck = heater.stuck_on(
        found.unit_w, loose_w=loose_warm_w, capacity_j_k=capacity, start_c=temp_c, hours=night_h, limit_c=limit_c
    )
    largest_w = heater.largest_unit_w(
        loose_w=loose_warm_w, capacity_j_k=capacity, start_c=temp_c, limit_c=limit_c, hours=night_h, most_w=1e6
    )
    warm_from = min(start_c, temp_c)
    heat_up = heater.heat_up_h(
        found.total_w, loose_w=loose_w, capacity_j_k=capacity, start_c=warm_from, target_c=temp_c, longest_h=LONGEST_H
    )
    needed = found.total_w > 0
    return Answer(
        values={
            "total_w": found.total_w,
            "unit_w": found.unit_w,
            "loss_w": loss_w,
            "heat_up_h": heat_up if needed else None,
            "stuck_c": stuck.last_c if needed else None,
            "stuck_h": stuck.limit_h if needed else None,
            "largest_unit_w": largest_w,
            "one_dead_pct": min(100 * found.lost_cover, 1000.0),
        },
        do=_do(found, temp_c, heat_up, warm_from),
        steps=(
            step("The water’s loss in the cold room",
                 "{walls} + {evaporation} + {air} + {radiation} + {steady}",
                 amount("power", lost.total_w + steady_w), "energy balance",
                 walls=amount("power", lost.walls_w), evaporation=amount("power", lost.evaporation_w),
                 air=amount("power", lost.convection_w), radiation=amount("power", lost.radiation_w),
                 steady=amount("power", steady_w)),
            step("Heaters together", "{loss} × (1 + {margin})", amount("power", found.total_w), "common practice",
                 loss=amount("power", loss_w), margin=amount("percent", margin_pct)),
            step("Each", "{together} ÷ {units}", amount("power", found.unit_w), "common practice",
                 together=amount("power", found.total_w), units=amount("count", found.units)),
            asked.capacity_step(volume_l, temp_c, tank.salinity),
            *((_stuck_step(temp_c, found.unit_w, steady_w, night_h, stuck.last_c),) if needed else ()),
        ),
        flags=(
            *(_flags(found, stuck, heat_up, warm_from, temp_c, largest_w, limit_c, night_h) if needed else ()),
            *asked.evaporation_flags(tank.air_m_s, room_humidity_pct),
        ),
        charts=(
            LineChart(
                title="One heater stuck on, and all warming up",
                x_label="Hours",
                x_quantity="hours",
                y_label="Water",
                y_quantity="temperature",
                curves=(
                    Curve("one stuck on", stuck.hours, stuck.temp_c),
                    _warming(found.total_w, loose_w, capacity, warm_from, heat_up, night_h),
                ),
                limits=(("limit", limit_c), ("set point", temp_c)),
            ),
        ),
    )  # fmt: skip


def _stuck_step(temp_c: float, unit_w: float, steady_w: float, night_h: float, end_c: float) -> Step:
    return step(
        "One stuck on, unseen",
        "{water} + ∫ ({each} + {steady} − losses) dt ÷ heat capacity, {hours}",
        amount("temperature", end_c),
        "Newton",
        water=amount("temperature", temp_c),
        each=amount("power", unit_w),
        steady=amount("power", steady_w),
        hours=amount("hours", night_h),
    )


def _warming(
    total_w: float, loose_w: heater.LooseHeat, capacity: float, start_c: float, heat_up: float | None, night_h: float
) -> Curve:
    hours = max(heat_up or LONGEST_H, night_h / 4)
    found = drift(lambda _h, t: loose_w(t) + total_w, capacity_j_k=capacity, start_c=start_c, hours=hours)
    return Curve("all warming up", found.hours, found.temp_c)


def _do(found: heater.Heaters, temp_c: float, heat_up: float | None, start_c: float) -> tuple[Say, ...]:
    if found.total_w == 0:
        return (
            say("No heater is needed in this room: pumps and other heat hold the water. Look at the coldest night."),
        )
    lines = [
        say(
            "Fit {units} heaters of {each} each, {total} together, on separate circuits and thermostats, where the "
            "flow passes even with one pump stopped; set them to {set_point}.",
            units=amount("count", found.units),
            each=amount("power", found.unit_w),
            total=amount("power", found.total_w),
            set_point=amount("temperature", temp_c),
        ),
        say(
            "Keep the chiller’s switching-on at least {band} above the heaters’ switching-off, and interlock them.",
            band=amount("temperature_difference", DEAD_BAND_K),
        ),
    ]
    if heat_up is not None and heat_up > 0:
        lines.append(
            say(
                "From {start} all of them warm the water in {hours}.",
                start=amount("temperature", start_c),
                hours=amount("hours", heat_up),
            )
        )
    return tuple(lines)


def _flags(
    found: heater.Heaters,
    stuck: Drift,
    heat_up: float | None,
    start_c: float,
    temp_c: float,
    largest_w: float,
    limit_c: float,
    night_h: float,
) -> tuple[Say, ...]:
    flags = []
    if stuck.limit_h is not None:
        flags.append(
            say(
                "One heater stuck on in the warm room brings the water to {limit} in {hours}. Use more, smaller units "
                "(at most {largest} each) or a second thermostat that cuts them all.",
                limit=amount("temperature", limit_c),
                hours=amount("hours", stuck.limit_h),
                largest=amount("power", largest_w),
            )
        )
    else:
        flags.append(
            say(
                "One heater stuck on for {night} in the warm room leaves the water at {end}, below {limit}.",
                night=amount("hours", night_h),
                end=amount("temperature", stuck.last_c),
                limit=amount("temperature", limit_c),
            )
        )
    if found.lost_cover < 1:
        flags.append(
            say(
                "With one heater dead the others carry {cover} of the loss: on the coldest night the water cools slowly.",
                cover=amount("percent", 100 * found.lost_cover),
            )
        )
    if heat_up is None:
        flags.append(
            say(
                "From {start} these heaters do not reach the set point within {days}: warm the new water beforehand.",
                start=amount("temperature", start_c),
                days=amount("days", LONGEST_H / 24),
            )
        )
    if start_c == temp_c:
        flags.append(say("The water starts at its set point: nothing to warm up."))
    return tuple(flags)


SHEETS = (
    Worksheet(
        name="heater-size",
        title="Size of the heaters",
        subject="Heating and cooling",
        purpose="Watts over two or more units, the time to warm up, and what one stuck on does in a night.",
        inputs=(
            asked.VOLUME,
            asked.WATER,
            Input("room_c", "Room at its coldest", "temperature", -5, 40, default=18.0,
                  help="The coldest night, with the building’s heating as it really runs."),
            Input("warm_room_c", "Room on a warm night", "temperature", 5, 40, default=25.0, detail=True,
                  help="For the heater that sticks on: then the room does not help."),
            asked.HUMIDITY,
            Input("steady_w", "Heat of pumps that always run", "power", 0, 2e5, default=0,
                  help="What reaches the water with the lamps off, from the heat balance. Nothing is the careful choice."),
            *asked.BODY,
            Input("units", "Heaters", "count", 2, 20, default=2, help="Two or more; none alone."),
            Input("limit_c", "Warmest the animals stand", "temperature", 10, 36, default=28.9,
                  help="Common practice 84 °F for a reef."),
            Input("night_h", "Hours nobody would see it", "hours", 1, 96, default=14, detail=True),
            Input("start_c", "Water to warm up from", "temperature", 2, 35, default=18.0, detail=True),
            Input("margin_pct", "Margin", "percent", 0, 100, default=25, usual=(20, 50), detail=True),
        ),
        outputs=(
            Output("total_w", "Heaters together", "power", main=True),
            Output("unit_w", "Each heater", "power"),
            Output("loss_w", "Loss on the coldest night", "power"),
            Output("heat_up_h", "Warming up", "hours"),
            Output("stuck_c", "Water after a night with one stuck on", "temperature"),
            Output("stuck_h", "Limit reached with one stuck on after", "hours"),
            Output("largest_unit_w", "Largest heater that cannot overheat it in that time", "power"),
            Output("one_dead_pct", "Share of the loss carried with one dead", "percent"),
        ),
        compute=heater_size,
        sources=("energy balance", "Newton", "Shah 2014", "ASHRAE Natatoriums", "Bowen 1926", "TEOS-10",
                 "common practice"),
        valid="Well-mixed water at 8 to 35 °C; Shah’s formula 6 to 35 °C of air, ASHRAE’s alone beyond. Rock and "
        "glass, which slow every change, are not counted.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
