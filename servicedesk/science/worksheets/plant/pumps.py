"""Worksheet of the working point of a pump."""

from servicedesk.science.guard import OutOfRange
from servicedesk.science.plant import pumps
from servicedesk.science.plant.pipes import TURBULENT_FROM
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.words import say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    Curve,
    Input,
    LineChart,
    Output,
    Rows,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.plant.pipes import RUN, SALINITY, SUBJECT, TEMP, friction_steps, run_loss

CHART_POINTS = 40
FAST_M_S = 2.0


def pump_working_point(
    *,
    curve: tuple[tuple[float, float], ...],
    static_m: float,
    wanted_l_h: float | None,
    speed_pct: float,
    power_w: float | None,
    salinity: float,
    temp_c: float,
    **run: float,
) -> Answer:
    full = pumps.pump_curve(curve)
    pump = full.at_speed(speed_pct / 100)

    def asked_m(flow_l_h: float) -> float:
        return static_m + run_loss(flow_l_h=flow_l_h, salinity=salinity, temp_c=temp_c, run=run).total_m

    point = pumps.working_point(pump, asked_m)
    loss = run_loss(flow_l_h=point.flow_l_h, salinity=salinity, temp_c=temp_c, run=run)
    given_w = pumps.hydraulic_power_w(
        flow_l_h=point.flow_l_h, head_m=point.head_m, density_kg_l=density_kg_l(salinity, temp_c)
    )
    speed_needed = _speed_pct(full, asked_m, wanted_l_h)
    do = [say("Expect {flow} at {head}: prove it with a bucket and a watch at the outlet.",
              flow=amount("flow", point.flow_l_h), head=amount("head", point.head_m))]  # fmt: skip
    flags = []
    if wanted_l_h and speed_needed is None:
        do.append(say("No speed from 20 to 120 % is known to give {wanted} on this curve: type the curve down to no head, or choose "
                      "another pump or pipe.",
                      wanted=amount("flow", wanted_l_h)))  # fmt: skip
    elif wanted_l_h and speed_needed is not None:
        if speed_needed <= speed_pct:
            do.append(say("For {wanted} set the pump to {speed} of full speed; a pump of fixed speed: throttle the "
                          "valve after it, never before it.", wanted=amount("flow", wanted_l_h),
                          speed=amount("percent", speed_needed)))  # fmt: skip
        elif speed_needed <= 100:
            do.append(say("For {wanted} raise the pump to {speed} of full speed.",
                          wanted=amount("flow", wanted_l_h), speed=amount("percent", speed_needed)))  # fmt: skip
        else:
            do.append(say("This pump cannot give {wanted} here (it would need {speed} of full speed): take a wider "
                          "pipe or a larger pump.", wanted=amount("flow", wanted_l_h),
                          speed=amount("percent", speed_needed)))  # fmt: skip
    if loss.velocity_m_s > FAST_M_S:
        flags.append(say("The water runs at {speed} in the pipe, above the usual {limit}: noisy, and the loss eats "
                         "the pump's head.", limit=amount("velocity", FAST_M_S), speed=amount("velocity", loss.velocity_m_s)))  # fmt: skip
    if 0 < loss.reynolds < TURBULENT_FROM:
        flags.append(say("So slow a flow is not surely turbulent: its loss is uncertain."))
    if power_w and given_w > power_w:
        flags.append(say("The pump cannot give the water {given} from {power}: check curve and power.",
                         given=amount("power", given_w), power=amount("power", power_w)))  # fmt: skip
    return Answer(
        values={
            "flow_l_h": point.flow_l_h,
            "head_m": point.head_m,
            "velocity_m_s": loss.velocity_m_s,
            "lost_m": loss.total_m,
            "hydraulic_w": given_w,
            "efficiency_pct": 100 * given_w / power_w if power_w and given_w <= power_w else None,
            "speed_needed_pct": speed_needed,
        },
        do=tuple(do),
        steps=(
            *friction_steps(loss, run),
            step("Head the plumbing asks for at the working point", "{lift} + {loss}", amount("head", point.head_m),
                 "Munson", lift=amount("head", static_m), loss=amount("head", loss.total_m)),
            step("Head of the pump there", "straight line between the typed points at {flow}",
                 amount("head", pump.head_m(point.flow_l_h)), "Munson", flow=amount("flow", point.flow_l_h)),
            step("Power given to the water", "{density} × 9.807 × {flow} ÷ 3600 × {head}", amount("power", given_w),
                 "hydrostatics", density=amount("density", density_kg_l(salinity, temp_c)),
                 flow=amount("flow", point.flow_l_h), head=amount("head", point.head_m)),
        ),
        flags=tuple(flags),
        charts=(working_chart(pump, asked_m, point),),
    )  # fmt: skip


def _speed_pct(full: pumps.PumpCurve, asked_m: pumps.System, wanted_l_h: float | None) -> float | None:
    """Per cent of full speed for a wanted flow; None when none is wanted or no speed gives it."""
    if wanted_l_h is None:
        return None
    try:
        return 100 * pumps.speed_for_flow(full, asked_m, wanted_l_h)
    except OutOfRange:
        return None


def working_chart(pump: pumps.PumpCurve, asked_m: pumps.System, point: pumps.WorkingPoint) -> LineChart:
    """Pump, plumbing and where they meet."""
    last = pump.flows_l_h[-1]
    flows = [last * i / CHART_POINTS for i in range(CHART_POINTS + 1)]
    highest = 1.2 * pump.heads_m[0]
    system = [(q, asked_m(q)) for q in flows]
    shown = [(q, h) for q, h in system if h <= highest]
    return LineChart(
        title="Pump and plumbing",
        x_label="Flow",
        x_quantity="flow",
        y_label="Head",
        y_quantity="head",
        curves=(
            Curve("Pump", flows, [pump.head_m(q) for q in flows]),
            Curve("Plumbing", [q for q, _ in shown], [h for _, h in shown]),
            Curve("Working point", [point.flow_l_h], [point.head_m], points_only=True),
        ),
    )


SHEETS = (
    Worksheet(
        name="pump-working-point",
        title="Working point of a pump",
        subject=SUBJECT,
        purpose="The flow a pump really gives through its plumbing, and the speed for a wanted flow.",
        inputs=(
            Rows("curve", "Pump curve: flow and head on each line",
                 (Input("flow_l_h", "Flow", "flow", 0, 1e6), Input("head_m", "Head", "head", 0, 200)), 2, 30,
                 help="From the maker's sheet, from no flow to no head, e.g. “0 6”, “8000 4”, “14000 0”. "
                      "Another unit may stand after a number, such as 2000gal/h 10ft."),
            Input("static_m", "Height from the sump's surface to the outlet or the display's surface", "head",
                  -5, 100, usual=(0, 15), help="The display's surface counts when the outlet is under water."),
            *RUN,
            Input("wanted_l_h", "Flow wanted", "flow", 1, 1e6, optional=True),
            Input("speed_pct", "Speed set", "percent", 20, 100, 100, detail=True),
            Input("power_w", "Electrical power of the pump", "power", 1, 1e5, optional=True, detail=True,
                  recall="plant.return_pump.power"),
            SALINITY, TEMP,
        ),
        outputs=(
            Output("flow_l_h", "Flow", "flow", main=True),
            Output("head_m", "Head there", "head", main=True),
            Output("velocity_m_s", "Speed in the pipe", "velocity"),
            Output("lost_m", "Lost in pipe and fittings", "head"),
            Output("hydraulic_w", "Power given to the water", "power"),
            Output("efficiency_pct", "Wire to water", "percent"),
            Output("speed_needed_pct", "Speed for the flow wanted", "percent"),
        ),
        compute=pump_working_point,
        sources=("Munson", "Colebrook 1939", "Sharqawy 2010", "hydrostatics"),
        valid="One pump, one bore. Between the typed points the curve is taken straight; other speeds by the affinity "
              "laws, 20 to 120 %. Fouling and worn impellers give less.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
