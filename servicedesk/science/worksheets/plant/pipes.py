"""Worksheets of pipes and turnover."""

from dataclasses import replace

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import pipes
from servicedesk.science.plant.pumps import flow_for_turnover_l_h, turnover_per_h
from servicedesk.science.plant.viscosity import kinematic_viscosity_m2_s
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.words import say
from servicedesk.science.worksheets import inputs
from servicedesk.science.worksheets.declare import (
    Answer,
    AnyInput,
    Choice,
    Input,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import VOLUME

SUBJECT = "Pumps, pipes and drains"
SPEED_LIMITS = {"suction": 1.2, "pressure": 1.5, "gravity": 0.9}
RETURN_TURNOVER, WHOLE_TURNOVER = (3.0, 6.0), (20.0, 50.0)
ABSURD_M_S = 15.0  # no plastic pipe stands it: a slip of units
HAMMER_M_S = 3.0
SUCTION_M = 2.0  # lost before a pump, it starves

SALINITY = replace(inputs.SALINITY, low=0, high=45, detail=True)
TEMP = replace(inputs.TEMP, low=0, high=40, detail=True)
RUN: tuple[AnyInput, ...] = (
    Input("bore_mm", "True bore of the pipe", "bore", 4, 600, usual=(10, 250),
          help="Inside diameter: measure it or read it in the maker's table; the nominal size is not the bore."),
    Input("length_m", "Length of pipe", "size", 0, 2000, help="All straight runs, up and along."),
    Input("elbows_90", "90° elbows", "count", 0, 200, 0),
    Input("sweeps_90", "90° sweeps", "count", 0, 200, 0, detail=True),
    Input("elbows_45", "45° elbows", "count", 0, 200, 0),
    Input("tees_run", "Tees passed straight", "count", 0, 200, 0, detail=True),
    Input("tees_branch", "Tees turned through", "count", 0, 200, 0),
    Input("ball_valves", "Ball valves, open", "count", 0, 200, 0),
    Input("gate_valves", "Gate valves, open", "count", 0, 200, 0, detail=True),
    Input("unions", "Unions", "count", 0, 200, 0, detail=True),
    Input("check_valves", "Swing check valves", "count", 0, 50, 0),
    Input("entries", "Entries from a tank", "count", 0, 50, 1, detail=True),
    Input("exits", "Exits into a tank", "count", 0, 50, 1, detail=True),
    Input("further_loss", "Further loss coefficient", "ratio", 0, 1000, 0, detail=True,
          help="The K of anything else in the line, such as a filter, a chiller or a nozzle."),
)  # fmt: skip
FITTING_OF = {
    "elbows_90": "elbow_90", "sweeps_90": "sweep_90", "elbows_45": "elbow_45", "tees_run": "tee_run",
    "tees_branch": "tee_branch", "ball_valves": "ball_valve", "gate_valves": "gate_valve", "unions": "union",
    "check_valves": "swing_check", "entries": "entry", "exits": "exit",
}  # fmt: skip


def run_k(run: dict[str, float]) -> float:
    """Sum of the loss coefficients of a run as typed."""
    return pipes.fittings_k({FITTING_OF[key]: run[key] for key in FITTING_OF if key in run}) + run["further_loss"]


def run_loss(*, flow_l_h: float, salinity: float, temp_c: float, run: dict[str, float]) -> pipes.PipeLoss:
    """Loss of a flow in a run as typed."""
    return pipes.pipe_loss(
        flow_l_h=flow_l_h,
        bore_mm=run["bore_mm"],
        length_m=run["length_m"],
        k=run_k(run),
        viscosity_m2_s=kinematic_viscosity_m2_s(salinity, temp_c),
    )


def pipe_loss(*, flow_l_h: float, side: str, salinity: float, temp_c: float, **run: float) -> Answer:
    found = run_loss(flow_l_h=flow_l_h, salinity=salinity, temp_c=temp_c, run=run)
    if found.velocity_m_s > ABSURD_M_S:
        raise ScienceError(
            "No water runs so fast in a pipe: check flow and bore, and their units (a nominal 2 inch is about 52 mm).",
            "bore_mm",
        )
    check_m = pipes.hazen_williams_m(flow_l_h=flow_l_h, bore_mm=run["bore_mm"], length_m=run["length_m"])
    limit = SPEED_LIMITS[side]
    needed_mm = pipes.bore_for_velocity_mm(flow_l_h, limit)
    pressure = pipes.pressure_kpa(found.total_m, density_kg_l(salinity, temp_c))
    held_l = pipes.plumbing_volume_l(((run["bore_mm"], run["length_m"]),))
    words = {"speed": amount("velocity", found.velocity_m_s), "limit": amount("velocity", limit)}
    flags = []
    if found.velocity_m_s > limit:
        do = say("Take a pipe with a true bore of at least {bore}: the water runs at {speed}, common practice on "
                 "this side is at most {limit}.", bore=amount("bore", needed_mm), **words)  # fmt: skip
    else:
        do = say("The bore is enough: the water runs at {speed}, common practice on this side is at most {limit}.",
                 **words)  # fmt: skip
    if found.velocity_m_s > HAMMER_M_S:
        flags.append(say("Above {fast} a valve or a check valve that shuts fast hammers the pipe: joints burst. Use a "
                         "wider bore and slow valves.", fast=amount("velocity", HAMMER_M_S)))  # fmt: skip
    if side == "suction" and found.total_m > SUCTION_M:
        flags.append(say("A loss of {head} before the pump starves it: it rattles, and air comes out of the water. "
                         "Shorten or widen this side and set the pump below the water.",
                         head=amount("head", found.total_m)))  # fmt: skip
    if found.between_regimes:
        flags.append(say("The flow is between laminar and turbulent: the friction may be half or double."))
    return Answer(
        values={
            "head_m": found.total_m,
            "velocity_m_s": found.velocity_m_s,
            "friction_m": found.friction_m,
            "fittings_m": found.fittings_m,
            "loss_kpa": pressure,
            "bore_needed_mm": needed_mm,
            "held_l": held_l,
        },
        do=(do, say("Count on a loss of {head} at {flow}.", head=amount("head", found.total_m),
                    flow=amount("flow", flow_l_h))),
        steps=(
            step("Velocity", "{flow} ÷ 3 600 000 ÷ (π ÷ 4 × ({bore} ÷ 1000)²)",
                 amount("velocity", found.velocity_m_s), "Colebrook 1939",
                 flow=amount("flow", flow_l_h), bore=amount("bore", run["bore_mm"])),
            step("Reynolds number", "{velocity} × {bore} ÷ 1000 ÷ ({viscosity})",
                 amount("ratio", found.reynolds), "Sharqawy 2010",
                 viscosity=f"{1e6 * kinematic_viscosity_m2_s(salinity, temp_c):.3f} × 10⁻⁶ m²/s",
                 velocity=amount("velocity", found.velocity_m_s), bore=amount("bore", run["bore_mm"])),
            *friction_steps(found, run),
            step("Straight pipe by Hazen–Williams, a check", "10.67 × {length} × ({flow} ÷ 3 600 000)^1.852 ÷ (150^1.852 × ({bore} ÷ 1000)^4.87)",
                 amount("head", check_m), "Hazen-Williams", length=amount("size", run["length_m"]),
                 flow=amount("flow", flow_l_h), bore=amount("bore", run["bore_mm"])),
            step("Pressure", "{density} × 9.807 × {head}", amount("pressure", pressure), "hydrostatics",
                 density=amount("density", density_kg_l(salinity, temp_c)), head=amount("head", found.total_m)),
            step("Bore for the usual speed", "√(4 × {flow} ÷ 3 600 000 ÷ (π × {limit})) × 1000",
                 amount("bore", needed_mm), "common practice",
                 limit=amount("velocity", limit), flow=amount("flow", flow_l_h)),
            step("Water in the pipe", "π ÷ 4 × ({bore} ÷ 1000)² × {length} × 1000", amount("volume", held_l),
                 "geometry", bore=amount("bore", run["bore_mm"]), length=amount("size", run["length_m"])),
        ),
        flags=tuple(flags),
    )  # fmt: skip


def friction_steps(found: pipes.PipeLoss, run: dict[str, float]) -> tuple[Step, ...]:
    """The steps from the friction factor to the whole head."""
    return (
        step("Friction factor", "1/√f = −2·lg(ε/3.7D + 2.51/(Re·√f)), ε 0.0015 mm; 64/Re below 2040; Re = {Reynolds_number}",
             amount("ratio", found.friction_factor), "Colebrook 1939",
             Reynolds_number=amount("ratio", found.reynolds)),
        step("Straight pipe", "{factor} × {length} ÷ ({bore} ÷ 1000) × ({velocity})² ÷ 19.61",
             amount("head", found.friction_m), "Colebrook 1939", factor=f"{found.friction_factor:.4f}",
             length=amount("size", run["length_m"]), bore=amount("bore", run["bore_mm"]),
             velocity=amount("velocity", found.velocity_m_s)),
        step("Fittings", "{sum_of_K} × ({velocity})² ÷ 19.61", amount("head", found.fittings_m), "Munson",
             sum_of_K=amount("ratio", found.fittings_k), velocity=amount("velocity", found.velocity_m_s)),
        step("Whole loss", "{straight} + {fittings}", amount("head", found.total_m), "Colebrook 1939",
             straight=amount("head", found.friction_m), fittings=amount("head", found.fittings_m)),
    )  # fmt: skip


def turnover(*, volume_l: float, flow_l_h: float, circulation_l_h: float) -> Answer:
    of_return = turnover_per_h(flow_l_h, volume_l)
    of_all = turnover_per_h(flow_l_h + circulation_l_h, volume_l)
    least, most = (flow_for_turnover_l_h(rate, volume_l) for rate in RETURN_TURNOVER)
    words = {"least": amount("flow", least), "most": amount("flow", most), "rate": amount("per_hour", of_return)}
    if of_return < RETURN_TURNOVER[0]:
        do = say("Raise the return flow to at least {least}: it turns the system over {rate}, "
                 "common practice is 3 to 6 times an hour. First see that weir, drains and sump bear that flow.", **words)  # fmt: skip
    elif of_return > RETURN_TURNOVER[1]:
        do = say("The return turns the system over {rate}; {most} is enough (6 times an hour). Throttle it or slow "
                 "the pump, and check the drains at this flow.", **words)  # fmt: skip
    else:
        do = say("Leave the return as it is: it turns the system over {rate}, common practice is 3 to 6.", **words)
    flags = []
    if circulation_l_h and not WHOLE_TURNOVER[0] <= of_all <= WHOLE_TURNOVER[1]:
        flags.append(say("Return and circulation together move the water {rate}; common practice on coral reefs is "
                         "20 to 50 times an hour.", rate=amount("per_hour", of_all)))  # fmt: skip
    return Answer(
        values={"turnover_per_h": of_return, "whole_per_h": of_all, "least_l_h": least, "most_l_h": most},
        do=(do,),
        steps=(
            step("Return", "{flow} ÷ {volume}", amount("per_hour", of_return), "mass balance",
                 flow=amount("flow", flow_l_h), volume=amount("volume", volume_l)),
            step("Return and circulation", "({flow} + {circulation}) ÷ {volume}", amount("per_hour", of_all),
                 "mass balance", flow=amount("flow", flow_l_h), circulation=amount("flow", circulation_l_h),
                 volume=amount("volume", volume_l)),
            step("Return for 3 an hour", "3 × {volume}", amount("flow", least), "common practice",
                 volume=amount("volume", volume_l)),
            step("Return for 6 an hour", "6 × {volume}", amount("flow", most), "common practice",
                 volume=amount("volume", volume_l)),
        ),
        flags=tuple(flags),
    )  # fmt: skip


SHEETS = (
    Worksheet(
        name="pipe-loss",
        title="Head lost in a pipe",
        subject=SUBJECT,
        purpose="Speed, head loss and the bore to buy, from flow, true bore, length and fittings.",
        inputs=(
            Input("flow_l_h", "Flow", "flow", 0, 1e6, recall="check.return_pump.flow_l_h"),
            Choice("side", "Where the pipe runs", (("pressure", "After the pump"), ("suction", "Before the pump"),
                                                   ("gravity", "A drain running full")), "pressure"),
            *RUN, SALINITY, TEMP,
        ),
        outputs=(
            Output("head_m", "Head lost", "head", main=True),
            Output("velocity_m_s", "Speed of the water", "velocity", main=True),
            Output("friction_m", "In the straight pipe", "head"),
            Output("fittings_m", "In the fittings", "head"),
            Output("loss_kpa", "As pressure", "pressure"),
            Output("bore_needed_mm", "True bore for the usual speed", "bore"),
            Output("held_l", "Water in the pipe", "volume"),
        ),
        compute=pipe_loss,
        sources=("Colebrook 1939", "Munson", "Crane 410", "Sharqawy 2010", "Hazen-Williams", "common practice"),
        valid="Full smooth plastic pipe of one bore, salinity 0 to 45, 0 to 40 °C, Reynolds number to 10⁸. "
              "Old, fouled pipe loses more. Loss coefficients of fittings spread by half.",
    ),
    Worksheet(
        name="turnover",
        title="Turnover",
        subject=SUBJECT,
        purpose="How often an hour the return and the circulation move the water.",
        inputs=(
            VOLUME,
            Input("flow_l_h", "Return flow, measured", "flow", 0, 1e6, recall="check.return_pump.flow_l_h",
                  help="At the working height: time a bucket at the outlet, the pump's label is the flow at no head."),
            Input("circulation_l_h", "Circulation pumps together", "flow", 0, 1e7, 0),
        ),
        outputs=(
            Output("turnover_per_h", "Turnover by the return", "per_hour", main=True),
            Output("whole_per_h", "With circulation", "per_hour"),
            Output("least_l_h", "Return for 3 an hour", "flow"),
            Output("most_l_h", "Return for 6 an hour", "flow"),
        ),
        compute=turnover,
        sources=("mass balance", "common practice"),
        valid="Any volume and flow; the bands are common practice for mixed reefs.",
    ),
)  # fmt: skip
