"""Worksheet of condensation on cold surfaces."""

from math import log

from servicedesk.science.guard import OutOfRange
from servicedesk.science.plant import evaporation as science
from servicedesk.science.plant.air import MoistAir, saturation_pressure_pa
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import MAINS, Answer, Choice, Input, Output, Worksheet, amount, step
from servicedesk.science.worksheets.plant import asked
from servicedesk.science.worksheets.plant.exchanger import sold

K_FOAM_W_MK = 0.033
DRIEST_HELD_PCT = 25.0


def condensation(
    *,
    room_c: float,
    room_humidity_pct: float,
    surface: str,
    behind_c: float,
    material: str,
    panel_m: float,
    window_u_w_m2k: float,
    pipe_mm: float,
    insulation_mm: float,
    altitude_m: float,
) -> Answer:
    air = asked.air_of(room_c, room_humidity_pct, altitude_m)
    u_value = window_u_w_m2k if surface == "window" else asked.panel_u_w_m2k(material, panel_m)
    if surface == "pipe":
        surface_c = science.pipe_surface_c(
            room_c=room_c, fluid_c=behind_c, pipe_m=pipe_mm / 1000, insulation_m=insulation_mm / 1000
        )
        outer_mm = pipe_mm + 2 * insulation_mm
        working = step("Surface of the pipe", "{room} − ({room} − {fluid}) × {outside} ÷ ({inside} + {outside}), where "
                       "ln({outer} ÷ {bare}) ÷ 0.033 and 2000 ÷ ({outer} × 8) are the resistances inside and outside",
                       amount("temperature", surface_c), "Incropera", room=asked.exact(room_c),
                       fluid=asked.exact(behind_c), inside=f"{log(outer_mm / pipe_mm) / K_FOAM_W_MK:.2f}",
                       outside=f"{2000 / (outer_mm * science.SURFACE_W_M2K):.2f}", outer=amount("bore", outer_mm),
                       bare=amount("bore", pipe_mm))  # fmt: skip
    else:
        surface_c = science.surface_temp_c(room_c=room_c, behind_c=behind_c, u_w_m2k=u_value)
        working = step("Room side of the surface", "{room} − {u} × ({room} − {behind}) ÷ 8",
                       amount("temperature", surface_c), "Incropera", room=asked.exact(room_c),
                       u=amount("u_value", u_value), behind=asked.exact(behind_c))  # fmt: skip
    needed_mm = _needed_mm(surface, room_c, behind_c, air.dew_point_c, u_value, pipe_mm)
    spare_k = surface_c - air.dew_point_c
    return Answer(
        values={
            "verdict": "wet" if spare_k <= 0 else "close" if spare_k < 1 else "dry",
            "spare_k": spare_k,
            "surface_c": surface_c,
            "dew_point_c": air.dew_point_c,
            "insulation_mm": needed_mm,
            "driest_pct": _humidity_for(surface_c - 1, air),
        },
        do=_condensation_do(surface, spare_k, surface_c, air, needed_mm),
        steps=(
            step("Dew point of the room", "where air of {vapour_pressure} of vapour saturates",
                 amount("temperature", air.dew_point_c), "ASHRAE Fundamentals",
                 vapour_pressure=amount("pressure", air.vapour_pa / 1000)),
            working,
            step("Spare", "{surface} − {dew}", amount("temperature_difference", spare_k), "energy balance",
                 surface=asked.exact(surface_c), dew=asked.exact(air.dew_point_c)),
        ),
        flags=(say("What lies behind it is warmer than the room’s dew point: nothing can condense."),)
        if behind_c >= air.dew_point_c
        else (),
        charts=(),
    )  # fmt: skip


def _needed_mm(
    surface: str, room_c: float, behind_c: float, dew_c: float, u_value: float, pipe_mm: float
) -> float | None:
    """Insulation in all; None when none would do, or for a window, which is not insulated."""
    try:
        if surface == "pipe":
            return 1000 * science.insulation_pipe_m(room_c=room_c, fluid_c=behind_c, dew_c=dew_c, pipe_m=pipe_mm / 1000)
        if surface == "panel":
            return 1000 * science.insulation_flat_m(room_c=room_c, behind_c=behind_c, dew_c=dew_c, u_w_m2k=u_value)
    except OutOfRange:
        return None
    return None


def _humidity_for(dew_c: float, air: MoistAir) -> float:
    """Humidity of the room at which its dew point is ``dew_c``; at most 100."""
    return min(100 * saturation_pressure_pa(dew_c) / saturation_pressure_pa(air.temp_c), 100.0)


def _condensation_do(
    surface: str, spare_k: float, surface_c: float, air: MoistAir, needed_mm: float | None
) -> tuple[Say, ...]:
    dew = amount("temperature", air.dew_point_c)
    if spare_k >= 1:
        return (say("It stays dry: the surface is at {surface}, {spare} above the dew point.",
                    surface=amount("temperature", surface_c), spare=amount("temperature_difference", spare_k)),)  # fmt: skip
    state = "Water condenses on it" if spare_k <= 0 else "It is on the edge of dripping"
    lines = [say("{state}: the surface is at {surface}, the dew point at {dew}.", state=state,
                 surface=amount("temperature", surface_c), dew=dew)]  # fmt: skip
    humidity = amount("percent", _humidity_for(surface_c - 1, air))
    if needed_mm and surface == "pipe":
        lines.append(say("Bring its closed-cell insulation to {thick} or more, joints glued, or hold the room at {humidity} "
                         "or drier.", thick=sold(needed_mm), humidity=humidity))  # fmt: skip
    elif needed_mm:
        lines.append(say("Insulate it with {thick} or more of closed-cell foam, or hold the room at {humidity} or drier.",
                         thick=sold(needed_mm), humidity=humidity))  # fmt: skip
    elif surface != "window":
        lines.append(say("No insulation keeps it dry in air so humid: dry the room first, then insulate."))
    elif _humidity_for(surface_c - 1, air) < DRIEST_HELD_PCT:
        lines.append(say("No room is kept as dry as {humidity}: better glazing or insulation, or warm air blown over "
                         "it.", humidity=humidity))  # fmt: skip
    else:
        lines.append(say("Hold the room at {humidity} or drier, or blow room air over it.", humidity=humidity))
    return tuple(lines)


SHEETS = (
    Worksheet(
        name="condensation-check",
        title="Does it drip?",
        subject="Air and evaporation",
        purpose="Whether a cold panel, pipe or window falls below the room’s dew point, and what keeps it dry.",
        inputs=(
            asked.ROOM,
            asked.HUMIDITY,
            Choice("surface", "The cold surface is", (("panel", "a panel with cold water behind it"),
                   ("pipe", "a cold pipe"), ("window", "a window or outside wall")), "panel"),
            Input("behind_c", "Temperature behind it", "temperature", -30, 40,
                  help="Of the water, the chilled supply or the outdoor air."),
            asked.MATERIAL,
            asked.THICKNESS,
            Input("pipe_mm", "Outer diameter of the bare pipe", "bore", 4, 600, default=33.4, detail=True),
            Input("insulation_mm", "Insulation on the pipe now", "bore", 0, 200, default=0, detail=True),
            Input("window_u_w_m2k", "U value of the window or wall", "u_value", 0.1, 6, default=2.8, detail=True,
                  help="Single glass 5.7, double glass 2.8, good double glass 1.1."),
            asked.ALTITUDE,
        ),
        outputs=(
            Output("verdict", "It is", main=True),
            Output("spare_k", "Surface above the dew point by", "temperature_difference"),
            Output("surface_c", "Surface", "temperature"),
            Output("dew_point_c", "Dew point of the room", "temperature"),
            Output("insulation_mm", "Insulation that keeps it dry", "bore"),
            Output("driest_pct", "Room must be no more humid than", "percent"),
        ),
        compute=condensation,
        sources=("ASHRAE Fundamentals", "Incropera", "energy balance"),
        valid="Still room air, 8 W/m²K to the surface; corners, frames and furniture before a wall are colder.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
