"""Worksheet of the water's temperature after cooling, heating or power fails."""

from collections.abc import Callable
from typing import Any

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import failures as science
from servicedesk.science.plant.air import pressure_pa
from servicedesk.science.plant.drift import COLDEST_C, HOTTEST_C, Drift
from servicedesk.science.plant.heat import Tank, exchange
from servicedesk.science.words import Amount, Say, Term, say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Listing,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import WHEN_IT_FAILS
from servicedesk.science.worksheets.plant import asked

LOOK_H = (6, 12, 24, 48)
FAN_M_S = 1.0
MELTING_KJ_KG, FRESH_KJ_KG_K = 333.4, 4.19  # ice at 0 °C; then fresh water
Lamps = Callable[[float], float]
"""Watts of the lamps into the water by hours after the failure."""

NARROW_K = 0.5  # nearer to a limit than this the sum cannot tell


def temperature_after_failure(
    *,
    fails: str,
    fails_at: float,
    volume_l: float,
    temp_c: float,
    room_c: float,
    room_after_c: float | None,
    room_time_h: float,
    room_humidity_pct: float,
    steady_w: float,
    lamp_w: float,
    lamp_share_pct: float,
    lights_on: float,
    lights_off: float,
    lid_pct: float,
    low_c: float,
    high_c: float,
    altitude_m: float,
    **body: Any,
) -> Answer:
    _check_limits(temp_c, low_c, high_c)
    tank = asked.tank_of(volume_l=volume_l, lid_pct=lid_pct, **body)
    room = science.RoomDrift(
        start_c=room_c,
        humidity_pct=room_humidity_pct,
        end_c=room_c if room_after_c is None else room_after_c,
        time_h=room_time_h,
        pressure_pa=pressure_pa(altitude_m),
    )
    lamps = _lamps(lamp_w * lamp_share_pct / 100, fails_at, lights_on, lights_off)
    cases = _cases(fails, tank, lid_pct, steady_w, lamps if lamp_w > 0 else None)
    found = [(case, _follow(case, light, temp_c, room, (low_c, high_c))) for case, light in cases]
    limit_c = _limit(found[0][1], temp_c, low_c, high_c)
    first, best = found[0], max(found, key=lambda pair: _late(pair[1]))
    hold_w = first[0].heat_w + exchange(first[0].tank, temp_c=limit_c, air=room.air(first[1].limit_h or 0)).total_w
    straight = science.straight_line_h(
        science.Case("", first[0].heat_w + (lamps(0) if cases[0][1] else 0.0), first[0].tank),
        start_c=temp_c, limit_c=limit_c, room=room,
    )  # fmt: skip
    return Answer(
        values={
            "hours": first[1].limit_h,
            "best_hours": best[1].limit_h,
            "limit_c": limit_c,
            "after_12_c": _at(first[1], 12),
            "after_24_c": _at(first[1], 24),
            "straight_h": straight,
        },
        do=_do(fails, fails_at, first, best, low_c, high_c, hold_w),
        steps=_steps(tank, first[0], cases[0][1], temp_c, room, first[1], limit_c),
        flags=_flags(
            fails,
            straight,
            first[1],
            best[1],
            max(case.tank.air_m_s for case, _ in found),
            room_after_c,
            room_humidity_pct,
        ),
        charts=(
            LineChart(
                title="Water after the failure",
                x_label="Hours after the failure",
                x_quantity="hours",
                y_label="Water",
                y_quantity="temperature",
                curves=tuple(Curve(case.name, run.hours, run.temp_c) for case, run in found),
                limits=(("coldest", low_c), ("warmest", high_c)),
            ),
        ),
        listings=(_table(found, room),),
    )


def _check_limits(temp_c: float, low_c: float, high_c: float) -> None:
    if temp_c <= low_c:
        raise ScienceError("The water is already as cold as the coldest the animals stand.", "low_c")
    if temp_c >= high_c:
        raise ScienceError("The water is already as warm as the warmest the animals stand.", "high_c")


def _span(hours: float) -> Amount:
    """Hours, or minutes when they are less than two."""
    return amount("hours", hours) if hours >= 2 else amount("duration", hours * 60)


def _lamps(power_w: float, fails_at: float, on_h: float, off_h: float) -> Lamps:
    """The lamps by the clock, from the hour of the failure."""

    def heat(hours: float) -> float:
        clock = (fails_at + hours) % 24
        lit = on_h <= clock < off_h if on_h <= off_h else clock >= on_h or clock < off_h
        return power_w if lit else 0.0

    return heat


def _cases(
    fails: str, tank: Tank, lid_pct: float, steady_w: float, lamps: Lamps | None
) -> list[tuple[science.Case, Lamps | None]]:
    """What may be done, the state as it is found first."""
    opened, covered = science.with_lids(tank, 0), science.with_lids(tank, max(lid_pct / 100, 0.9))
    still = science.with_fans(opened, FAN_M_S)
    as_is = "as it is" if lid_pct else "as it is, no lids"
    if fails == "power":
        return [
            (science.Case(f"{as_is}, all off", 0.0, tank), None),
            *([(science.Case("all off, lids off", 0.0, opened), None)] if lid_pct else []),
            (science.Case("all off, lids on", 0.0, covered), None),
            (science.Case("all off, lids off, fans on a battery", 0.0, still), None),
        ]
    if fails == "heater":
        rows = [(science.Case(as_is, steady_w, tank), lamps), (science.Case("lids on", steady_w, covered), lamps)]
        return [*rows, *([(science.Case("lamps off, lids on", steady_w, covered), None)] if lamps else [])]
    return [
        (science.Case(f"{as_is}, lamps by the clock" if lamps else as_is, steady_w, tank), lamps),
        *([(science.Case("lamps off", steady_w, tank), None)] if lamps else []),
        *([(science.Case("lamps off, lids off" if lamps else "lids off", steady_w, opened), None)] if lid_pct else []),
        (science.Case("lamps off, lids off, fans" if lamps else "lids off, fans", steady_w, still), None),
    ]


def _limit(run: Drift, temp_c: float, low_c: float, high_c: float) -> float:
    """The limit that is met first, or the one that the water goes towards.

    Lamps may overheat by day water that has cooled again by the end.
    """
    if run.met_c is not None:
        return run.met_c
    return high_c if run.last_c >= temp_c else low_c


def _follow(
    case: science.Case, lamps: Lamps | None, temp_c: float, room: science.RoomDrift, limits_c: tuple[float, float]
) -> Drift:
    return science.temperature_after(
        case,
        start_c=temp_c,
        room=room,
        hours=max(LOOK_H),
        limit_c=limits_c,
        heat_at=None if lamps is None else lambda hours: case.heat_w + lamps(hours),
    )


def _late(run: Drift) -> float:
    return max(LOOK_H) + 1.0 if run.limit_h is None else run.limit_h


def _at(run: Drift, hours: float) -> float:
    """The temperature at an hour of a run, the last one known when it was not followed so far."""
    seen = [temp_c for hour, temp_c in zip(run.hours, run.temp_c, strict=True) if hour <= hours + 1e-6]
    return seen[-1]


def _do(
    fails: str,
    fails_at: float,
    first: tuple[science.Case, Drift],
    best: tuple[science.Case, Drift],
    low_c: float,
    high_c: float,
    hold_w: float,
) -> tuple[Say, ...]:
    hours, met_c = first[1].limit_h, first[1].met_c
    if hours is None or met_c is None:
        warmest, coldest = max(first[1].temp_c), min(first[1].temp_c)
        if warmest > high_c - NARROW_K or coldest < low_c + NARROW_K:
            return (
                say(
                    "No limit is met in 48 hours, but the water comes to {near}, within the error of this sum: treat it "
                    "as urgent.",
                    near=amount("temperature", warmest if warmest > high_c - NARROW_K else coldest),
                ),
                _rescue(fails, warmest > high_c - NARROW_K),
            )
        calm = say("The water stays between {low} and {high} for 48 hours as it stands: mend it in office hours, and "
                   "watch it twice a day.", low=amount("temperature", low_c),
                   high=amount("temperature", high_c))  # fmt: skip
        return (calm,) if fails != "power" else (_rescue(fails, False), calm)
    limit = amount("temperature", met_c)
    if hours < 1:
        lines = [say("It cannot wait: as it stands the water reaches {limit} {hours} after the failure.", limit=limit,
                     hours=_span(hours))]  # fmt: skip
    else:
        lines = [say("Be there before {at}: as it stands the water reaches {limit} {hours} after the failure.",
                     at=_clock(fails_at, hours), limit=limit, hours=_span(hours))]  # fmt: skip
    if best[0].name != first[0].name:
        gain = best[1].limit_h
        if gain is None:
            lines.append(say("Do this at once and it stays within the limits for 48 hours: {deed}.", deed=best[0].name))
        elif gain > hours * 1.02:
            lines.append(say("Do this at once and it takes {hours} to {limit}: {deed}.", hours=_span(gain),
                             limit=amount("temperature", best[1].met_c or met_c), deed=best[0].name))  # fmt: skip
    lines.append(_rescue(fails, met_c == high_c))
    if met_c == high_c and hold_w > 0:
        lines.append(say("With the lamps off about {ice} of ice an hour holds it at {limit}.", limit=limit,
                         ice=amount("mass", 1000 * ice_kg_h(hold_w, high_c))))  # fmt: skip
    return tuple(lines)


def ice_kg_h(heat_w: float, temp_c: float) -> float:
    """Ice that takes up a heat as it melts and warms to the water."""
    return heat_w * 3.6 / (MELTING_KJ_KG + FRESH_KJ_KG_K * temp_c)


def _rescue(fails: str, warms: bool) -> Say:
    if fails == "power":
        return say("First bring air or flow to the animals from a battery or generator; then think of temperature.")
    if warms:
        return say("If it is not mended by then: closed bottles of frozen fresh water in the sump, changed as they melt, no more "
                   "than 1 °C (2 °F) an hour; feed nothing, keep the skimmer on.")  # fmt: skip
    return say("If it is not mended by then: a spare heater in the sump, or closed bottles of hot water, no more than "
               "1 °C (2 °F) an hour; warm the room.")  # fmt: skip


def _clock(fails_at: float, hours: float) -> Term:
    whole = fails_at + hours
    days = int(whole // 24)
    text = f"{int(whole % 24):02}:{int(whole % 1 * 60):02}"
    return text + (" of the next day" if days == 1 else f", {days} days later" if days else "")


def _steps(
    tank: Tank,
    case: science.Case,
    lamps: Lamps | None,
    temp_c: float,
    room: science.RoomDrift,
    run: Drift,
    limit_c: float,
) -> tuple[Any, ...]:
    now = exchange(case.tank, temp_c=temp_c, air=room.air(0))
    lit = lamps(0) if lamps else 0.0
    at_limit = exchange(case.tank, temp_c=limit_c, air=room.air(run.limit_h or max(LOOK_H)))
    return (
        asked.capacity_step(tank.volume_l, temp_c, tank.salinity),
        step("Into the water at the failure", "{steady} + {lamps} + {walls} + {evaporation} + {air} + {radiation}",
             amount("power", case.heat_w + lit + now.total_w), "energy balance", steady=amount("power", case.heat_w),
             lamps=amount("power", lit), walls=amount("power", now.walls_w),
             evaporation=amount("power", now.evaporation_w), air=amount("power", now.convection_w),
             radiation=amount("power", now.radiation_w)),
        step("From the room when the water is at the limit", "{walls} + {evaporation} + {air} + {radiation}",
             amount("power", at_limit.total_w), "energy balance", walls=amount("power", at_limit.walls_w),
             evaporation=amount("power", at_limit.evaporation_w), air=amount("power", at_limit.convection_w),
             radiation=amount("power", at_limit.radiation_w)),
        *_ice_step(case, at_limit.total_w, limit_c, temp_c),
        step("Water after 24 hours", "{water} + ∫ (heat ÷ heat capacity) dt, followed in small steps",
             amount("temperature", _at(run, 24)), "Newton", water=amount("temperature", temp_c)),
    )  # fmt: skip


def _ice_step(case: science.Case, from_room_w: float, limit_c: float, temp_c: float) -> tuple[Step, ...]:
    hold_w = case.heat_w + from_room_w
    if limit_c <= temp_c or hold_w <= 0:
        return ()
    return (
        step("Ice that holds it at the limit, an hour", "{heat} × 3600 ÷ (333.4 kJ/kg + 4.19 kJ/kg·°C × {limit})",
             amount("mass", 1000 * ice_kg_h(hold_w, limit_c)), "energy balance", heat=amount("power", hold_w),
             limit=asked.exact(limit_c)),
    )  # fmt: skip


def _flags(
    fails: str,
    straight: float | None,
    run: Drift,
    best: Drift,
    air_m_s: float,
    room_after_c: float | None,
    humidity_pct: float,
) -> tuple[Say, ...]:
    flags = []
    if fails == "power" and room_after_c is None:
        flags.append(say("The room is taken to stay as it is, which it does not without power: type the temperature it "
                         "drifts to."))  # fmt: skip
    if run.limit_h is not None and best.met_c is not None and best.met_c != run.met_c:
        flags.append(say("Even the best of these goes past the other limit in the end: look again every few hours and "
                         "undo it in time."))  # fmt: skip
    flags += asked.evaporation_flags(air_m_s, humidity_pct)
    if fails == "power":
        flags.append(say("With the flow stopped oxygen fails long before the temperature: see the hours of oxygen."))
    bends = run.limit_h is None or straight is None or abs(straight - run.limit_h) > 0.1 * run.limit_h
    if straight is not None and straight < max(LOOK_H) and bends:
        flags.append(say("A straight line from the first moment would have said {straight}: what the room takes or gives "
                         "changes on the way.", straight=_span(straight)))  # fmt: skip
    if not COLDEST_C + 0.01 < run.last_c < HOTTEST_C - 0.01:
        flags.append(say("Past 1 or 45 °C the water is not followed further: nothing lives there."))
    return tuple(flags)


def _table(found: list[tuple[science.Case, Drift]], room: science.RoomDrift) -> Listing:
    def rest(case: science.Case) -> Term:
        settled = science.settling_c(case, room)
        return "–" if settled is None else amount("temperature", settled)

    return Listing(
        "What helps",
        (
            "State",
            "Limit reached after",
            "Limit",
            *(f"After {hours} h" for hours in LOOK_H),
            "Comes to rest, lamps off",
        ),
        tuple(
            (
                case.name,
                "not in 48 h" if run.limit_h is None else _span(run.limit_h),
                "–" if run.met_c is None else amount("temperature", run.met_c),
                *(amount("temperature", _at(run, hours)) for hours in LOOK_H),
                rest(case),
            )
            for case, run in found
        ),
    )


SHEETS = (
    Worksheet(
        name="temperature-after-failure",
        title="Temperature after a failure",
        subject=WHEN_IT_FAILS,
        purpose="Hours until the water meets a limit after the chiller, the heaters or the power fail, and what helps.",
        inputs=(
            Choice("fails", "What fails", (("chiller", "the chiller"), ("heater", "the heaters"),
                   ("power", "the power: pumps, lamps, cooling and heating")), "chiller"),
            Input("fails_at", "Fails at", "clock", 0, 24, default=14),
            asked.VOLUME,
            asked.WATER,
            asked.ROOM,
            Input("room_after_c", "Room it drifts to", "temperature", -15, 45, optional=True,
                  help="When the building’s cooling or heating stops as well; empty: the room stays."),
            asked.HUMIDITY,
            Input("steady_w", "Heat of pumps and other machines that run on", "power", 0, 2e5, default=0,
                  recall="plant.pumps.power",
                  help="What reaches the water, from the heat balance; nothing in a power failure."),
            Input("lamp_w", "Lamps", "power", 0, 2e5, default=0, recall="plant.light.power"),
            asked.LIGHTS_ON,
            asked.LIGHTS_OFF,
            *asked.BODY,
            Input("low_c", "Coldest the animals stand", "temperature", 3, 30, default=22.2, detail=True,
                  help="Common practice 72 °F for a reef."),
            Input("high_c", "Warmest the animals stand", "temperature", 10, 36, default=28.9, detail=True,
                  help="Common practice 84 °F for a reef."),
            Input("room_time_h", "Time the room takes for two thirds of its drift", "hours", 0.5, 72, default=6,
                  detail=True),
            asked.LAMP_SHARE,
        ),
        outputs=(
            Output("hours", "Limit reached as it stands after", "hours", main=True),
            Output("best_hours", "At best after", "hours"),
            Output("limit_c", "The limit", "temperature"),
            Output("after_12_c", "Water after 12 hours", "temperature"),
            Output("after_24_c", "Water after 24 hours", "temperature"),
            Output("straight_h", "A straight line would say", "hours"),
        ),
        compute=temperature_after_failure,
        sources=("Newton", "energy balance", "Shah 2014", "ASHRAE Natatoriums", "Bowen 1926", "TEOS-10"),
        valid="Well-mixed water from 8 to 35 °C at the failure, followed for 48 hours between 1 and 45 °C; the room’s "
        "moisture stays. Rock and glass slow it further; without flow the display and the sump part ways.",
        cautions=(MAINS, asked.GENERATOR),
    ),
)  # fmt: skip
