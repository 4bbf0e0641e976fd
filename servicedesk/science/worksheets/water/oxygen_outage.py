"""Worksheet of the oxygen left when the flow stops."""

from math import isfinite

from servicedesk.science.water import oxygen
from servicedesk.science.words import Amount, Say, say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    Curve,
    Input,
    LineChart,
    Output,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import ALTITUDE, SALINITY, TEMP, VOLUME, WHEN_IT_FAILS
from servicedesk.science.worksheets.water.oxygen_parts import (
    FEED,
    FISH,
    FISH_RATE,
    REEF_RATE,
    demand,
    demand_chart,
    demand_steps,
    saturation_step,
)


def outage(
    *,
    volume_l: float,
    fish_kg: float,
    surface_m2: float,
    temp_c: float,
    salinity: float,
    oxygen_mg_l: float | None,
    transfer_cm_h: float,
    air_per_h: float,
    limit_mg_l: float,
    respiration_mg_kg_h: float,
    reef_mg_l_h: float,
    feed_g_day: float,
    altitude_m: float,
) -> Answer:
    use = demand(volume_l, fish_kg, feed_g_day, respiration_mg_kg_h, reef_mg_l_h, 0.0)
    full = oxygen.saturation_mg_l(salinity, temp_c, altitude_m)
    start = 0.95 * full if oxygen_mg_l is None else oxygen_mg_l
    limits = (oxygen.WARN_MG_L, limit_mg_l)
    found = oxygen.after_flow_stops(
        start_mg_l=start,
        saturation_mg_l=full,
        use_mg_l_h=use.total,
        volume_l=volume_l,
        surface_m2=surface_m2,
        transfer_cm_h=transfer_cm_h,
        air_per_h=air_per_h,
        limits_mg_l=limits,
    )
    sealed = oxygen.hours_without_air(start_mg_l=start, least_mg_l=limit_mg_l, use_mg_l_h=use.total)
    warn, limit = found.reached_h
    exchange = transfer_cm_h / 100 * surface_m2 * 1000 / volume_l + air_per_h
    needed = use.total / max(full - oxygen.WARN_MG_L, 0.1) - exchange
    shown = 72 if limit is None else min(max(2 * limit, 2.0), 72.0)
    points = [(h, c) for h, c in zip(found.hours, found.oxygen_mg_l, strict=True) if h <= shown] if limit else []
    if not points:
        points = list(zip(found.hours, found.oxygen_mg_l, strict=True))
    return Answer(
        values={
            "limit_h": limit,
            "warn_h": warn,
            "sealed_h": sealed if isfinite(sealed) else None,
            "saturation_mg_l": full,
            "use_g_h": use.total * volume_l / 1000,
        },
        do=(_outage_order(limit, limit_mg_l, found.oxygen_mg_l[-1]), *_air_order(needed, limit)),
        steps=(
            saturation_step(full, salinity, temp_c, altitude_m),
            *demand_steps(use, volume_l, fish_kg, respiration_mg_kg_h, feed_g_day),
            step(
                "Exchange through the still surface and by emergency air",
                "{transfer} ÷ 100 × {surface} × 1000 ÷ {volume} + {air}",
                amount("per_hour", exchange),
                "common practice",
                transfer=amount("gas_transfer", transfer_cm_h),
                surface=amount("area", surface_m2),
                volume=amount("volume", volume_l),
                air=amount("per_hour", air_per_h),
            ),
            step(
                "With no exchange at all, the least time",
                "({start} − {limit}) ÷ {use}",
                amount("hours", sealed),
                "mass balance",
                start=amount("oxygen", start),
                limit=amount("oxygen", limit_mg_l),
                use=amount("oxygen_per_hour", use.total),
            ),
            step(
                "Integrated with the exchange, use falling below 3 mg/L",
                "dC/dt = {exchange} × ({full} − C) − {use}, from {start} to {limit}",
                amount("hours", limit if limit is not None else float("inf")),
                "mass balance",
                exchange=amount("per_hour", exchange),
                full=amount("oxygen", full),
                use=amount("oxygen_per_hour", use.total),
                start=amount("oxygen", start),
                limit=amount("oxygen", limit_mg_l),
            ),
        ),
        flags=(
            say("Mixed water is assumed: without any stir the fish crowd at the surface and corners fail sooner."),
            *(
                (say("Oxygen at the stop is taken as 95 % of saturation; at dawn it is less: type a reading."),)
                if oxygen_mg_l is None
                else ()
            ),
        ),
        charts=(
            LineChart(
                "Oxygen after the flow stops",
                "Hours after the stop",
                "hours",
                "Oxygen",
                "oxygen",
                (Curve("Oxygen", [h for h, _ in points], [c for _, c in points]),),
                (("Watch", oxygen.WARN_MG_L), ("Limit", limit_mg_l)),
            ),
            demand_chart(use, volume_l),
        ),
    )


def _outage_order(limit: float | None, limit_mg_l: float, last: float) -> Say:
    if limit is None:
        return say(
            "Oxygen settles at {last} and does not fall to {limit} within three days of no flow. Still restore flow "
            "first: warmth and pH go on.",
            last=amount("oxygen", last),
            limit=amount("oxygen", limit_mg_l),
        )
    if limit == 0:
        return say("Oxygen is at or under {limit} now: aerate at once, before anything else.",
                   limit=amount("oxygen", limit_mg_l))  # fmt: skip
    return say(
        "{hours} from the stop of the flow to {limit}. Within half that time, {half}, have air in: battery air pumps "
        "in the display, or lift water with a jug and pour it back from a height. Do not feed.",
        hours=_span(limit),
        half=_span(limit / 2),
        limit=amount("oxygen", limit_mg_l),
    )


def _span(hours: float) -> Amount:
    return amount("hours", hours) if hours >= 1 else amount("duration", 60 * hours)


def _air_order(needed: float, limit: float | None) -> tuple[Say, ...]:
    if limit is None or needed <= 0:
        return ()
    return (
        say(
            "Emergency air must add an exchange of {needed} to hold {watch}; test it once, pumps off, with a probe.",
            needed=amount("per_hour", needed),
            watch=amount("oxygen", oxygen.WARN_MG_L),
        ),
    )


SHEETS = (
    Worksheet(
        name="oxygen-after-flow-stops",
        title="Hours of oxygen after the flow stops",
        subject=WHEN_IT_FAILS,
        purpose="How long the animals have by night when the pumps stop, and what emergency air must do.",
        inputs=(
            VOLUME, FISH,
            Input("surface_m2", "Open water surface", "area", 0, 5000, help="Of the water cut off, the display."),
            TEMP, SALINITY,
            Input("oxygen_mg_l", "Oxygen when the flow stops", "oxygen", 0, 20, optional=True),
            Input("limit_mg_l", "Limit", "oxygen", 1, 6, default=oxygen.ALARM_MG_L, help="Common practice 4.",
                  detail=True),
            Input("transfer_cm_h", "Transfer through the still surface", "gas_transfer", 0, 20, default=1,
                  help="Common practice: 0.5 to 2 still, 2 to 5 with a fan or a stirred surface.", detail=True),
            Input("air_per_h", "Exchange by emergency air", "per_hour", 0, 10, default=0,
                  help="From a test with the pumps off; one good air stone in 300 L about 0.3.", detail=True),
            FISH_RATE, REEF_RATE, FEED, ALTITUDE,
        ),
        outputs=(
            Output("limit_h", "Time to the limit", "hours", main=True),
            Output("warn_h", "Time to 5 mg/L", "hours"),
            Output("sealed_h", "Least time, no exchange at all", "hours"),
            Output("saturation_mg_l", "Saturation", "oxygen"),
            Output("use_g_h", "Used by night", "mass_per_hour"),
        ),
        compute=outage,
        sources=("Garcia & Gordon 1992", "Weiss & Price 1980", "Timmons & Ebeling", "mass balance",
                 "common practice"),
        valid="By night, water of one mixed body, 5 to 34 °C. By day with lamps on it lasts longer.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
