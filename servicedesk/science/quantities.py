"""The quantities people type and read, each with its units; the first unit is the canonical one.

Every unit but specific gravity is linear: canonical = typed × factor + offset.

Sources: NIST SP 811 (2008) appendix B for US units; DIN 38409-7 for the German degree of carbonate
hardness (1 °dKH = 10 mg CaO per litre); CIAAW 2021 weights for species conversions.
"""

from dataclasses import dataclass

from servicedesk.science.constants import G_M_S2
from servicedesk.science.water import molar

GAL_US_L = 3.785411784
GAL_IMP_L = 4.54609
OZ_G = 28.349523125
LB_G = 453.59237
MILE_KM = 1.609344
DKH_MEQ_L = 20.0 / molar.CAO  # 10 mg CaO per litre, two equivalents a mole
CACO3_MEQ_L = 2.0 / molar.CACO3
NO3_PER_N = molar.NO3 / molar.N
PO4_PER_P = molar.PO4 / molar.P
NH3_PER_N = molar.NH3 / molar.N
NO2_PER_N = molar.NO2 / molar.N


FT_M = 0.3048
IN_M = 0.0254
PSI_KPA = 6.894757293168361
LBF_N = 4.4482216152605
BTU_H_W = 1055.05585262 / 3600  # international table Btu
TON_W = 12000 * BTU_H_W  # refrigeration ton


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of a quantity: label as written, factor and offset to the canonical unit, digits of its table.

    ``fixed``: always told with ``digits`` decimals, else with three significant ones. ``silent``: told without its
    label. ``larger`` and ``smaller``: the unit told instead from, or under, a canonical value. ``us``: what readers of
    US units are told. ``aliases``: further ways to type it. ``suffix``: how names of canonical values end, the key
    unless given; "" for none.
    """

    key: str
    label: str
    factor: float = 1.0
    offset: float = 0.0
    digits: int = 1
    fixed: bool = False
    silent: bool = False
    larger: tuple[str, float] | None = None
    smaller: tuple[str, float] | None = None
    us: bool = False
    aliases: tuple[str, ...] = ()
    suffix: str | None = None

    @property
    def name_end(self) -> str:
        """How the names of values in this unit end, without the underscore."""
        if self.suffix is not None:
            return self.suffix
        return self.key.lower() if self.label and not self.silent else ""


def _ion(digits: int = 0) -> tuple[Unit, ...]:
    return (Unit("mg_L", "mg/L", digits=digits), Unit("ppm", "ppm", digits=digits))


_LITRE, _GALLON = ("liter", "litre", "liters", "litres"), ("usgal", "gallon", "gallons")
_MINUTE, _HOUR = ("mins", "minutes"), ("hour", "hours")
_CELSIUS, _FAHRENHEIT = ("c",), ("f",)

QUANTITIES: dict[str, tuple[Unit, ...]] = {
    "alkalinity": (
        Unit("meq_l", "meq/L", 1.0, 0.0, 2),
        Unit("dKH", "dKH", DKH_MEQ_L, 0.0, 1),
        Unit("ppm_caco3", "ppm CaCO₃", CACO3_MEQ_L, 0.0, 0),
    ),
    "calcium": _ion(),
    "magnesium": _ion(),
    "potassium": _ion(),
    "strontium": _ion(1),
    "boron": _ion(1),
    "iodide": (Unit("mg_L", "mg/L", digits=3), Unit("ug_L", "µg/L", 0.001, 0.0, 0)),
    "nitrate": (Unit("mg_L", "mg/L NO₃", digits=1), Unit("mg_L_N", "mg/L NO₃-N", NO3_PER_N, 0.0, 2)),
    "phosphate": (
        Unit("mg_L", "mg/L PO₄", digits=2),
        Unit("mg_L_P", "mg/L P", PO4_PER_P, 0.0, 3),
        Unit("ppb_P", "ppb P", PO4_PER_P / 1000, 0.0, 0),
    ),
    "ammonia": (Unit("mg_L", "mg/L NH₃+NH₄", digits=2), Unit("mg_L_N", "mg/L N", NH3_PER_N, 0.0, 2)),
    "nitrite": (Unit("mg_L", "mg/L NO₂", digits=2), Unit("mg_L_N", "mg/L N", NO2_PER_N, 0.0, 2)),
    "salinity": (
        Unit("PSS", "PSS", digits=1, fixed=True, aliases=("psu",)),
        Unit("ppt", "ppt", digits=1, fixed=True),
        Unit("SG_25", "SG 25/25 °C", digits=4, fixed=True, aliases=("sg",)),
        Unit("SG_60F", "SG 60/60 °F", digits=4, fixed=True),
    ),
    "temperature": (
        Unit("degC", "°C", digits=1, fixed=True, aliases=_CELSIUS, suffix="c"),
        Unit("degF", "°F", 5 / 9, -160 / 9, 1, fixed=True, us=True, aliases=_FAHRENHEIT),
    ),
    "temperature_difference": (
        Unit("K", "°C", digits=1, fixed=True, aliases=("kelvin", *_CELSIUS)),
        Unit("degF", "°F", 5 / 9, 0.0, 1, fixed=True, us=True, aliases=_FAHRENHEIT),
    ),
    "ph": (Unit("pH", "pH", digits=2, fixed=True, silent=True),),
    "orp": (Unit("mV", "mV", digits=0, suffix=""),),
    "co2": (Unit("ppm", "ppm", digits=0),),
    "volume": (
        Unit("L", "L", digits=0, aliases=_LITRE),
        Unit("gal", "gal", GAL_US_L, 0.0, 0, us=True, aliases=_GALLON),
        Unit("gal_imp", "imp gal", GAL_IMP_L, 0.0, 0),
    ),
    "dose_volume": (
        Unit("mL", "mL", digits=0, larger=("L", 1000.0)),
        Unit("L", "L", 1000.0, 0.0, 2, aliases=_LITRE),
        Unit("fl_oz", "fl oz", GAL_US_L * 1000 / 128, 0.0, 1),
    ),
    "jug": (
        Unit("L", "L", digits=2, aliases=_LITRE),
        Unit("qt", "qt", GAL_US_L / 4, 0.0, 1),
        Unit("gal", "gal", GAL_US_L, 0.0, 2, aliases=_GALLON),
    ),
    "mass": (
        Unit("g", "g", digits=0, larger=("kg", 1000.0), smaller=("mg", 0.1)),
        Unit("kg", "kg", 1000.0, 0.0, 2),
        Unit("oz", "oz", OZ_G, 0.0, 1),
        Unit("lb", "lb", LB_G, 0.0, 2, aliases=("lbs",)),
        Unit("mg", "mg", 0.001, 0.0, 0),
    ),
    "mass_kg": (Unit("kg", "kg", digits=2), Unit("lb", "lb", LB_G / 1000, 0.0, 1, us=True, aliases=("lbs",))),
    "drip_flow": (Unit("mL_min", "mL/min", digits=0), Unit("L_h", "L/h", 1000 / 60, 0.0, 2, aliases=("lph",))),
    "flow": (
        Unit("L_h", "L/h", digits=0, aliases=("lph",)),
        Unit("L_min", "L/min", 60.0, 0.0, 1, aliases=("lpm",)),
        Unit("m3_h", "m³/h", 1000.0, 0.0, 2),
        Unit("gph", "gal/h", GAL_US_L, 0.0, 0, us=True),
        Unit("gpm", "gal/min", GAL_US_L * 60, 0.0, 1),
    ),
    "power": (
        Unit("W", "W", digits=0, larger=("kW", 10000.0)),
        Unit("kW", "kW", 1000.0, 0.0, 2),
        Unit("Btu_h", "Btu/h", BTU_H_W, 0.0, 0),
        Unit("ton", "refrigeration tons", TON_W, 0.0, 2, aliases=("tons", "tr")),
    ),
    "percent": (Unit("pct", "%", digits=0, fixed=True, aliases=("percent",)),),
    "percent_fine": (Unit("pct", "%", digits=1, aliases=("percent",)),),
    "count": (Unit("count", "", digits=0, fixed=True),),
    "length": (Unit("km", "km", digits=0), Unit("mi", "mi", MILE_KM, 0.0, 0, us=True)),
    "duration": (
        Unit("min", "min", digits=0, aliases=_MINUTE),
        Unit("h", "h", 60.0, 0.0, 1, aliases=_HOUR),
    ),
    # Rates of the water
    "alkalinity_per_day": (
        Unit("meq_l_day", "meq/L a day", digits=3),
        Unit("dKH_day", "dKH a day", DKH_MEQ_L, 0.0, 2),
        Unit("ppm_day", "ppm CaCO₃ a day", CACO3_MEQ_L, 0.0, 1),
    ),
    "ion_per_day": (Unit("mg_l_day", "mg/L a day", digits=1),),
    "equivalents_per_day": (Unit("meq_day", "meq/day", digits=0),),
    "mass_per_day": (
        Unit("g_day", "g/day", digits=1, larger=("kg_day", 1000.0), smaller=("mg_day", 0.1)),
        Unit("kg_day", "kg/day", 1000.0, 0.0, 2),
        Unit("oz_day", "oz/day", OZ_G, 0.0, 2),
        Unit("lb_day", "lb/day", LB_G, 0.0, 2),
        Unit("mg_day", "mg/day", 0.001, 0.0, 0),
    ),
    "volume_per_day": (Unit("l_day", "L/day", digits=1), Unit("gal_day", "gal/day", GAL_US_L, 0.0, 1, us=True)),
    "dose_per_day": (Unit("ml_day", "mL/day", digits=0), Unit("l_day", "L/day", 1000.0, 0.0, 2)),
    "strength": (Unit("g_l", "g/L", digits=1), Unit("lb_gal", "lb/gal", LB_G / GAL_US_L, 0.0, 3)),
    "equivalents_amount": (Unit("meq", "meq", digits=0, suffix=""),),
    "equivalents": (Unit("meq_l", "meq/L", digits=1), Unit("meq_ml", "meq/mL", 1000.0, 0.0, 3)),
    "trace": (Unit("mg_L", "mg/L", digits=3), Unit("ug_L", "µg/L", 0.001, 0.0, 1)),
    "substance": (Unit("umol_kg", "µmol/kg", digits=0), Unit("mmol_kg", "mmol/kg", 1000.0, 0.0, 3)),
    "substance_per_day": (Unit("umol_kg_day", "µmol/kg a day", digits=0),),
    "pco2": (Unit("uatm", "µatm", digits=0),),
    "omega": (Unit("omega", "", digits=1, fixed=True),),
    "conductivity": (Unit("ms_cm", "mS/cm", digits=2, fixed=True), Unit("us_cm", "µS/cm", 0.001, 0.0, 0, fixed=True)),
    "salinity_difference": (Unit("pss", "PSS", digits=2, fixed=True),),
    "nitrogen_per_area": (Unit("g_m2_day", "g N/m² a day", digits=2),),
    "surface_per_volume": (Unit("m2_l", "m²/L", digits=2), Unit("m2_m3", "m²/m³", 0.001, 0.0, 0)),
    "gas_transfer": (Unit("cm_h", "cm/h", digits=1), Unit("m_day", "m/day", 100 / 24, 0.0, 2)),
    "titrant": (Unit("mol_l", "mol/L", digits=4),),
    "drop": (Unit("mL", "mL", digits=3),),
    "specific_gravity": (Unit("sg", "", digits=4, fixed=True),),
    "refractive_index": (Unit("n", "", digits=5, fixed=True),),
    "density": (Unit("kg_l", "kg/L", digits=4, fixed=True),),
    "oxygen": (Unit("mg_L", "mg/L", digits=1, fixed=True),),
    "oxygen_per_hour": (Unit("mg_l_h", "mg/L an hour", digits=2),),
    "respiration": (Unit("mg_kg_h", "mg/kg an hour", digits=0),),
    "mass_per_hour": (Unit("g_h", "g/h", digits=1),),
    "per_hour": (Unit("per_h", "per hour", digits=2),),
    "per_day": (Unit("per_day", "a day", digits=2, suffix=""),),
    "tds": (Unit("mg_L", "mg/L", digits=0),),
    # Time
    "hours": (
        Unit("h", "h", digits=1, aliases=_HOUR),
        Unit("min", "min", 1 / 60, 0.0, 0, aliases=_MINUTE),
        Unit("d", "days", 24.0, 0.0, 1, aliases=("day",)),
    ),
    "days": (Unit("d", "days", digits=1, aliases=("day",)), Unit("week", "weeks", 7.0, 0.0, 1)),
    "clock": (Unit("clock", "o’clock", digits=2),),
    # Shape and building
    "size": (
        Unit("m", "m", digits=2, smaller=("mm", 0.01)),
        Unit("cm", "cm", 0.01, 0.0, 1),
        Unit("mm", "mm", 0.001, 0.0, 0),
        Unit("ft", "ft", FT_M, 0.0, 2),
        Unit("in", "in", IN_M, 0.0, 1, us=True),
    ),
    "bore": (Unit("mm", "mm", digits=1), Unit("in", "in", IN_M * 1000, 0.0, 2, us=True)),
    "area": (Unit("m2", "m²", digits=2), Unit("ft2", "ft²", FT_M**2, 0.0, 1, us=True, aliases=("sqft",))),
    "head": (Unit("m", "m", digits=2), Unit("ft", "ft", FT_M, 0.0, 1, us=True)),
    "velocity": (Unit("m_s", "m/s", digits=2), Unit("ft_s", "ft/s", FT_M, 0.0, 1, us=True)),
    "pressure": (
        Unit("kpa", "kPa", digits=1),
        Unit("bar", "bar", 100.0, 0.0, 2),
        Unit("psi", "psi", PSI_KPA, 0.0, 1, us=True),
    ),
    "stress": (Unit("mpa", "MPa", digits=1), Unit("psi", "psi", PSI_KPA / 1000, 0.0, 0, us=True)),
    "floor_load": (
        Unit("kpa", "kPa", digits=1),
        Unit("psf", "lb/ft²", LBF_N / FT_M**2 / 1000, 0.0, 0, fixed=True, us=True),
        Unit("kg_m2", "kg/m²", G_M_S2 / 1000, 0.0, 0),
    ),
    "force": (Unit("kn", "kN", digits=2), Unit("lbf", "lbf", LBF_N / 1000, 0.0, 0, us=True)),
    "altitude": (Unit("m", "m", digits=0), Unit("ft", "ft", FT_M, 0.0, 0, us=True)),
    "mass_per_volume": (Unit("kg_l", "kg/L", digits=2),),
    # Heat, air and electricity
    "air_flow": (Unit("m3_h", "m³/h", digits=0), Unit("cfm", "ft³/min", FT_M**3 * 60, 0.0, 0, us=True)),
    "u_value": (Unit("w_m2k", "W/m²K", digits=2),),
    "conductance": (Unit("w_k", "W/K", digits=0),),
    "irradiance": (Unit("w_m2", "W/m²", digits=0),),
    "humidity_ratio": (Unit("g_kg", "g/kg", digits=1), Unit("gr_lb", "gr/lb", 1 / 7, 0.0, 0, us=True)),
    "energy": (Unit("kwh", "kWh", digits=1),),
    "energy_wh": (Unit("wh", "Wh", digits=0), Unit("kwh", "kWh", 1000.0, 0.0, 1)),
    "voltage": (Unit("v", "V", digits=0),),
    "current": (Unit("a", "A", digits=1),),
    "ratio": (Unit("ratio", "", digits=2),),
    "light": (Unit("umol_m2_s", "µmol/m²s", digits=0),),
    "resin": (Unit("eq_l", "eq/L", digits=2),),
    "mv_slope": (Unit("mv_ph", "mV per pH", digits=1),),
}

NAME_ENDS = tuple(
    sorted({f"_{units[0].name_end}" for units in QUANTITIES.values() if units[0].name_end}, key=len, reverse=True)
)
"""The ends of names that tell a unit, the longest first."""
