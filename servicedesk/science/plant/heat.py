"""Heat of a tank: what stores it, what it exchanges with the room at an instant, and the walls.

Signs: watts into the water are positive.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from servicedesk.science.constants import ATM_PA, ZERO_C_K
from servicedesk.science.guard import finite, not_negative, positive, share, within
from servicedesk.science.plant.air import MoistAir
from servicedesk.science.plant.evaporation import QUIET, Rate, evaporation_rate, latent_heat_kj_kg, seawater_vapour_pa
from servicedesk.science.water.seawater import absolute_salinity_g_kg, check_water, density_kg_l

STEFAN_BOLTZMANN = 5.670374419e-8
EMISSIVITY = 0.95
PSYCHROMETRIC_PA_K = 66.5  # Bowen: sensible over latent heat, per K and Pa, at sea level
INSIDE_W_M2K = 250.0  # slow water to a panel; common range 100 to 500
OUTSIDE_W_M2K = 8.0  # room air to a panel, convection and radiation
LID_U_W_M2K = 3.0  # water, still air gap, lid, room
DAY_S = 86400.0

CONDUCTIVITY_W_MK = {"acrylic": 0.19, "glass": 1.0, "pvc": 0.16, "plywood": 0.13, "foam": 0.033, "concrete": 1.7}


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank and its sump as one well-mixed body of water.

    ``surface_m2`` all water surfaces; ``open_share`` what lids leave open; ``evaporation_factor`` for weirs,
    skimmer and sump, fitted to the metered top-off.
    """

    volume_l: float
    surface_m2: float
    wall_m2: float
    wall_u_w_m2k: float
    salinity: float = 35.0
    open_share: float = 1.0
    air_m_s: float = 0.1
    activity: float = QUIET
    evaporation_factor: float = 1.0

    def __post_init__(self) -> None:
        positive("volume", self.volume_l)
        not_negative("water surface", self.surface_m2)
        not_negative("wall area", self.wall_m2)
        within("U value", self.wall_u_w_m2k, 0, OUTSIDE_W_M2K, "u_value")
        share("open share of the surface", self.open_share)
        positive("evaporation factor", self.evaporation_factor)


@dataclass(frozen=True, slots=True)
class Exchange:
    """What the water gains from the room (W, negative when it loses) and what evaporates (kg/h)."""

    walls_w: float
    evaporation_w: float
    convection_w: float
    radiation_w: float
    evaporation_kg_h: float

    @property
    def total_w(self) -> float:
        return self.walls_w + self.evaporation_w + self.convection_w + self.radiation_w


def seawater_cp_j_kg_k(temp_c: float, salinity: float) -> float:
    """Isobaric heat capacity at 1 atm; −2 to 40 °C, salinity 0 to 42. TEOS-10."""
    import gsw

    check_water(salinity, temp_c)
    return float(gsw.cp_t_exact(absolute_salinity_g_kg(salinity), temp_c, 0.0))


def heat_capacity_j_k(volume_l: float, temp_c: float, salinity: float) -> float:
    """Heat that warms the water by one kelvin; the glass and rock are not counted."""
    return positive("volume", volume_l) * density_kg_l(salinity, temp_c) * seawater_cp_j_kg_k(temp_c, salinity)


def wall_u_w_m2k(
    layers: Sequence[tuple[float, float]],
    *,
    inside_w_m2k: float = INSIDE_W_M2K,
    outside_w_m2k: float = OUTSIDE_W_M2K,
) -> float:
    """U value of a wall of (thickness m, conductivity W/mK) layers between water and air.

    >>> round(wall_u_w_m2k([(0.05, 0.19)]), 2)
    2.55
    """
    resistance = 1 / positive("heat transfer inside", inside_w_m2k) + 1 / positive(
        "heat transfer outside", outside_w_m2k
    )
    for thickness_m, conductivity in layers:
        resistance += not_negative("thickness", thickness_m) / positive("conductivity", conductivity)
    return 1 / resistance


def exchange(tank: Tank, *, temp_c: float, air: MoistAir, surroundings_c: float | None = None) -> Exchange:
    """What the water exchanges with the room at an instant; water 0 to 60 °C.

    Convection follows from evaporation by the Bowen ratio; radiation is to surroundings at air temperature
    unless given. Under lids only conduction passes. Energy balance; Shah 2014; ASHRAE Natatoriums.
    """
    rate = evaporation_rate(
        temp_c=temp_c, air=air, air_m_s=tank.air_m_s, activity=tank.activity, salinity=tank.salinity
    )
    opened = tank.surface_m2 * tank.open_share
    evaporated_kg_h = rate.kg_m2h * opened * tank.evaporation_factor
    latent_w = evaporated_kg_h / 3.6 * latent_heat_kj_kg(temp_c)
    around = air.temp_c if surroundings_c is None else surroundings_c
    lids_w = LID_U_W_M2K * (tank.surface_m2 - opened) * (air.temp_c - temp_c)
    return Exchange(
        walls_w=tank.wall_u_w_m2k * tank.wall_m2 * (air.temp_c - temp_c) + lids_w,
        evaporation_w=-latent_w,
        convection_w=_convection_w_m2k(tank, temp_c, air, rate) * opened * (air.temp_c - temp_c),
        radiation_w=EMISSIVITY * STEFAN_BOLTZMANN * opened * ((around + ZERO_C_K) ** 4 - (temp_c + ZERO_C_K) ** 4),
        evaporation_kg_h=evaporated_kg_h,
    )


def _convection_w_m2k(tank: Tank, temp_c: float, air: MoistAir, rate: Rate) -> float:
    """Convection by Bowen's ratio on the mass transfer that drives the evaporation.

    Near equal vapour pressures the ratio fails; there the ASHRAE coefficient, W per m² and Pa, stands in.
    """
    difference_pa = seawater_vapour_pa(temp_c, tank.salinity) - air.vapour_pa
    if abs(difference_pa) < 50:
        latent_w_m2_pa = (0.089 + 0.0782 * tank.air_m_s) * tank.activity
    else:
        latent_w_m2_pa = rate.kg_m2h / 3.6 * latent_heat_kj_kg(temp_c) / difference_pa
    return latent_w_m2_pa * PSYCHROMETRIC_PA_K * air.pressure_pa / ATM_PA


def pump_heat_w(power_w: float, *, submerged: bool, wet_share: float = 0.6) -> float:
    """Heat of a pump to the water: all when submerged, else ``wet_share`` (common practice 0.5 to 0.75)."""
    not_negative("pump power", power_w)
    return power_w if submerged else power_w * share("share to the water", wet_share)


def lamp_heat_w(power_w: float, water_share: float = 0.4) -> float:
    """Heat of lamps to the water (common practice 0.3 to 0.5 of the input of LEDs close above it)."""
    return not_negative("lamp power", power_w) * share("share to the water", water_share)


def sun_heat_w(area_m2: float, irradiance_w_m2: float, gain_factor: float = 0.6) -> float:
    """Sun through glazing: area × solar heat gain coefficient × irradiance on it."""
    return (
        not_negative("sunlit area", area_m2)
        * within("irradiance", irradiance_w_m2, 0, 1400, "irradiance")
        * share("solar gain factor", gain_factor)
    )


def feed_water_w(volume_l_day: float, *, feed_c: float, temp_c: float, salinity: float = 0.0) -> float:
    """Mean heat that top-off or new water brings over a day; negative when colder than the tank."""
    litres = not_negative("feed water", volume_l_day)
    mean_c = (finite("feed temperature", feed_c) + finite("water temperature", temp_c)) / 2
    capacity_j_l_k = density_kg_l(salinity, mean_c) * seawater_cp_j_kg_k(mean_c, salinity)
    return litres * capacity_j_l_k * (feed_c - temp_c) / DAY_S
