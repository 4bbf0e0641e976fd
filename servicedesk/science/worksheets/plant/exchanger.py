"""Worksheet of the heat exchanger on the building's chilled water."""

from dataclasses import dataclass

from servicedesk.science.guard import OutOfRange
from servicedesk.science.plant import exchanger
from servicedesk.science.plant.chiller import SEAWATER_J_L_K
from servicedesk.science.plant.evaporation import insulation_pipe_m
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    BUILDING_WATER,
    MAINS,
    Answer,
    BarChart,
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
from servicedesk.science.worksheets.plant import asked

FITS = {"good": "good", "watch": "watch it", "never": "never"}
USUAL_U_W_M2K = {"counterflow": 1500.0, "coil": 500.0}  # common practice, titanium
# Thickness of closed-cell pipe insulation as sold, mm and inches.
SOLD = ((9, "⅜"), (13, "½"), (19, "¾"), (25, "1"), (32, "1¼"), (38, "1½"), (50, "2"), (75, "3"), (100, "4"))
LEAST_END_K = 0.05
FRESH_VALVE_SPARE = 0.9  # open beyond this share of the flow the valve has nothing left to control with


@dataclass(frozen=True, slots=True)
class Found:
    """What was worked out of one exchanger, for its instruction, sum and warnings."""

    given_ua: bool
    buy_ua: float
    fouled_ua: float
    area_m2: float
    surface_u: float
    coil: bool
    full: exchanger.Duty
    heat_w: float
    tank_l_h: float
    chilled_l_h: float
    tank_w_k: float
    chilled_w_k: float
    fluid_j_l_k: float
    flow_l_h: float | None
    kv: float
    valve_kpa: float
    tank_c: float
    supply_c: float
    worst_c: float
    dew_c: float
    dry_mm: float | None
    pipe_mm: float


def exchanger_duty(
    *,
    heat_w: float,
    temp_c: float,
    supply_c: float,
    summer_supply_c: float | None,
    tank_l_h: float,
    chilled_l_h: float,
    kind: str,
    fluid: str,
    ua_w_k: float | None,
    u_w_m2k: float | None,
    fouling_pct: float,
    valve_kpa: float,
    room_c: float,
    room_humidity_pct: float,
    pipe_mm: float,
    altitude_m: float,
) -> Answer:
    coil = kind == "coil"
    fluid_j_l_k = exchanger.CHILLED_J_L_K[fluid]
    tank_w_k = exchanger.flow_w_k(tank_l_h, SEAWATER_J_L_K)
    most_w_k = exchanger.flow_w_k(chilled_l_h, fluid_j_l_k)
    worst_c = supply_c if summer_supply_c is None else max(supply_c, summer_supply_c)
    clean = 1 + fouling_pct / 100
    if ua_w_k is None:
        fouled = exchanger.ua_for_duty(
            heat_w=heat_w, tank_w_k=tank_w_k, chilled_w_k=most_w_k, tank_c=temp_c, chilled_c=worst_c, coil=coil
        )
        buy_ua = fouled * clean
    else:
        buy_ua, fouled = ua_w_k, ua_w_k / clean
    full = exchanger.duty(
        ua_w_k=fouled, tank_w_k=tank_w_k, chilled_w_k=most_w_k, tank_c=temp_c, chilled_c=worst_c, coil=coil
    )
    flow_w_k = exchanger.chilled_flow_w_k(
        heat_w=heat_w,
        ua_w_k=buy_ua,
        tank_w_k=tank_w_k,
        tank_c=temp_c,
        chilled_c=supply_c,
        most_w_k=most_w_k,
        coil=coil,
    )
    flow = None if flow_w_k is None else flow_w_k / fluid_j_l_k * 3600
    air = asked.air_of(room_c, room_humidity_pct, altitude_m)
    kv = exchanger.valve_kv(chilled_l_h, valve_kpa)
    dry_mm = _insulation_mm(room_c, supply_c, air.dew_point_c, pipe_mm)
    surface_u = USUAL_U_W_M2K[kind] if u_w_m2k is None else u_w_m2k
    area_m2 = buy_ua / surface_u
    found = Found(
        given_ua=ua_w_k is not None, buy_ua=buy_ua, fouled_ua=fouled, area_m2=area_m2, surface_u=surface_u, coil=coil,
        full=full, heat_w=heat_w, tank_l_h=tank_l_h, chilled_l_h=chilled_l_h, tank_w_k=tank_w_k, chilled_w_k=most_w_k,
        fluid_j_l_k=fluid_j_l_k, flow_l_h=flow, kv=kv, valve_kpa=valve_kpa, tank_c=temp_c, supply_c=supply_c,
        worst_c=worst_c, dew_c=air.dew_point_c, dry_mm=dry_mm, pipe_mm=pipe_mm,
    )  # fmt: skip
    return Answer(
        values={
            "ua_w_k": buy_ua,
            "area_m2": area_m2,
            "duty_w": full.heat_w,
            "effectiveness_pct": 100 * full.effectiveness,
            "ntu": full.ntu,
            "log_mean_k": full.log_mean_k,
            "tank_out_c": full.tank_out_c,
            "chilled_out_c": full.chilled_out_c,
            "chilled_flow_l_h": flow,
            "valve_open_pct": None if flow is None else 100 * flow / chilled_l_h,
            "kv": kv,
            "dew_point_c": air.dew_point_c,
            "insulation_mm": dry_mm,
        },
        do=_do(found),
        steps=_steps(found),
        flags=_flags(full, heat_w, flow, chilled_l_h, worst_c, supply_c, air.dew_point_c, dry_mm),
        charts=(
            BarChart("Heat to take and what it can", "power", (("needed", heat_w), ("can, fouled", full.heat_w))),
            _curve(buy_ua, tank_w_k, most_w_k, fluid_j_l_k, temp_c, supply_c, worst_c, coil, heat_w),
        ),
        listings=(
            Listing(
                "What may touch seawater",
                ("Material", "Fit", "Why"),
                tuple((m.name, FITS[m.fit], m.why) for m in exchanger.MATERIALS),
            ),
        ),
    )  # fmt: skip


def _insulation_mm(room_c: float, supply_c: float, dew_c: float, pipe_mm: float) -> float | None:
    try:
        return 1000 * insulation_pipe_m(room_c=room_c, fluid_c=supply_c, dew_c=dew_c, pipe_m=pipe_mm / 1000)
    except OutOfRange:
        return None


def sold(needed_mm: float) -> str:
    """The next thickness that is sold, in both units; beyond the thickest, layers."""
    return next(
        (f"{thick} mm ({inches} in)" for thick, inches in SOLD if thick >= needed_mm),
        f"{needed_mm:.0f} mm ({needed_mm / 25.4:.0f} in) in layers",
    )


def _do(found: Found) -> tuple[Say, ...]:
    lines = []
    shape = "a titanium coil in moving tank water" if found.coil else "a titanium counterflow exchanger"
    if not found.given_ua:
        lines.append(
            say(
                "Ask the maker for {shape} of {ua}, about {area} of surface, wetted parts titanium or plastic, for "
                "{heat} with {tank} of tank water.",
                shape=shape, ua=amount("conductance", found.buy_ua), area=amount("area", found.area_m2),
                heat=amount("power", found.heat_w), tank=amount("flow", found.tank_l_h),
            )
        )  # fmt: skip
    elif found.full.heat_w >= found.heat_w:
        lines.append(say("This exchanger is enough: fouled and on the warmest supply it takes {can} of {heat} needed.",
                         can=amount("power", found.full.heat_w), heat=amount("power", found.heat_w)))  # fmt: skip
    else:
        lines.append(say("This exchanger is too small: fouled, on the warmest supply, it takes {can} of {heat} needed.",
                         can=amount("power", found.full.heat_w), heat=amount("power", found.heat_w)))  # fmt: skip
    if found.flow_l_h is not None:
        lines.append(
            say(
                "Agree {most} of chilled water with the building; while clean, {flow} of it does the work. Use a "
                "two-way valve that closes without power, Kv {kv} (Cv {cv}), led by the tank’s temperature.",
                most=amount("flow", found.chilled_l_h), flow=amount("flow", found.flow_l_h), kv=amount("ratio", found.kv),
                cv=amount("ratio", exchanger.valve_cv(found.kv)),
            )
        )  # fmt: skip
    if found.dry_mm:
        lines.append(
            say(
                "Insulate every cold line with {thick} or more of closed-cell foam, joints glued, on a pipe of {pipe}: the supply at "
                "{supply} lies below the room’s dew point, {dew}. Ask again with the most humid day of the year.",
                thick=sold(found.dry_mm), pipe=amount("bore", found.pipe_mm), supply=amount("temperature", found.supply_c),
                dew=amount("temperature", found.dew_c),
            )
        )  # fmt: skip
    lines.append(
        say(
            "Hold the tank’s water at the higher pressure or decide with the building which way a leak may go, "
            "and fit a leak alarm; glycol or treated water must never reach the tank."
        )
    )
    return tuple(lines)


def _steps(found: Found) -> tuple[Step, ...]:
    tank, chilled = amount("conductance", found.tank_w_k), amount("conductance", found.chilled_w_k)
    least_w_k = found.chilled_w_k if found.coil else min(found.tank_w_k, found.chilled_w_k)
    effect = (
        "1 − exp(−{ntu})" if found.coil else "(1 − e^(−{ntu}·(1 − {ratio}))) ÷ (1 − {ratio}·e^(−{ntu}·(1 − {ratio})))"
    )
    least = amount("conductance", least_w_k)
    return (
        step("Tank side", f"{{flow}} × {SEAWATER_J_L_K:.0f} J/L·°C ÷ 3600", tank, "TEOS-10", flow=amount("flow", found.tank_l_h)),
        step("Chilled side", "{flow} × {heat} J/L·°C ÷ 3600", chilled, "common practice",
             flow=amount("flow", found.chilled_l_h), heat=f"{found.fluid_j_l_k:.0f}"),
        step("Transfer units, fouled", "{ua} ÷ {least}", amount("ratio", found.full.ntu), "Kays & London",
             ua=amount("conductance", found.fouled_ua), least=least),
        step("Effectiveness", effect, amount("percent_fine", 100 * found.full.effectiveness), "Kays & London",
             ntu=amount("ratio", found.full.ntu), ratio=amount("ratio", found.full.capacity_ratio)),
        step("Heat it can take", "{effectiveness} × {least} × ({tank} − {supply})", amount("power", found.full.heat_w),
             "Kays & London", effectiveness=amount("percent_fine", 100 * found.full.effectiveness), least=least,
             tank=asked.exact(found.tank_c), supply=asked.exact(found.worst_c)),
        step("Tank water leaves at", "{tank} − {heat} ÷ {flow}", amount("temperature", found.full.tank_out_c),
             "energy balance", tank=asked.exact(found.tank_c), heat=amount("power", found.full.heat_w), flow=tank),
        step("Chilled water leaves at", "{supply} + {heat} ÷ {flow}", amount("temperature", found.full.chilled_out_c),
             "energy balance", supply=asked.exact(found.worst_c), heat=amount("power", found.full.heat_w), flow=chilled),
        *_log_mean_steps(found.full, found.fouled_ua, found.tank_c, found.worst_c, found.coil),
        step("Surface", "{ua} ÷ {u}", amount("area", found.buy_ua / found.surface_u), "common practice",
             ua=amount("conductance", found.buy_ua), u=amount("u_value", found.surface_u)),
        step("Valve Kv", "{flow} ÷ 1000 ÷ √({drop} ÷ 100)", amount("ratio", found.kv), "energy balance",
             flow=amount("flow", found.chilled_l_h), drop=amount("pressure", found.valve_kpa)),
    )  # fmt: skip


def _log_mean_steps(full: exchanger.Duty, fouled: float, temp_c: float, worst_c: float, coil: bool) -> tuple[Step, ...]:
    """The same heat from the four temperatures: a check that does not use the transfer units.

    Nothing where an end differs so little that the check would say no more than its rounding.
    """
    warm_end = temp_c - full.chilled_out_c
    cold_end = (temp_c if coil else full.tank_out_c) - worst_c
    if min(warm_end, cold_end) < LEAST_END_K:
        return ()
    mean_k = exchanger.log_mean_k(
        hot_in_c=temp_c, hot_out_c=worst_c + cold_end, cold_in_c=worst_c, cold_out_c=full.chilled_out_c
    )
    return (
        step("Log-mean difference", "({cold_end} − {warm_end}) ÷ ln({cold_end} ÷ {warm_end})",
             amount("temperature_difference", mean_k), "Incropera", cold_end=asked.exact(cold_end),
             warm_end=asked.exact(warm_end)),
        step("The same heat by it", "{ua} × {difference}", amount("power", fouled * mean_k), "Incropera",
             ua=amount("conductance", fouled), difference=asked.exact(mean_k)),
    )  # fmt: skip


def _flags(
    full: exchanger.Duty,
    heat_w: float,
    flow: float | None,
    chilled_l_h: float,
    worst_c: float,
    supply_c: float,
    dew_c: float,
    dry_mm: float | None,
) -> tuple[Say, ...]:
    flags = []
    if flow is None:
        flags.append(say("Even clean and with all the chilled water it does not take {heat}.",
                         heat=amount("power", heat_w)))  # fmt: skip
    elif flow > FRESH_VALVE_SPARE * chilled_l_h:
        flags.append(say("The valve is almost wide open at this heat: ask for more chilled water or a colder supply."))
    if worst_c == supply_c:
        flags.append(
            say("Ask the building for its warmest supply in summer, its night set-back and its yearly shut-down: "
                "no chilled water, no cooling. Plan what cools then.")
        )  # fmt: skip
    if full.chilled_out_c - worst_c < 2:
        flags.append(say("The chilled water comes back hardly warmer: the building may refuse so small a difference."))
    if supply_c < dew_c:
        flags.append(say("The supply at {supply} is below the dew point {dew}: bare pipes and valves drip.",
                         supply=amount("temperature", supply_c), dew=amount("temperature", dew_c)))  # fmt: skip
    if dry_mm is None:
        flags.append(say("The room is so humid that no insulation keeps the pipes dry: dry the room first."))
    return tuple(flags)


def _curve(
    ua: float,
    tank_w_k: float,
    most_w_k: float,
    fluid_j_l_k: float,
    temp_c: float,
    supply_c: float,
    worst_c: float,
    coil: bool,
    heat_w: float,
) -> LineChart:
    flows_w_k = tuple(most_w_k * (part + 1) / 40 for part in range(40))

    def heats(supply: float) -> tuple[float, ...]:
        return tuple(
            exchanger.duty(
                ua_w_k=ua, tank_w_k=tank_w_k, chilled_w_k=flow, tank_c=temp_c, chilled_c=supply, coil=coil
            ).heat_w
            for flow in flows_w_k
        )

    flows_l_h = tuple(flow / fluid_j_l_k * 3600 for flow in flows_w_k)
    curves = [Curve("usual supply", flows_l_h, heats(supply_c))]
    if worst_c != supply_c:
        curves.append(Curve("warmest supply", flows_l_h, heats(worst_c)))
    return LineChart(
        title="Heat against chilled water, clean",
        x_label="Chilled water",
        x_quantity="flow",
        y_label="Heat",
        y_quantity="power",
        curves=tuple(curves),
        limits=(("needed", heat_w),),
    )


SHEETS = (
    Worksheet(
        name="exchanger-on-building-water",
        title="Exchanger on the building’s chilled water",
        subject="Heating and cooling",
        purpose="What exchanger, flow and valve take the tank’s heat into the building’s chilled water.",
        inputs=(
            Input("heat_w", "Heat to take", "power", 50, 1e6, usual=(200, 1e5),
                  help="The worst hour from the heat balance, with its margin."),
            asked.WATER,
            Input("supply_c", "Chilled-water supply", "temperature", 2, 25, default=10.0, usual=(8.3, 12.8),
                  help="Common practice 47 to 55 °F; read the gauge at the connection."),
            Input("summer_supply_c", "Warmest supply in summer", "temperature", 2, 30, optional=True),
            Input("tank_l_h", "Tank water through it", "flow", 50, 1e6),
            Input("chilled_l_h", "Chilled water the building gives", "flow", 20, 1e6),
            Choice("kind", "The exchanger is", (("counterflow", "a counterflow exchanger outside the tank"),
                   ("coil", "a coil in moving sump water")), "counterflow"),
            Input("ua_w_k", "UA of the exchanger there or offered, clean", "conductance", 1, 1e5, optional=True,
                  help="From the maker’s sheet: heat ÷ log-mean difference. Empty: the sheet sizes it."),
            asked.ROOM,
            asked.HUMIDITY,
            Choice("fluid", "The building’s loop holds", (("water", "treated water"), ("glycol20", "20 % glycol"),
                   ("glycol30", "30 % glycol"), ("glycol40", "40 % glycol")), "water", detail=True),
            Input("u_w_m2k", "Heat transfer of its surface", "u_value", 50, 6000, optional=True, detail=True,
                  help="Empty: 1500 for a counterflow exchanger (common practice 1000 to 3000), 500 for a coil "
                  "in moving water (300 to 600)."),
            Input("fouling_pct", "Margin for fouling", "percent", 0, 100, default=25, usual=(15, 50), detail=True),
            Input("valve_kpa", "Pressure drop over the valve, open", "pressure", 2, 500, default=30, detail=True),
            Input("pipe_mm", "Outer diameter of the chilled pipe", "bore", 6, 300, default=33.4, detail=True),
            asked.ALTITUDE,
        ),
        outputs=(
            Output("ua_w_k", "UA to buy, clean", "conductance", main=True),
            Output("area_m2", "Surface, about", "area"),
            Output("duty_w", "Heat it can take, fouled, warmest supply", "power"),
            Output("effectiveness_pct", "Effectiveness", "percent"),
            Output("ntu", "Transfer units", "ratio"),
            Output("log_mean_k", "Log-mean difference", "temperature_difference"),
            Output("tank_out_c", "Tank water leaves at", "temperature"),
            Output("chilled_out_c", "Chilled water leaves at", "temperature"),
            Output("chilled_flow_l_h", "Chilled water needed, clean", "flow"),
            Output("valve_open_pct", "Share of the chilled flow in use", "percent"),
            Output("kv", "Valve Kv", "ratio"),
            Output("dew_point_c", "Dew point of the room", "temperature"),
            Output("insulation_mm", "Insulation of the cold pipe", "bore"),
        ),
        compute=exchanger_duty,
        sources=("Kays & London", "Incropera", "TEOS-10", "ASHRAE Fundamentals", "energy balance", "common practice"),
        valid="Steady flows; UA taken the same at every flow, though it falls in a slow one; glycol by common values.",
        cautions=(BUILDING_WATER, MAINS),
    ),
)  # fmt: skip
