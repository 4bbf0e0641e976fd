"""Worksheet of the oxygen of a day."""

from dataclasses import replace

from servicedesk.science.water import oxygen
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Curve, Input, LineChart, Output, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import ALTITUDE, LIGHTS_OFF, LIGHTS_ON, SALINITY, TEMP, VOLUME
from servicedesk.science.worksheets.water.oxygen_parts import (
    CARBON,
    FEED,
    FISH,
    FISH_RATE,
    REEF_RATE,
    demand,
    demand_chart,
    demand_steps,
    saturation_step,
)


def budget(
    *,
    volume_l: float,
    fish_kg: float,
    feed_g_day: float,
    temp_c: float,
    salinity: float,
    dawn_mg_l: float | None,
    exchange_per_h: float,
    production_mg_l_day: float,
    lights_on: float,
    lights_off: float,
    respiration_mg_kg_h: float,
    reef_mg_l_h: float,
    carbon_oxygen_g_day: float,
    altitude_m: float,
) -> Answer:
    use = demand(volume_l, fish_kg, feed_g_day, respiration_mg_kg_h, reef_mg_l_h, carbon_oxygen_g_day)
    full = oxygen.saturation_mg_l(salinity, temp_c, altitude_m)
    exchange = exchange_per_h
    if dawn_mg_l is not None and use.total > 0:
        exchange = oxygen.exchange_from_dawn_per_h(saturation_mg_l=full, dawn_mg_l=dawn_mg_l, use_mg_l_h=use.total)
    hours, course = oxygen.settled_day(
        saturation_mg_l=full,
        use_mg_l_h=use.total,
        production_mg_l_day=production_mg_l_day,
        exchange_per_h=exchange,
        lights_on_h=lights_on,
        lights_off_h=lights_off,
    )
    lowest = max(min(course), 0.0)
    when = hours[course.index(min(course))]
    per_hour = use.total * volume_l / 1000
    measured = dawn_mg_l is not None
    return Answer(
        values={
            "lowest_mg_l": lowest,
            "lowest_clock": when,
            "saturation_mg_l": full,
            "use_g_h": per_hour,
            "exchange_per_h": exchange,
        },
        do=(_night_order(lowest, when, full, use.total, volume_l),),
        steps=(
            saturation_step(full, salinity, temp_c, altitude_m),
            *demand_steps(use, volume_l, fish_kg, respiration_mg_kg_h, feed_g_day),
            step(
                "Gas exchange with the air",
                "{use} ÷ ({full} − {dawn})" if measured else "taken by common practice: {exchange}",
                amount("per_hour", exchange),
                "mass balance" if measured else "common practice",
                use=amount("oxygen_per_hour", use.total),
                full=amount("oxygen", full),
                dawn=amount("oxygen", dawn_mg_l if dawn_mg_l is not None else full),
                exchange=amount("per_hour", exchange),
            ),
            step(
                "A night without end would settle at",
                "{full} − {use} ÷ {exchange}",
                amount("oxygen", max(full - use.total / exchange, 0.0)),
                "mass balance",
                full=amount("oxygen", full),
                use=amount("oxygen_per_hour", use.total),
                exchange=amount("per_hour", exchange),
            ),
        ),
        flags=()
        if measured
        else (say("The gas exchange is assumed. An oxygen reading just before lights on makes this sheet far surer."),),
        charts=(
            LineChart(
                "Oxygen over the day",
                "Hour of the day",
                "clock",
                "Oxygen",
                "oxygen",
                (Curve("Oxygen", hours, course),),
                (("Saturation", full), ("Watch", oxygen.WARN_MG_L), ("Alarm", oxygen.ALARM_MG_L)),
            ),
            demand_chart(use, volume_l),
        ),
    )


def _night_order(lowest: float, when: float, full: float, use: float, volume_l: float) -> Say:
    terms = {"lowest": amount("oxygen", lowest), "when": amount("clock", when)}
    if lowest >= oxygen.WARN_MG_L:
        return say(
            "Oxygen falls to {lowest} at {when}: enough. Leave skimmer air and surface flow as they are.", **terms
        )
    air = max(use / max(full - oxygen.WARN_MG_L, 0.1), 0.0)
    text = (
        "Oxygen falls to {lowest} at {when}. Give more air tonight: open the skimmer’s air, raise flow across the "
        "surface and over the weir until the exchange is {needed}; feed less in the last meals; stop carbon dosing. "
        "Measure again just before lights on."
    )
    if lowest < oxygen.ALARM_MG_L:
        text = "Danger: " + text[0].lower() + text[1:]
    return say(text, needed=amount("per_hour", air), **terms)


SHEETS = (
    Worksheet(
        name="oxygen-budget",
        title="Oxygen over day and night",
        subject="Oxygen",
        purpose="How low oxygen falls before lights on, who uses it, and how much air it takes.",
        inputs=(
            VOLUME, FISH, FEED, TEMP, SALINITY,
            Input("dawn_mg_l", "Oxygen just before lights on", "oxygen", 0, 12, optional=True, help="Measured; it gives the true gas exchange."),
            Input("exchange_per_h", "Gas exchange, if not measured", "per_hour", 0.05, 10, default=0.8,
                  help="Common practice 0.3 (calm) to 1.5 (strong skimmer and weir).", detail=True),
            Input("production_mg_l_day", "Oxygen made by light a day", "ion_per_day", 0, 60, default=5,
                  help="Corals and algae; common practice 2 to 13 mg/L a day.", detail=True),
            replace(LIGHTS_ON, detail=True), replace(LIGHTS_OFF, detail=True),
            FISH_RATE, REEF_RATE, CARBON, ALTITUDE,
        ),
        outputs=(
            Output("lowest_mg_l", "Lowest oxygen", "oxygen", main=True),
            Output("lowest_clock", "At", "clock"),
            Output("saturation_mg_l", "Saturation", "oxygen"),
            Output("use_g_h", "Used by night", "mass_per_hour"),
            Output("exchange_per_h", "Gas exchange", "per_hour"),
        ),
        compute=budget,
        sources=("Garcia & Gordon 1992", "Weiss & Price 1980", "ASHRAE Fundamentals", "Timmons & Ebeling",
                 "mass balance", "common practice"),
        valid="Salinity 19 to 42, 5 to 34 °C, pumps running, the day settled. Limits 5 (watch) and 4 mg/L (alarm) are "
        "common practice.",
    ),
)  # fmt: skip
