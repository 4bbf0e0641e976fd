"""What the sheets of heat and air ask alike, and the tank and air made of it."""

from dataclasses import replace

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant.air import MoistAir, moist_air, pressure_pa
from servicedesk.science.plant.evaporation import ASHRAE_AIR_M_S, SHAH_HUMIDITY_PCT
from servicedesk.science.plant.heat import (
    CONDUCTIVITY_W_MK,
    Tank,
    heat_capacity_j_k,
    seawater_cp_j_kg_k,
    wall_u_w_m2k,
)
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets import inputs
from servicedesk.science.worksheets.declare import Choice, Input, Step, amount, step

VOLUME = inputs.VOLUME
SALINITY = replace(inputs.SALINITY, low=0, detail=True)
WATER = replace(inputs.TEMP, low=8, high=35, default=25.8, recall="programme.temperature_c",
                help="Common practice 78 to 79 °F for a reef.")  # fmt: skip
ROOM = Input("room_c", "Room temperature", "temperature", 5, 45, default=23.3,
             help="Common practice 72 to 76 °F.", usual=(18, 28))  # fmt: skip
HUMIDITY = Input("room_humidity_pct", "Relative humidity of the room", "percent", 5, 99, default=50,
                 help="Read it on a hygrometer near the tank, not over the water.", usual=(25, 70))  # fmt: skip
SURFACE = Input("surface_m2", "Water surface, display and sump", "area", 0.02, 2000,
                help="Length × width of every open vessel, added.")  # fmt: skip
WALLS = Input("wall_m2", "Panels with water behind them", "area", 0, 5000,
              help="Sides and bottom of display and sump, in contact with room air.")  # fmt: skip
LIDS = Input("lid_pct", "Water surface under lids", "percent", 0, 100, default=0)
MATERIAL = Choice(
    "material", "Panels are of", (("acrylic", "acrylic"), ("glass", "glass"), ("plywood", "plywood"),
               ("concrete", "concrete")), "acrylic", detail=True)  # fmt: skip
THICKNESS = Input("panel_m", "Panel thickness", "size", 0.003, 0.6, default=0.038, detail=True)
AIR_SPEED = Input("air_m_s", "Air speed over the water", "velocity", 0, 3, default=0.1, detail=True,
                  help="Still room 0.05 to 0.15 m/s; a fan over the water about 1 m/s.")  # fmt: skip
SURFACE_STATE = Choice("water_state", "The water's surface is", (("quiet", "quiet or rippled"),
                       ("moved", "clearly moved"), ("broken", "broken, splashing")), "quiet", detail=True)  # fmt: skip
FACTOR = Input("evaporation_factor", "Factor from the metered top-off", "ratio", 0.2, 6, default=1.0, detail=True,
               help="Metered ÷ calculated top-off, from the sheet of evaporation; weirs raise it.")  # fmt: skip
ALTITUDE = inputs.ALTITUDE
LIGHTS_ON = inputs.LIGHTS_ON
LIGHTS_OFF = inputs.LIGHTS_OFF
LAMP_SHARE = Input("lamp_share_pct", "Share of the lamps' power into the water", "percent", 0, 100, default=40,
                   detail=True, help="Common practice 30 to 50 % for LEDs close over the water.")  # fmt: skip

BODY = (SURFACE, WALLS, LIDS, MATERIAL, THICKNESS, AIR_SPEED, SURFACE_STATE, FACTOR, SALINITY, ALTITUDE)

SHALLOWEST_M = 0.05

ACTIVITY = {"quiet": 0.5, "moved": 0.65, "broken": 1.0}  # ASHRAE activity factors


GENERATOR = (
    "A generator runs outdoors only, away from doors and windows: its exhaust kills. It feeds a building only through a "
    "transfer switch fitted by a licensed trade."
)


def exact(temp: float) -> str:
    """A temperature or a difference in °C with two decimals, for a sum that is to be checked by hand."""
    return f"{temp:.2f} °C".replace("-", "−")


def capacity_step(volume_l: float, temp_c: float, salinity: float) -> Step:
    """The heat that warms the water by one degree, with its density and heat capacity."""
    return step(
        "Heat that warms the water by 1 °C",
        "{volume} × {density} × {heat} J/kg·°C ÷ 3 600 000",
        amount("energy", heat_capacity_j_k(volume_l, temp_c, salinity) / 3.6e6),
        "TEOS-10",
        volume=amount("volume", volume_l),
        density=amount("density", density_kg_l(salinity, temp_c)),
        heat=f"{seawater_cp_j_kg_k(temp_c, salinity):.0f}",
    )


def evaporation_flags(air_m_s: float, humidity_pct: float) -> list[Say]:
    """Where the formulas of evaporation are carried beyond what they were tested for."""
    flags = []
    if air_m_s > ASHRAE_AIR_M_S[1]:
        flags.append(say("ASHRAE states its formula for 0.05 to 0.15 m/s of air; {speed} over the water is an estimate.",
                         speed=amount("velocity", air_m_s)))  # fmt: skip
    if not SHAH_HUMIDITY_PCT[0] <= humidity_pct <= SHAH_HUMIDITY_PCT[1]:
        flags.append(say("Shah tested 28 to 98 % of humidity; {humidity} lies outside: an estimate.",
                         humidity=amount("percent", humidity_pct)))  # fmt: skip
    return flags


def panel_u_w_m2k(material: str, panel_m: float) -> float:
    return wall_u_w_m2k([(panel_m, CONDUCTIVITY_W_MK[material])])


def tank_of(
    *,
    volume_l: float,
    surface_m2: float,
    wall_m2: float,
    lid_pct: float,
    material: str,
    panel_m: float,
    air_m_s: float,
    water_state: str,
    evaporation_factor: float,
    salinity: float,
) -> Tank:
    if volume_l / 1000 < SHALLOWEST_M * surface_m2:
        raise ScienceError(
            "So wide a surface over so little water would leave it less than 5 cm (2 in) deep: check volume, surface and "
            "their units.",
            "surface_m2",
        )
    return Tank(
        volume_l=volume_l,
        surface_m2=surface_m2,
        wall_m2=wall_m2,
        wall_u_w_m2k=panel_u_w_m2k(material, panel_m),
        salinity=salinity,
        open_share=1 - lid_pct / 100,
        air_m_s=air_m_s,
        activity=ACTIVITY[water_state],
        evaporation_factor=evaporation_factor,
    )


def air_of(room_c: float, room_humidity_pct: float, altitude_m: float) -> MoistAir:
    return moist_air(temp_c=room_c, humidity_pct=room_humidity_pct, pressure_pa=pressure_pa(altitude_m))
