"""Worksheets of the chiller: its size, and how often it starts."""

from math import ceil

from servicedesk.science.plant import chiller
from servicedesk.science.plant.chiller import SEAWATER_J_L_K
from servicedesk.science.quantities import TON_W
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    LIFTING,
    MAINS,
    REFRIGERANT,
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
from servicedesk.science.worksheets.plant import asked

ONE_DEGREE_F_K = 5 / 9
FINEST_K = 0.2  # thermostats and sensors are no finer
AIR_J_M3_K, AIR_RISE_K = 1207.0, 10.0  # ρ·c of air at 20 °C and sea level
REFRIGERANT_GAS = (
    "Refrigerant that leaks sinks and can suffocate or burn: ventilate the room of the chiller at floor level, no flame "
    "and no entry when the alarm sounds."
)
MIXED_SHARE, SHORTEST_RUN_MIN = 0.8, 5.0  # common practice, as the sheet of starts takes them
WIDEST_K = 1.1  # 2 °F: more and the animals feel it


def chiller_size(
    *,
    worst_gain_w: float,
    mean_gain_w: float | None,
    volume_l: float,
    temp_c: float,
    start_c: float,
    margin_pct: float,
    nameplate_share_pct: float,
    drop_k: float,
    cop: float,
    condenser: str,
    chiller_w: float | None,
) -> Answer:
    needed_w = chiller.size_w(worst_gain_w, 1 + margin_pct / 100)
    nameplate_w = needed_w / (nameplate_share_pct / 100)
    flow = chiller.flow_l_h(needed_w, drop_k)
    rejected_w = chiller.condenser_w(needed_w, cop)
    mean_w = worst_gain_w if mean_gain_w is None else min(mean_gain_w, worst_gain_w)
    pull_down = (
        None
        if mean_w >= needed_w
        else chiller.pull_down_h(
            volume_l=volume_l, from_c=max(start_c, temp_c), to_c=temp_c, chiller_w=needed_w, gain_w=mean_w
        )
    )
    do = [
        say(
            "Choose a chiller of at least {size} ({tons} refrigeration tons, {btu} Btu/h) on its nameplate, "
            "with titanium or plastic wherever seawater touches it, and give it {flow}.",
            size=amount("power", nameplate_w),
            tons=amount("ratio", chiller.tons(nameplate_w)),
            btu=amount("ratio", round(chiller.btu_h(nameplate_w), -2)),
            flow=amount("flow", flow),
        ),
        _where(condenser, rejected_w),
        say(
            "Better two chillers of {half} each on circuits of their own: one dead, the other still carries half.",
            half=amount("power", nameplate_w / 2),
        ),
    ]
    return Answer(
        values={
            "size_w": nameplate_w,
            "size_tons": chiller.tons(nameplate_w),
            "flow_l_h": flow,
            "condenser_w": rejected_w,
            "run_share_pct": 100 * min(mean_w / needed_w, 1.0),
            "energy_kwh": chiller.energy_kwh(mean_w * 24 / 1000, cop),
            "pull_down_h": pull_down,
        },
        do=tuple(do),
        steps=(
            step("Capacity at the water", "{gain} × (1 + {margin})", amount("power", needed_w), "energy balance",
                 gain=amount("power", worst_gain_w), margin=amount("percent", margin_pct)),
            step("Nameplate", "{capacity} ÷ {share_left}", amount("power", nameplate_w), "common practice",
                 capacity=amount("power", needed_w), share_left=amount("percent", nameplate_share_pct)),
            step("Refrigeration tons", f"{{nameplate}} ÷ {TON_W:.2f}", amount("ratio", chiller.tons(nameplate_w)),
                 "NIST SP 811", nameplate=amount("power", nameplate_w)),
            step("Flow", f"{{capacity}} × 3600 ÷ ({SEAWATER_J_L_K:.0f} J/L·°C × {{drop}})", amount("flow", flow), "energy balance",
                 capacity=amount("power", needed_w), drop=amount("temperature_difference", drop_k)),
            step("Condenser heat", "{capacity} × (1 + 1 ÷ {cop})", amount("power", rejected_w), "energy balance",
                 capacity=amount("power", needed_w), cop=amount("ratio", cop)),
            *((_air_step(rejected_w),) if condenser == "plant" else ()),
            step("Electricity a day", "{mean_gain} × 24 h ÷ 1000 ÷ {cop}",
                 amount("energy", chiller.energy_kwh(mean_w * 24 / 1000, cop)), "energy balance",
                 mean_gain=amount("power", mean_w), cop=amount("ratio", cop)),
            *((step("Cooling down",
                    f"{{volume}} × {SEAWATER_J_L_K:.0f} J/L·°C × ({{start}} − {{set_point}}) ÷ ({{capacity}} − {{mean_gain}}) ÷ 3600",
                    amount("hours", pull_down), "energy balance", volume=amount("volume", volume_l),
                    start=asked.exact(max(start_c, temp_c)), set_point=asked.exact(temp_c),
                    capacity=amount("power", needed_w), mean_gain=amount("power", mean_w)),)
              if pull_down is not None else ()),
        ),
        flags=(
            *_flags(mean_gain_w, chiller_w, needed_w, nameplate_share_pct, start_c, temp_c, pull_down),
            *_restless(needed_w, volume_l * MIXED_SHARE),
        ),
    )  # fmt: skip


def vent_m3_h(heat_w: float) -> float:
    """Air that carries a heat away when it warms by ``AIR_RISE_K``."""
    return heat_w * 3600 / (AIR_J_M3_K * AIR_RISE_K)


def _air_step(rejected_w: float) -> Step:
    return step("Air through the plant room", "{heat} × 3600 ÷ (1207 J/m³·°C × 10 °C)",
                amount("air_flow", vent_m3_h(rejected_w)), "energy balance",
                heat=amount("power", rejected_w))  # fmt: skip


def _restless(chiller_w: float, mixed_l: float) -> tuple[Say, ...]:
    """A warning where one machine of this size would start too often, or run too shortly, at the usual differential."""
    starts = chiller.starts_per_hour(chiller_w, mixed_l, ONE_DEGREE_F_K)
    shortest = chiller.shortest_run_min(chiller_w, mixed_l, ONE_DEGREE_F_K)
    if starts <= chiller.MOST_STARTS_PER_H and shortest >= SHORTEST_RUN_MIN:
        return ()
    return (
        say("One machine so large on this water, at a differential of {differential}, starts up to {starts} times an hour "
            "and runs as short as {shortest}: see the sheet of its starts before buying, or take two in steps.",
            differential=amount("temperature_difference", ONE_DEGREE_F_K), starts=amount("ratio", starts),
            shortest=amount("duration", shortest)),
    )  # fmt: skip


def _where(condenser: str, rejected_w: float) -> Say:
    heat = amount("power", rejected_w)
    if condenser == "outdoors":
        return say("Its condenser gives {heat} outdoors: free air on all sides, away from sun and windows.", heat=heat)
    if condenser == "plant":
        return say(
            "Its condenser gives {heat} to the plant room: lead that outdoors with about {air} of outdoor air, which then "
            "leaves 10 °C (18 °F) warmer, or cool the room.",
            heat=heat,
            air=amount("air_flow", vent_m3_h(rejected_w)),
        )
    return say(
        "Its condenser gives {heat} to the room of the tank, which comes back as load: better outdoors; "
        "otherwise the air-conditioning must take all of it.",
        heat=heat,
    )


def _flags(
    mean_gain_w: float | None,
    chiller_w: float | None,
    needed_w: float,
    left_pct: float,
    start_c: float,
    temp_c: float,
    pull_down: float | None,
) -> tuple[Say, ...]:
    flags = []
    if mean_gain_w is None:
        flags.append(say("No mean gain typed: energy and run time are told for the worst hour all day."))
    if chiller_w is not None:
        left_w = chiller.derated_w(chiller_w, left_pct / 100)
        word = "is enough" if left_w >= needed_w else "is too small: in the worst hour the water may warm"
        left = amount("power", left_w)
        flags.append(say("The chiller there now gives {left} in the heat and {word}.", left=left, word=word))
    if pull_down is None:
        flags.append(say("With no margin nothing is left to cool warm water down with: it stays as warm as it is."))
    if start_c < temp_c:
        flags.append(say("The water starts no warmer than its set point: nothing to cool down."))
    return tuple(flags)


def chiller_cycling(
    *,
    chiller_w: float,
    volume_l: float,
    mixed_pct: float,
    differential_k: float,
    load_w: float | None,
    most_starts_per_h: float,
    least_run_min: float,
) -> Answer:
    mixed_l = volume_l * mixed_pct / 100
    starts = chiller.starts_per_hour(chiller_w, mixed_l, differential_k)
    shortest = chiller.shortest_run_min(chiller_w, mixed_l, differential_k)
    for_starts_k = chiller.least_differential_k(chiller_w, mixed_l, most_starts_per_h=most_starts_per_h)
    needed_k = max(for_starts_k, differential_k * least_run_min / shortest, FINEST_K)
    needed_k = ceil(needed_k * 10 - 1e-9) / 10  # as it can be set
    needed_l = max(
        chiller.least_volume_l(chiller_w, differential_k, most_starts_per_h=most_starts_per_h),
        mixed_l * least_run_min / shortest,
    )
    now = chiller.cycle(
        chiller_w=chiller_w,
        load_w=chiller_w / 2 if load_w is None else load_w,
        volume_l=mixed_l,
        differential_k=differential_k,
    )
    steady = now.starts_per_h == 0
    heat = chiller.heat_between_j(mixed_l, differential_k)
    return Answer(
        values={
            "worst_starts_per_h": starts,
            "needed_differential_k": needed_k,
            "shortest_run_min": shortest,
            "starts_per_h": now.starts_per_h,
            "run_min": None if steady else now.run_s / 60,
            "rest_min": None if steady else now.rest_s / 60,
            "run_share_pct": 100 * now.run_share,
        },
        do=(_set(differential_k, needed_k, starts, shortest, needed_l),),
        steps=(
            step("Heat within the differential", f"{{mixed}} × {SEAWATER_J_L_K:.0f} J/L·°C × {{differential}} ÷ 3 600 000",
                 amount("energy", heat / 3.6e6), "energy balance", mixed=amount("volume", mixed_l),
                 differential=asked.exact(differential_k)),
            step("Most starts, at half load", "{chiller} ÷ (4 × 1000 × {heat})", amount("per_hour", starts),
                 "energy balance", chiller=amount("power", chiller_w), heat=amount("energy", heat / 3.6e6)),
            step("Shortest run, at next to no load", "{heat} × 60 000 ÷ {chiller}", amount("duration", shortest),
                 "energy balance", chiller=amount("power", chiller_w), heat=amount("energy", heat / 3.6e6)),
            step("Least differential",
                 "{differential} × max({starts} ÷ {allowed}; {least} ÷ {shortest}), rounded up, at least {finest}",
                 amount("temperature_difference", needed_k), "common practice",
                 differential=asked.exact(differential_k), starts=amount("per_hour", starts),
                 allowed=amount("per_hour", most_starts_per_h), least=amount("duration", least_run_min),
                 shortest=amount("duration", shortest), finest=amount("temperature_difference", FINEST_K)),
        ),
        flags=_cycle_flags(load_w, chiller_w),
        charts=(_starts_chart(chiller_w, mixed_l, differential_k, most_starts_per_h),),
    )  # fmt: skip


def _set(differential_k: float, needed_k: float, starts: float, shortest_min: float, needed_l: float) -> Say:
    words = {
        "now": amount("temperature_difference", differential_k),
        "starts": amount("ratio", starts),
        "shortest": amount("duration", shortest_min),
        "needed": amount("temperature_difference", needed_k),
        "volume": amount("volume", needed_l),
    }
    if differential_k >= needed_k:
        return say(
            "Leave the differential at {now}: at most {starts} starts an hour, runs of {shortest} and more: the compressor "
            "is safe.",
            **words,
        )
    if needed_k > WIDEST_K:
        return say(
            "The chiller is too large for the water past its sensor: {now} gives up to {starts} starts an hour and runs "
            "of {shortest}, and "
            "{needed} would be too wide for the animals. Use a smaller or a two-stage chiller, or let at least {volume} "
            "mix past the sensor.",
            **words,
        )
    return say(
        "Set the differential to {needed}: at {now} it starts up to {starts} times an hour and runs as short as {shortest}.",
        **words,
    )


def _cycle_flags(load_w: float | None, chiller_w: float) -> tuple[Say, ...]:
    flags = []
    if load_w is None:
        flags.append(say("No load typed: run and rest are told for half load, the worst."))
    elif load_w >= chiller_w:
        flags.append(say("The load is as large as the chiller: it never stops, and the water warms."))
    elif load_w == 0:
        flags.append(say("With no load it never starts."))
    return tuple(flags)


def _starts_chart(chiller_w: float, mixed_l: float, differential_k: float, most: float) -> LineChart:
    loads = tuple(chiller_w * part / 40 for part in range(41))
    cycles = [
        chiller.cycle(chiller_w=chiller_w, load_w=load, volume_l=mixed_l, differential_k=differential_k)
        for load in loads
    ]
    return LineChart(
        title="Starts an hour against the load",
        x_label="Load",
        x_quantity="power",
        y_label="Starts",
        y_quantity="per_hour",
        curves=(Curve("starts", loads, tuple(cycle.starts_per_h for cycle in cycles)),),
        limits=(("allowed", most),),
    )


SHEETS = (
    Worksheet(
        name="chiller-size",
        title="Size of the chiller",
        subject="Heating and cooling",
        purpose="Watts and refrigeration tons to buy, the flow it needs, where its heat goes, and what it uses.",
        inputs=(
            Input("worst_gain_w", "Gain of the worst hour", "power", 1, 1e6, usual=(200, 1e5),
                  recall="kept.heat-balance.worst_gain_w",
                  help="From the heat balance; without evaporation where the room can be humid."),
            Input("mean_gain_w", "Mean gain of the day", "power", 0, 1e6, optional=True,
                  recall="kept.heat-balance.mean_gain_w",
                  help="From the heat balance; for energy and run time."),
            asked.VOLUME,
            asked.WATER,
            Input("start_c", "Warmest water to cool down from", "temperature", 8, 40, default=28.0),
            Input("chiller_w", "Chiller there now, nameplate", "power", 1, 1e6, optional=True,
                  recall="plant.chiller.capacity"),
            Choice("condenser", "The condenser stands", (("outdoors", "outdoors"), ("plant", "in a plant room"),
                   ("room", "in the room of the tank")), "outdoors"),
            Input("margin_pct", "Margin", "percent", 0, 100, default=25, usual=(20, 50), detail=True,
                  help="Common practice 20 to 50 %."),
            Input("nameplate_share_pct", "Capacity left at the real condensing air", "percent", 30, 100, default=90,
                  detail=True, help="From the maker’s table for the hottest air at the condenser."),
            Input("drop_k", "Cooling of the water in one pass", "temperature_difference", 0.3, 6, default=1.5,
                  detail=True, help="Common practice 1 to 2 °C; the maker gives a least flow."),
            Input("cop", "Cooling ÷ electricity", "ratio", 1, 8, default=3.0, detail=True),
        ),
        outputs=(
            Output("size_w", "Chiller to buy", "power", main=True),
            Output("size_tons", "The same in refrigeration tons", "ratio"),
            Output("flow_l_h", "Flow it needs", "flow"),
            Output("condenser_w", "Heat of the condenser", "power"),
            Output("run_share_pct", "Runs on the mean day", "percent"),
            Output("energy_kwh", "Electricity a day", "energy"),
            Output("pull_down_h", "Cooling down", "hours"),
        ),
        compute=chiller_size,
        sources=("energy balance", "NIST SP 811", "TEOS-10", "common practice"),
        valid=f"Seawater of 30 to 40 at 10 to 35 °C ({SEAWATER_J_L_K:.0f} J/L·°C, within 1 %); the gain from a heat balance.",
        cautions=(REFRIGERANT, REFRIGERANT_GAS, MAINS, LIFTING),
    ),
    Worksheet(
        name="chiller-cycling",
        title="Starts of the chiller",
        subject="Heating and cooling",
        purpose="How often the compressor starts at a differential, and the differential that spares it.",
        inputs=(
            Input("chiller_w", "Capacity of the chiller", "power", 50, 1e6, recall="plant.chiller.capacity"),
            asked.VOLUME,
            Input("differential_k", "Thermostat differential", "temperature_difference", 0.05, 5,
                  default=ONE_DEGREE_F_K, recall="check.chiller.differential_k", usual=(0.2, 1.2),
                  help="Common practice about 1 °F."),
            Input("load_w", "Heat it takes now", "power", 0, 1e6, optional=True,
                  help="From the heat balance; empty for half load."),
            Input("mixed_pct", "Share of the water that mixes past the sensor", "percent", 1, 100, default=100 * MIXED_SHARE,
                  detail=True, help="Only the sump, if it sits apart from the display’s flow."),
            Input("most_starts_per_h", "Starts allowed", "per_hour", 0.5, 20, default=chiller.MOST_STARTS_PER_H, detail=True,
                  help="From the maker; common practice 6 an hour."),
            Input("least_run_min", "Shortest run allowed", "duration", 0.5, 60, default=SHORTEST_RUN_MIN,
                  detail=True),
        ),
        outputs=(
            Output("worst_starts_per_h", "Most starts", "per_hour", main=True),
            Output("needed_differential_k", "Least differential that spares it", "temperature_difference"),
            Output("shortest_run_min", "Shortest run", "duration"),
            Output("starts_per_h", "Starts at this load", "per_hour"),
            Output("run_min", "Runs at this load", "duration"),
            Output("rest_min", "Rests at this load", "duration"),
            Output("run_share_pct", "Share of the time it runs", "percent"),
        ),
        compute=chiller_cycling,
        sources=("energy balance", "TEOS-10", "common practice"),
        valid="Steady load, well-mixed water and a quick sensor; a slow sensor lengthens the cycle.",
        cautions=(REFRIGERANT, MAINS),
    ),
)  # fmt: skip
