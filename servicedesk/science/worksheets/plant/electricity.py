"""Worksheets of electrical load, circuits and standby power."""

from typing import TypedDict

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import electricity
from servicedesk.science.plant.electricity import Circuit, Load
from servicedesk.science.words import Amount, say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    BarChart,
    Choice,
    Input,
    Listing,
    Output,
    Rows,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import WHEN_IT_FAILS
from servicedesk.science.worksheets.plant.asked import GENERATOR

SUBJECT = "Building and power"
BATTERY = (
    "Lead batteries give off hydrogen when they charge, and a damaged lithium battery burns: dry, ventilated, above any "
    "flood, away from the way out."
)
USES = (
    ("flow", "Return and flow pumps"),
    ("air", "Air pumps"),
    ("heat", "Heaters"),
    ("cooling", "Chillers and fans"),
    ("light", "Lights"),
    ("other", "Everything else"),
)


class Supply(TypedDict):
    """The kind of circuit that a list of machines runs on."""

    voltage_v: float
    power_factor: float
    phases: int


def electrical_load(
    *,
    loads: tuple[tuple[str, float, float], ...],
    voltage_v: float,
    phases: str,
    breaker_a: float,
    power_factor: float,
    circuits: float,
) -> Answer:
    machines = [Load(use, power_w, hours) for use, power_w, hours in loads]
    supply: Supply = {"voltage_v": voltage_v, "power_factor": power_factor, "phases": int(phases)}
    limit_w = electricity.circuit_limit_w(breaker_a=breaker_a, **supply)
    split = electricity.split_circuits(machines, limit_w=limit_w, least=int(circuits))
    total_w = sum(load.power_w for load in machines)
    current = electricity.current_a(power_w=total_w, **supply)
    root = "" if phases == "1" else " ÷ 1.732"
    times_root = "" if phases == "1" else " × 1.732"
    energy = electricity.energy_kwh_day(machines)
    keeps_flow = electricity.one_trip_leaves_flow(split)
    flags = [] if keeps_flow else [
        say("One trip stops all flow: put a second flow pump, each on its own circuit, or a pump on standby power.")
    ]  # fmt: skip
    return Answer(
        values={
            "power_w": total_w,
            "current_a": current,
            "energy_kwh_day": energy,
            "circuits": float(len(split)),
            "limit_w": limit_w,
            "flow_kept": "yes" if keeps_flow else "no",
        },
        do=(
            say("Give the electrician this list: {number} circuits of {breaker} at {voltage}{phases}, each with its own "
                "residual-current protection, loaded as below.", phases="" if phases == "1" else ", three phases", number=amount("count", len(split)),
                breaker=amount("current", breaker_a), voltage=amount("voltage", voltage_v)),
            say("Label the plugs with their circuit, and set an alarm on each."),
        ),
        steps=(
            step("Power together", "{all_machines}", amount("power", total_w), "energy balance",
                 all_machines=" + ".join(f"{load.power_w:g}" for load in machines) + " W"),
            step("Current", "{power} ÷ {voltage} ÷ {power_factor}" + root, amount("current", current), "energy balance",
                 power=amount("power", total_w), voltage=amount("voltage", voltage_v),
                 power_factor=amount("ratio", power_factor)),
            step("Most on one circuit for hours", "80 % × {breaker} × {voltage} × {power_factor}" + times_root,
                 amount("power", limit_w), "NEC 210.20", breaker=amount("current", breaker_a),
                 voltage=amount("voltage", voltage_v), power_factor=amount("ratio", power_factor)),
            step("Energy a day", "({power_times_hours}) ÷ 1000", amount("energy", energy), "energy balance",
                 power_times_hours=" + ".join(f"{load.power_w:g} W × {load.hours_day:g} h" for load in machines)),
        ),
        flags=tuple(flags),
        charts=(energy_chart(machines),),
        listings=(circuit_list(split, limit_w=limit_w, supply=supply),),
    )  # fmt: skip


def energy_chart(machines: list[Load]) -> BarChart:
    """Energy a day by use."""
    by_use = [
        (label, electricity.energy_kwh_day([load for load in machines if load.use == use])) for use, label in USES
    ]
    return BarChart("Energy a day", "energy", tuple((label, kwh) for label, kwh in by_use if kwh), total="Together")


def circuit_list(split: tuple[Circuit, ...], *, limit_w: float, supply: Supply) -> Listing:
    """One row a circuit: its machines, watts, amperes, share of what it may carry."""

    def row(number: int, circuit: Circuit) -> tuple[Amount | str, ...]:
        amperes = electricity.current_a(power_w=circuit.power_w, **supply)
        names = ", ".join(f"{load.use} {load.power_w:g} W" for load in circuit.loads)
        used = amount("percent", 100 * circuit.power_w / limit_w)
        return (str(number), names, amount("power", circuit.power_w), amount("current", amperes), used)

    rows = tuple(row(number, circuit) for number, circuit in enumerate(split, 1))
    return Listing("Circuits", ("Circuit", "Machines", "Power", "Current", "Of what it may carry"), rows)


def standby_power(
    *,
    flow_w: float,
    air_w: float,
    other_w: float,
    outage_h: float,
    efficiency_pct: float,
    usable_pct: float,
    battery_wh: float | None,
) -> Answer:
    vital_w = flow_w + air_w + other_w
    if not vital_w:
        raise ScienceError("Nothing is to run on standby: type the power of a flow pump or an air pump.", "flow_w")
    shares = {"efficiency": efficiency_pct / 100, "usable_share": usable_pct / 100}
    needed = electricity.standby_wh(power_w=vital_w, hours=outage_h, **shares)
    lasts = electricity.standby_h(battery_wh=battery_wh, power_w=vital_w, **shares) if battery_wh else None
    leanest = electricity.standby_wh(power_w=flow_w + air_w, hours=outage_h, **shares) if flow_w + air_w else None
    do = [say("For {hours} buy a battery of at least {battery} (nominal) whose inverter gives {power} for as long, and the start of the largest pump (several times its power).",
              hours=amount("hours", outage_h), battery=amount("energy_wh", needed),
              power=amount("power", vital_w))]  # fmt: skip
    if other_w and leanest is not None:
        do.append(say("Flow and air alone need {battery}: let the battery drop everything else first.",
                      battery=amount("energy_wh", leanest)))  # fmt: skip
    do.append(say("Plug in only what is counted here; heaters, chillers and lights go on a generator. Test it twice a year by "
                  "pulling the battery’s own mains plug for half an hour, with somebody watching."))  # fmt: skip
    flags = []
    if not flow_w + air_w:
        flags.append(say("Neither flow nor air is on standby: oxygen runs out first, in hours."))
    if lasts is not None and lasts < outage_h:
        flags.append(say("The battery in use lasts {lasts}, not {hours}.", lasts=amount("hours", lasts),
                         hours=amount("hours", outage_h)))  # fmt: skip
    return Answer(
        values={"battery_needed_wh": needed, "vital_w": vital_w, "lasts_h": lasts},
        do=tuple(do),
        steps=(
            step("What must run", "{flow} + {air} + {other}", amount("power", vital_w), "energy balance",
                 flow=amount("power", flow_w), air=amount("power", air_w), other=amount("power", other_w)),
            step("Battery", "{power} × {hours} ÷ ({efficiency} ÷ 100) ÷ ({usable} ÷ 100)",
                 amount("energy_wh", needed), "energy balance", power=amount("power", vital_w),
                 hours=amount("hours", outage_h), efficiency=amount("percent", efficiency_pct),
                 usable=amount("percent", usable_pct)),
            *((step("The battery in use lasts", "{battery} × {usable} ÷ 100 × {efficiency} ÷ 100 ÷ {power}",
                    amount("hours", lasts), "energy balance", battery=amount("energy_wh", battery_wh),
                    usable=amount("percent", usable_pct), efficiency=amount("percent", efficiency_pct),
                    power=amount("power", vital_w)),) if battery_wh and lasts is not None else ()),
        ),
        flags=tuple(flags),
    )  # fmt: skip


SHEETS = (
    Worksheet(
        name="electrical-load",
        title="Electrical load and circuits",
        subject=SUBJECT,
        purpose="Power, current and energy, and the machines split over circuits so that one trip leaves flow.",
        inputs=(
            Rows("loads", "Machines: use, power and hours a day on each line",
                 (Choice("use", "Use", USES, "other"), Input("power_w", "Power", "power", 0, 1e5),
                  Input("run_h", "Hours a day", "hours", 0, 24, 24, optional=True)), 1, 60,
                 help="Use: flow, air, heat, cooling, light or other; hours 24 when left out. E.g. “flow 120”, "
                      "“heat 500 8”. The power is the electrical one on the plate, for a chiller not its cooling."),
            Input("voltage_v", "Voltage", "voltage", 90, 600, 120, usual=(100, 480),
                  help="Of these circuits; on three phases from phase to phase. Ask once for each kind of supply."),
            Choice("phases", "Phases", (("1", "one phase"), ("3", "three phases, balanced")), "1", detail=True),
            Input("breaker_a", "Breaker of one circuit", "current", 5, 100, 20),
            Input("power_factor", "Power factor", "ratio", 0.3, 1, 0.9, detail=True,
                  help="0.9 is common practice for a mix; heaters 1, small motors down to 0.6."),
            Input("circuits", "Circuits at least", "count", 1, 40, 2, detail=True),
        ),
        outputs=(
            Output("circuits", "Circuits", "count", main=True),
            Output("power_w", "Power together", "power", main=True),
            Output("current_a", "Current together", "current"),
            Output("limit_w", "Most on one circuit", "power"),
            Output("energy_kwh_day", "Energy a day", "energy"),
            Output("flow_kept", "Flow left after one trip"),
        ),
        compute=electrical_load,
        sources=("energy balance", "NEC 210.20", "common practice"),
        valid="Circuits of one supply; three phases as if balanced. Motors start with several times their current: their "
              "breakers by the maker and the local code.",
        cautions=(MAINS,),
    ),
    Worksheet(
        name="standby-power",
        title="Standby power",
        subject=WHEN_IT_FAILS,
        purpose="The battery for an outage, or how long the one in use lasts.",
        inputs=(
            Input("flow_w", "Flow pumps that must run", "power", 0, 1e5, recall="plant.flow_pump.power"),
            Input("air_w", "Air pumps that must run", "power", 0, 1e4, 0),
            Input("other_w", "Controllers and all else that must run", "power", 0, 1e5, 0),
            Input("outage_h", "Outage to outlast", "hours", 0.25, 240, 8),
            Input("battery_wh", "Battery in use, nominal", "energy_wh", 1, 1e6, optional=True),
            Input("efficiency_pct", "Efficiency of the inverter", "percent", 30, 100, 85, detail=True),
            Input("usable_pct", "Usable part of the battery", "percent", 10, 100, 80, detail=True,
                  help="Common practice: lithium 80, lead 50; less when old."),
        ),
        outputs=(
            Output("battery_needed_wh", "Battery, nominal", "energy_wh", main=True),
            Output("vital_w", "What must run", "power"),
            Output("lasts_h", "The battery in use lasts", "hours", main=True),
        ),
        compute=standby_power,
        sources=("energy balance", "common practice"),
        valid="Steady loads; batteries age by a fifth in some years: size for the aged one.",
        cautions=(MAINS, GENERATOR, BATTERY),
    ),
)  # fmt: skip
