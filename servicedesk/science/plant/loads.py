"""Weight of a tank, load on its floor, pressure on its panels. An indication: a structural engineer signs.

Source: hydrostatics; densities of panels: common practice (cast acrylic 1.19, soda-lime glass 2.5 kg/L).
"""

from dataclasses import dataclass

from servicedesk.science.constants import G_M_S2
from servicedesk.science.guard import ScienceError, not_negative, positive

PANEL_DENSITY_KG_L = {"acrylic": 1.19, "glass": 2.5}


@dataclass(frozen=True, slots=True)
class TankWeight:
    """Masses in kg of a filled tank and what stands with it."""

    water_kg: float
    rock_kg: float
    sand_kg: float
    panels_kg: float
    stand_kg: float

    @property
    def total_kg(self) -> float:
        return self.water_kg + self.rock_kg + self.sand_kg + self.panels_kg + self.stand_kg


def panels_kg(*, length_m: float, width_m: float, height_m: float, thickness_mm: float, material: str) -> float:
    """Mass of four walls and a floor of one thickness, without braces."""
    if material not in PANEL_DENSITY_KG_L:
        raise ScienceError(f"Panels are of {' or '.join(PANEL_DENSITY_KG_L)}, not {material!r}.", "material")
    long, wide, high = positive("length", length_m), positive("width", width_m), positive("height", height_m)
    faces_m2 = 2 * (long + wide) * high + long * wide
    return faces_m2 * not_negative("thickness", thickness_mm) * PANEL_DENSITY_KG_L[material]


def tank_weight(
    *, water_l: float, density_kg_l: float, rock_kg: float, sand_kg: float, panels: float, stand_kg: float
) -> TankWeight:
    """All masses; ``water_l`` is the water itself, without what rock and sand displace."""
    return TankWeight(
        not_negative("water", water_l) * positive("density", density_kg_l),
        not_negative("rock", rock_kg),
        not_negative("sand", sand_kg),
        not_negative("mass of the panels", panels),
        not_negative("mass of the stand", stand_kg),
    )


def floor_load_kpa(mass_kg: float, area_m2: float) -> float:
    """Mean load on the footprint, as if spread evenly.

    >>> round(floor_load_kpa(1000, 1), 3)
    9.807
    """
    return not_negative("mass", mass_kg) * G_M_S2 / 1000 / positive("area", area_m2)


def foot_load_kn(mass_kg: float, feet: int) -> float:
    """Load of one foot when all bear alike.

    >>> round(foot_load_kn(1000, 4), 3)
    2.452
    """
    return not_negative("mass", mass_kg) * G_M_S2 / 1000 / positive("number of feet", feet)


def panel_pressure_kpa(depth_m: float, density_kg_l: float) -> float:
    """Pressure at the foot of a panel under ``depth_m`` of water."""
    return positive("density", density_kg_l) * G_M_S2 * not_negative("depth", depth_m)


def panel_force_kn(*, depth_m: float, width_m: float, density_kg_l: float) -> float:
    """Whole force on a wetted upright panel, ½ρg·b·h²; it acts at a third of the depth from the foot."""
    return panel_pressure_kpa(depth_m, density_kg_l) * depth_m * positive("width", width_m) / 2
