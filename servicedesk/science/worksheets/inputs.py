"""Inputs that many worksheets ask alike; a formula that holds for less varies one with ``dataclasses.replace``."""

from servicedesk.science.water.ph_scales import SCALES
from servicedesk.science.worksheets.declare import Choice, Input

VOLUME = Input("volume_l", "Net volume of the system", "volume", 20, 2e6, recall="net_volume")
TEMP = Input("temp_c", "Water temperature", "temperature", 5, 34, default=25.5, recall="reading.temperature")
SALINITY = Input("salinity", "Salinity", "salinity", 19, 42, default=35.0, recall="reading.salinity", usual=(30, 37))
ALTITUDE = Input("altitude_m", "Height above the sea", "altitude", -400, 4000, default=0, detail=True)
LIGHTS_ON = Input("lights_on", "Lights on", "clock", 0, 23.99, default=10, recall="programme.lights_on")
LIGHTS_OFF = Input("lights_off", "Lights off", "clock", 0, 23.99, default=21, recall="programme.lights_off")
EVAPORATION = Input("evaporation_l_day", "Top-off a day, metered", "volume_per_day", 0, 1e5, recall="evaporation")
DEMAND = Input(
    "demand_meq_l_day", "Alkalinity used a day", "alkalinity_per_day", 0, 3, usual=(0, 0.6), recall="demand.alkalinity"
)
DRY = Input(
    "dry_pct",
    "Dry share of the salt mix",
    "percent",
    70,
    100,
    default=95,
    help="Common practice 90 to 99 %: from the bag, or from a trial batch; mixes draw water from the air.",
    detail=True,
)
ALKALINITY = Input(
    "alkalinity_meq_l", "Alkalinity", "alkalinity", 0.5, 12, recall="reading.alkalinity", usual=(1.8, 5.0)
)
CALCIUM = Input(
    "calcium_mg_l", "Calcium", "calcium", 50, 1500, default=420, recall="reading.calcium", usual=(340, 520), detail=True
)
PH = Input("ph", "pH as read", "ph", 6.5, 9.5, recall="reading.ph", usual=(7.6, 8.7))
PH_SCALE = Choice(
    "ph_scale",
    "Scale of the pH",
    tuple(SCALES.items()),
    "nbs",
    help="Set in the usual buffers 7 and 10: NBS scale; in a Tris seawater buffer: total scale.",
    recall="instrument.ph_scale",
    detail=True,
)
ROOM_CO2 = Input(
    "room_co2_ppm",
    "CO₂ in the room air",
    "co2",
    300,
    6000,
    default=600,
    help="Common practice: 420 outdoors, 600 to 800 in a used room, above 1000 in a closed one.",
    usual=(380, 2000),
)
WHEN_IT_FAILS = "When it fails"  # a subject of sheets from several rooms
PER_DAY_HELP = "Greatest safe change a day (common practice); a site may set its own."
