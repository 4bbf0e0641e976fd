"""Worksheets of overflows, drains and what runs back when the power fails."""

from dataclasses import replace

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import backflow, drains
from servicedesk.science.plant.pipes import FITTINGS, pipe_loss, plumbing_volume_l, velocity_m_s
from servicedesk.science.plant.viscosity import kinematic_viscosity_m2_s
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import MAINS, Answer, Choice, Input, Output, Step, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import VOLUME, WHEN_IT_FAILS
from servicedesk.science.worksheets.plant.pipes import SALINITY, SUBJECT, TEMP

RIM_MARGIN_MM = 10.0
DEEPEST_MARK_MM = 600.0  # below the rim: a pump in a usual sump would run dry
LOW_DROP_M = 0.5  # of the drop may be the depth of the overflow box
SUCKING_DROP_M = 6.0  # of the 10 m of the air, less velocity head and vapour
TIGHT_PCT = 90.0
DRAIN_KINDS = (
    ("siphon", "Runs full, throttled by a valve (siphon)"),
    ("stack", "Falls open with air in its core"),
    ("sloping", "Runs nearly level, half full"),
)


def drain_capacity(
    *,
    flow_l_h: float,
    weir: str,
    weir_width_m: float,
    comb_open_pct: float,
    crest_m: float,
    freeboard_mm: float,
    drain: str,
    drain_bore_mm: float,
    drop_m: float,
    length_m: float,
    elbows_90: float,
    slope_pct: float,
    emergency_bore_mm: float,
    emergency_count: float,
    emergency_head_mm: float,
    salinity: float,
    temp_c: float,
) -> Answer:
    open_share = comb_open_pct / 100
    if weir == "notch":
        head_mm = 1000 * drains.notch_head_m(flow_l_h=flow_l_h, width_m=weir_width_m * open_share)
    elif weir == "narrow":
        head_mm = 1000 * drains.contracted_head_m(flow_l_h=flow_l_h, crest_m=crest_m, width_m=weir_width_m * open_share)
    else:
        head_mm = 1000 * drains.weir_head_m(
            flow_l_h=flow_l_h, crest_m=crest_m, width_m=weir_width_m, open_share=open_share
        )
    k = FITTINGS["entry"] + FITTINGS["elbow_90"] * elbows_90
    main_l_h = {
        "siphon": lambda: drains.siphon_l_h(
            bore_mm=drain_bore_mm, drop_m=drop_m, length_m=length_m, k=k,
            viscosity_m2_s=kinematic_viscosity_m2_s(salinity, temp_c),
        ),
        "stack": lambda: drains.stack_l_h(bore_mm=drain_bore_mm),
        "sloping": lambda: drains.near_level_l_h(bore_mm=drain_bore_mm, slope=slope_pct / 100),
    }[drain]()  # fmt: skip
    mouth_l_h = drains.standpipe_l_h(bore_mm=emergency_bore_mm, head_m=emergency_head_mm / 1000)
    fall_l_h = drains.stack_l_h(bore_mm=emergency_bore_mm)
    emergency_l_h = min(mouth_l_h, fall_l_h) * emergency_count
    do, flags = _verdicts(
        flow_l_h=flow_l_h, head_mm=head_mm, freeboard_mm=freeboard_mm, main_l_h=main_l_h, emergency_l_h=emergency_l_h
    )
    if drain == "siphon" and length_m < drop_m - LOW_DROP_M:
        flags.append(say("The drain is typed shorter ({length}) than it falls ({drop}): its figure is too high.",
                         length=amount("size", length_m), drop=amount("head", drop_m)))  # fmt: skip
    if drain == "siphon" and drop_m > SUCKING_DROP_M:
        flags.append(say("A full pipe that falls more than {drop} pulls a vacuum at its head: the column breaks and the "
                         "figure does not hold. Let it fall open, or throttle it at its foot.",
                         drop=amount("head", SUCKING_DROP_M)))  # fmt: skip
    if TIGHT_PCT < 100 * flow_l_h / main_l_h <= 100:
        flags.append(say("The main drain runs at {used} of what it carries: a snail or some salt and the emergency drain "
                         "runs.", used=amount("percent", 100 * flow_l_h / main_l_h)))  # fmt: skip
    if drain == "siphon" and velocity_m_s(flow_l_h, drain_bore_mm) > drains.SIPHON_NOISE_M_S:
        flags.append(
            say(
                "At this flow the full drain runs faster than {limit}: it hisses and draws air.",
                limit=amount("velocity", drains.SIPHON_NOISE_M_S),
            )
        )
    if 0 < head_mm < 1000 * drains.WEIR_EXACT_FROM_M:
        flags.append(say("The head on the weir is below {exact}: surface tension makes the figure an indication; "
                         "mark the true level with the pump running.",
                         exact=amount("bore", 1000 * drains.WEIR_EXACT_FROM_M)))  # fmt: skip
    return Answer(
        values={
            "weir_head_mm": head_mm,
            "main_l_h": main_l_h,
            "emergency_l_h": emergency_l_h,
            "main_used_pct": 100 * flow_l_h / main_l_h,
            "emergency_used_pct": 100 * flow_l_h / emergency_l_h,
        },
        do=tuple(do),
        steps=(
            _weir_step(weir, head_mm, flow_l_h=flow_l_h, width_m=weir_width_m, open_pct=comb_open_pct, crest_m=crest_m),
            _main_step(drain, main_l_h, bore_mm=drain_bore_mm, drop_m=drop_m, length_m=length_m, k=k, slope=slope_pct,
                       viscosity=kinematic_viscosity_m2_s(salinity, temp_c)),
            step("Mouth of one emergency drain", "the smaller of 1.84 × π × D × h^1.5 and 0.6 × π/4 × D² × √(2gh), "
                 "D {bore}, h {head}", amount("flow", mouth_l_h), "Francis",
                 bore=amount("bore", emergency_bore_mm), head=amount("bore", emergency_head_mm)),
            step("Fall pipe of one emergency drain", "27.8 × (7/24)^(5/3) × ({bore} ÷ 25.4)^(8/3) × 227.1",
                 amount("flow", fall_l_h), "Wyly & Eaton 1961", bore=amount("bore", emergency_bore_mm)),
            step("Emergency drains together", "{count} × {the_smaller}", amount("flow", emergency_l_h),
                 "common practice", the_smaller=amount("flow", min(mouth_l_h, fall_l_h)), count=amount("count", emergency_count)),
        ),
        flags=tuple(flags),
    )  # fmt: skip


def _verdicts(
    *, flow_l_h: float, head_mm: float, freeboard_mm: float, main_l_h: float, emergency_l_h: float
) -> tuple[list[Say], list[Say]]:
    """What to do, and what is dangerous."""
    flow, main, emergency = (amount("flow", value) for value in (flow_l_h, main_l_h, emergency_l_h))
    do, flags = [], []
    if head_mm + RIM_MARGIN_MM > freeboard_mm:
        state = "it floods" if head_mm >= freeboard_mm else "a wave or a hand in the water floods the room"
        flags.append(say("The water stands {head} above the weir's crest, the rim {rim}: {state}. Lengthen the weir, open "
                         "the comb or cut the flow.", head=amount("bore", head_mm), rim=amount("bore", freeboard_mm),
                         state=state))  # fmt: skip
    if main_l_h < flow_l_h:
        flags.append(say("The main drain carries {main}, less than the pump's {flow}: take a larger pipe, or the "
                         "emergency drain runs all the time.", main=main, flow=flow))  # fmt: skip
    if emergency_l_h < flow_l_h:
        flags.append(say("The emergency drain alone carries {emergency}, not the pump's {flow}: take a larger or a "
                         "second one, or cut the flow below {emergency}.", emergency=emergency, flow=flow))  # fmt: skip
    if flags:
        do.append(say("Do not run the pump at {flow} on these drains: mend what is said below, then ask again.",
                      flow=flow))  # fmt: skip
    else:
        do.append(say("Weir and drains carry {flow}: main {main}, emergency alone {emergency}.", flow=flow, main=main,
                      emergency=emergency))  # fmt: skip
        do.append(say("Prove it: with the pump at full flow close the main drain by its valve for ten minutes and "
                      "stand by the pump's switch; the display must settle below its rim, about {head} over the crest "
                      "while the overflow itself is not flooded.", head=amount("bore", head_mm)))  # fmt: skip
    return do, flags


def _weir_step(weir: str, head_mm: float, *, flow_l_h: float, width_m: float, open_pct: float, crest_m: float) -> Step:
    terms = {"flow": amount("flow", flow_l_h), "width": amount("size", width_m), "open": amount("percent", open_pct)}
    if weir == "notch":
        return step("Head on the weir", "solve {flow} = 1.84 × ({width} × {open} − 0.2 h) × h^1.5 × 3 600 000",
                    amount("bore", head_mm), "Francis", **terms)  # fmt: skip
    if weir == "narrow":
        return step("Head on the weir", "solve {flow} = 0.554 × (1 − 0.0035 h/{crest}) × ({width} × {open} + 0.0025) × √g × "
                    "(h + 0.0001)^1.5 × 3 600 000", amount("bore", head_mm), "Kindsvater & Carter 1957",
                    crest=amount("size", crest_m), **terms)  # fmt: skip
    return step("Head on the weir", "solve {flow} = 2/3 × √(2g) × (0.602 + 0.083 h/{crest}) × {width} × {open} × "
                "(h + 0.00125)^1.5 × 3 600 000", amount("bore", head_mm), "Francis",
                crest=amount("size", crest_m), **terms)  # fmt: skip


def _main_step(
    drain: str,
    main_l_h: float,
    *,
    bore_mm: float,
    drop_m: float,
    length_m: float,
    k: float,
    slope: float,
    viscosity: float,
) -> Step:
    bore, result = amount("bore", bore_mm), amount("flow", main_l_h)
    if drain == "siphon":
        friction = pipe_loss(
            flow_l_h=main_l_h, bore_mm=bore_mm, length_m=length_m, k=k, viscosity_m2_s=viscosity
        ).friction_factor
        return step("Main drain, full", "π ÷ 4 × ({bore} ÷ 1000)² × √(2 × 9.807 × {drop} ÷ (1 + {sum_of_K} + {friction} × "
                    "{length} ÷ {bore} × 1000)) × 3 600 000",
                    result, "Colebrook 1939", drop=amount("head", drop_m), sum_of_K=amount("ratio", k),
                    length=amount("size", length_m), bore=bore, friction=f"{friction:.4f}")  # fmt: skip
    if drain == "stack":
        return step("Main drain, open stack", "27.8 × (7/24)^(5/3) × ({bore} ÷ 25.4)^(8/3) × 227.1", result,
                    "Wyly & Eaton 1961", bore=bore)  # fmt: skip
    return step("Main drain, half full", "π/8 × D² × (D/4)^(2/3) × √({slope} ÷ 100) ÷ 0.010, D {bore}", result,
                "Manning", slope=amount("percent", slope), bore=bore)  # fmt: skip


def power_off_level(
    *,
    length_m: float,
    width_m: float,
    weir_head_mm: float,
    outlet_depth_mm: float,
    pipe_bore_mm: float,
    pipe_length_m: float,
    sump_length_m: float,
    sump_width_m: float,
    freeboard_mm: float,
    volume_l: float,
    salinity: float,
    bearable_fall: float,
    reservoir_l: float | None,
) -> Answer:
    surface_m2, sump_m2 = length_m * width_m, sump_length_m * sump_width_m
    pipes_l = plumbing_volume_l(((pipe_bore_mm, pipe_length_m),))
    drop_mm = weir_head_mm + outlet_depth_mm
    found = backflow.power_off(
        surface_m2=surface_m2, drop_m=drop_mm / 1000, pipes_l=pipes_l,
        sump_area_m2=sump_m2, freeboard_m=freeboard_mm / 1000,
    )  # fmt: skip
    mark_mm = 1000 * backflow.largest_running_level_m(
        sump_area_m2=sump_m2, freeboard_m=freeboard_mm / 1000, backflow=found.backflow_l
    )
    if bearable_fall >= salinity:
        raise ScienceError("The fall that is bearable must be less than the salinity itself.", "bearable_fall")
    by_salinity = backflow.reservoir_for_salinity_l(volume_l=volume_l, salinity=salinity, fall=bearable_fall)
    largest = backflow.largest_reservoir_l(
        volume_l=volume_l, salinity=salinity, fall=bearable_fall, spare_sump_l=found.spare_l
    )
    flags = []
    mark = amount("bore", mark_mm + RIM_MARGIN_MM)
    do = [say("Mark the sump's highest running level {mark} below its rim and hold the water under that mark.",
              mark=mark)]  # fmt: skip
    if found.spare_l < 0 and mark_mm > DEEPEST_MARK_MM:
        do = [say("Do not run the return: no running level makes room for {backflow} here. Drill the siphon break higher "
                  "or enlarge the sump, then ask again.", backflow=amount("volume", found.backflow_l))]  # fmt: skip
    elif found.spare_l < 0:
        do.append(say("Lower the sump to that mark before any test, then ask again with the new level."))
    if found.spare_l < 0:
        flags.append(say("A power failure floods the room with {over}: lower the sump's level, drill the return's "
                         "siphon break higher, or enlarge the sump.", over=amount("volume", -found.spare_l)))  # fmt: skip
    else:
        do.append(say("Prove it: switch the return off, wait until nothing runs, and see that the sump stays below "
                      "its rim; {backflow} should come down.", backflow=amount("volume", found.backflow_l)))  # fmt: skip
        do.append(say("Let the top-off reservoir hold at most {largest}.", largest=amount("volume", largest)))
    if reservoir_l and found.spare_l >= 0 and reservoir_l > largest:
        flags.append(say("A stuck valve can empty the top-off reservoir of {reservoir}; more than {largest} at once "
                         "overfills the sump or lowers the salinity too far. Use a smaller one, or a dosing pump with "
                         "a daily limit.", reservoir=amount("volume", reservoir_l),
                         largest=amount("volume", largest)))  # fmt: skip
    return Answer(
        values={
            "backflow_l": found.backflow_l,
            "free_l": found.free_sump_l,
            "spare_l": found.spare_l,
            "mark_mm": mark_mm,
            "largest_reservoir_l": largest,
        },
        do=tuple(do),
        steps=(
            step("Pipes that empty", "π ÷ 4 × ({bore} ÷ 1000)² × {length} × 1000", amount("volume", pipes_l),
                 "geometry", bore=amount("bore", pipe_bore_mm), length=amount("size", pipe_length_m)),
            step("Back-flow", "{surface} × ({weir_head} + {outlet_depth}) + {pipes}", amount("volume", found.backflow_l),
                 "hydrostatics", surface=amount("area", surface_m2), weir_head=amount("bore", weir_head_mm),
                 outlet_depth=amount("bore", outlet_depth_mm), pipes=amount("volume", pipes_l)),
            step("Room in the sump", "{area} × {freeboard}", amount("volume", found.free_sump_l), "geometry",
                 area=amount("area", sump_m2), freeboard=amount("bore", freeboard_mm)),
            step("Running level below the rim, and 10 mm besides", "{backflow} ÷ {area}", amount("bore", mark_mm),
                 "geometry", backflow=amount("volume", found.backflow_l), area=amount("area", sump_m2)),
            step("Reservoir that salinity bears", "{volume} × {fall} ÷ ({salinity} − {fall})",
                 amount("volume", by_salinity), "mass balance", volume=amount("volume", volume_l),
                 fall=amount("ratio", bearable_fall), salinity=amount("salinity", salinity)),
        ),
        flags=tuple(flags),
    )  # fmt: skip


SHEETS = (
    Worksheet(
        name="drain-capacity",
        title="Overflow and drains",
        subject=SUBJECT,
        purpose="Whether weir, main drain and emergency drain carry the pump's flow.",
        inputs=(
            Input("flow_l_h", "Return flow", "flow", 1, 1e6, recall="check.return_pump.flow_l_h"),
            Choice("weir", "The weir is", (("edge", "an edge as wide as its channel, plain or with a comb"),
                                           ("notch", "a notch in a wider wall"),
                                           ("narrow", "a notch of at most a fifth of its wall, 15 cm (6 in) or wider")),
                   "edge"),
            Input("weir_width_m", "Length of the weir", "size", 0.02, 20),
            Input("comb_open_pct", "Open part of its comb", "percent", 5, 100, 100,
                  help="100 for a plain edge; about 50 for a comb with gaps as wide as its teeth."),
            Input("freeboard_mm", "From the weir's crest up to the tank's rim", "bore", 1, 1000),
            Choice("drain", "How the main drain runs", DRAIN_KINDS, "siphon"),
            Input("drain_bore_mm", "True bore of the main drain", "bore", 15, 400),
            Input("drop_m", "Height from the overflow's surface to the drain's outlet", "head", 0.05, 30, 1.0,
                  help="For a drain that runs full: down to the sump's surface when the outlet is under water."),
            Input("length_m", "Length of the main drain", "size", 0, 500, 1.5),
            Input("elbows_90", "90° elbows in the main drain", "count", 0, 50, 2),
            Input("slope_pct", "Slope of a nearly level drain", "percent", 0.1, 20, 2, detail=True),
            Input("emergency_bore_mm", "True bore of the emergency drain", "bore", 15, 400),
            Input("emergency_count", "Emergency drains", "count", 1, 10, 1, detail=True),
            Input("emergency_head_mm", "Highest water over the emergency drain's mouth", "bore", 1, 1000, 50,
                  help="Before the display or the overflow box runs over."),
            Input("crest_m", "Height of the weir's crest above the tank's floor", "size", 0.05, 10, 0.6, detail=True),
            SALINITY, TEMP,
        ),
        outputs=(
            Output("weir_head_mm", "Water over the weir's crest", "bore", main=True),
            Output("main_l_h", "Main drain carries", "flow", main=True),
            Output("emergency_l_h", "Emergency drain alone carries", "flow", main=True),
            Output("main_used_pct", "Main drain used", "percent"),
            Output("emergency_used_pct", "Emergency drain used in an emergency", "percent"),
        ),
        compute=drain_capacity,
        sources=("Francis", "Colebrook 1939", "Wyly & Eaton 1961", "Manning", "common practice"),
        valid="Weir: sharp crest as wide as its channel, exact above 30 mm of head. Emergency drain: not flooded, air in "
              "its core, which is the careful assumption. Salt and slime narrow combs and pipes: keep a margin.",
        cautions=(MAINS,),
    ),
    Worksheet(
        name="power-off-level",
        title="What runs down when the power fails",
        subject=WHEN_IT_FAILS,
        purpose="Back-flow into the sump, the level to mark, and the largest safe top-off reservoir.",
        inputs=(
            Input("length_m", "Length of the display's surface", "size", 0.05, 50),
            Input("width_m", "Width of the display's surface", "size", 0.05, 50),
            Input("weir_head_mm", "Water over the weir's crest, running", "bore", 0, 300,
                  help="Measured; or from the sheet of overflow and drains."),
            Input("outlet_depth_mm", "Depth of the return's siphon break or outlet below the crest", "bore", 0, 3000,
                  help="The return siphons back until this opening draws air. Siphon-break holes clog: clean them."),
            Input("pipe_bore_mm", "True bore of pipes that empty", "bore", 4, 600, 40, detail=True),
            Input("pipe_length_m", "Length of pipes that empty", "size", 0, 1000, 0, detail=True),
            Input("sump_length_m", "Length of the sump", "size", 0.05, 50),
            Input("sump_width_m", "Width of the sump", "size", 0.05, 50),
            Input("freeboard_mm", "From the sump's running level up to its rim", "bore", 0, 3000),
            VOLUME,
            replace(SALINITY, low=5),
            Input("bearable_fall", "Fall of salinity that is bearable at once, PSS", "ratio", 0.1, 5, 1, detail=True),
            Input("reservoir_l", "Top-off reservoir in use", "volume", 0, 1e5, optional=True,
                  recall="plant.top_off.capacity"),
        ),
        outputs=(
            Output("backflow_l", "Runs down", "volume", main=True),
            Output("free_l", "Room in the sump", "volume"),
            Output("spare_l", "Left to spare", "volume", main=True),
            Output("mark_mm", "Running level at least below the rim", "bore"),
            Output("largest_reservoir_l", "Largest top-off reservoir", "volume"),
        ),
        compute=power_off_level,
        sources=("hydrostatics", "geometry", "mass balance"),
        valid="Upright walls. What stands in the sump takes room: measure its free area. Check valves are not counted "
              "on: they leak.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
