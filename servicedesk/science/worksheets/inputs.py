"""Inputs that many worksheets ask alike."""

from servicedesk.science.water.ph_scales import SCALES
from servicedesk.science.worksheets.declare import Choice, Input

VOLUME = Input("volume_l", "Net volume of the system", "volume", 20, 2e6, recall="net_volume")
TEMP = Input("temp_c", "Water temperature", "temperature", 5, 34, default=25.5, recall="reading.temperature")
SALINITY = Input("salinity", "Salinity", "salinity", 19, 42, default=35.0, recall="reading.salinity", usual=(30, 37))
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
PER_DAY_HELP = "Greatest safe change a day (common practice); a site may set its own."
