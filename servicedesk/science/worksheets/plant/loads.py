"""Worksheet of a tank's weight, its floor and its panels."""

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.plant import loads
from servicedesk.science.plant.panels import Bending, panel_bending
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.water.volume import ROCK_KG_L, SAND_GRAIN_KG_L, box_l, rock_l, sand_l
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    LIFTING,
    STRUCTURE,
    Answer,
    Choice,
    Input,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.plant.pipes import SALINITY, TEMP

WORKING_STRESS_MPA = {"acrylic": 5.0, "glass": 6.0}  # common practice for a load that stays for years
OFFICE_FLOOR_KPA = 2.4


def weight_and_floor_load(
    *,
    length_m: float,
    width_m: float,
    height_m: float,
    depth_m: float,
    material: str,
    thickness_mm: float,
    rock_kg: float,
    sand_kg: float,
    stand_kg: float,
    sump_l: float,
    feet: float,
    foot_mm: float | None,
    footprint_m2: float | None,
    allowed_kpa: float | None,
    salinity: float,
    temp_c: float,
) -> Answer:
    if depth_m > height_m:
        raise ScienceError("The water cannot stand higher than the panels.", "depth_m")
    density = density_kg_l(salinity, temp_c)
    gross_l = box_l(length_m=length_m, width_m=width_m, depth_m=depth_m)
    water_l = gross_l - rock_l(rock_kg) - sand_l(sand_kg)
    if water_l < 0:
        raise ScienceError("So much rock and sand does not fit into the tank: check the units.", "rock_kg")
    water_l += sump_l
    panels = loads.panels_kg(
        length_m=length_m, width_m=width_m, height_m=height_m, thickness_mm=thickness_mm, material=material
    )
    weight = loads.tank_weight(
        water_l=water_l, density_kg_l=density, rock_kg=rock_kg, sand_kg=sand_kg, panels=panels, stand_kg=stand_kg
    )
    area = footprint_m2 or length_m * width_m
    floor = loads.floor_load_kpa(weight.total_kg, area)
    pressure = loads.panel_pressure_kpa(depth_m, density)
    longest_m = max(length_m, width_m)
    force = loads.panel_force_kn(depth_m=depth_m, width_m=longest_m, density_kg_l=density)
    foot = loads.foot_load_kn(weight.total_kg, int(feet)) if feet else None
    bending = _bending(longest_m, depth_m, thickness_mm, material, density)
    kg = {key: amount("mass_kg", value) for key, value in (
        ("water", weight.water_kg), ("rock", rock_kg), ("sand", sand_kg), ("panels", panels), ("stand", stand_kg),
    )}  # fmt: skip
    return Answer(
        values={
            "total_kg": weight.total_kg,
            "water_kg": weight.water_kg,
            "empty_kg": panels,
            "floor_kpa": floor,
            "foot_kn": foot,
            "foot_kpa": foot / (foot_mm / 1000) ** 2 if foot and foot_mm else None,
            "pressure_kpa": pressure,
            "force_kn": force,
            "stress_mpa": bending.stress_mpa if bending else None,
            "bulge_mm": bending.bulge_mm if bending else None,
        },
        do=(
            say("Give the structural engineer these figures before the tank is ordered: {total} on {area}, {load} "
                "spread evenly.", total=amount("mass_kg", weight.total_kg), area=amount("area", area),
                load=amount("floor_load", floor)),
            *((say("Each of {number} feet presses with {load} if all bear alike; on an uneven floor two feet can carry all: "
                   "put plates under them as the engineer says.", number=f"{feet:.0f}", load=amount("force", foot)),)
              if foot else ()),
            say("Carry the empty tank ({empty}) with a lifting aid; fill it only where it stays.", empty=kg["panels"]),
        ),
        steps=(
            step("Water", f"({{box}} − {{rock}} ÷ {ROCK_KG_L:g} − {{sand}} ÷ {SAND_GRAIN_KG_L:g} + {{sump}}) × {{density}}",
                 amount("mass_kg", weight.water_kg), "geometry", sump=amount("volume", sump_l), box=amount("volume", gross_l), rock=kg["rock"], sand=kg["sand"],
                 density=amount("density", density)),
            step("Panels", "(2 × ({length} + {width}) × {height} + {length} × {width}) × {thickness} × "
                 f"{loads.PANEL_DENSITY_KG_L[material]:g} kg/L", kg["panels"], "geometry",
                 length=amount("size", length_m), width=amount("size", width_m), height=amount("size", height_m),
                 thickness=amount("bore", thickness_mm)),
            step("Whole weight", "{water} + {rock} + {sand} + {panels} + {stand}",
                 amount("mass_kg", weight.total_kg), "hydrostatics", **kg),
            step("Floor load", "{total} × 9.807 ÷ 1000 ÷ {area}", amount("floor_load", floor), "hydrostatics",
                 total=amount("mass_kg", weight.total_kg), area=amount("area", area)),
            *_foot_steps(weight.total_kg, feet, foot, foot_mm),
            step("Pressure at the foot of the panels", "{density} × 9.807 × {depth}", amount("pressure", pressure),
                 "hydrostatics", density=amount("density", density), depth=amount("size", depth_m)),
            step("Force on the long panel, at a third of the depth", "½ × {pressure} × {depth} × {length}",
                 amount("force", force), "hydrostatics", pressure=amount("pressure", pressure),
                 depth=amount("size", depth_m), length=amount("size", longest_m)),
            *_bending_step(bending, pressure=pressure, depth_m=depth_m, thickness_mm=thickness_mm),
        ),
        flags=tuple(_floor_flags(floor, allowed_kpa) + _panel_flags(bending, material)),
    )  # fmt: skip


def _bending(longest_m: float, depth_m: float, thickness_mm: float, material: str, density: float) -> Bending | None:
    """Bending of the long panel; None for proportions a plate's theory does not cover."""
    try:
        return panel_bending(
            length_m=longest_m, depth_m=depth_m, thickness_mm=thickness_mm, material=material, density_kg_l=density
        )
    except OutOfRange:
        return None


def _foot_steps(total_kg: float, feet: float, foot: float | None, foot_mm: float | None) -> tuple[Step, ...]:
    if foot is None:
        return ()
    one = step("Load of a foot", "{total} × 9.807 ÷ 1000 ÷ {feet}", amount("force", foot), "hydrostatics",
               total=amount("mass_kg", total_kg), feet=f"{feet:.0f}")  # fmt: skip
    if not foot_mm:
        return (one,)
    under = step("Pressure under a foot", "{load} ÷ ({side} ÷ 1000)²",
                 amount("floor_load", foot / (foot_mm / 1000) ** 2), "geometry",
                 load=amount("force", foot), side=amount("bore", foot_mm))  # fmt: skip
    return one, under


def _bending_step(bending: Bending | None, *, pressure: float, depth_m: float, thickness_mm: float) -> tuple[Step, ...]:
    if bending is None:
        return ()
    factor = bending.stress_mpa * 1000 / pressure * (thickness_mm / depth_m / 1000) ** 2
    return (
        step("Bending stress of the long panel, no brace",
             "{factor} × {pressure} ÷ 1000 × ({depth} × 1000 ÷ {thickness})²", amount("stress", bending.stress_mpa),
             "Levy", factor=f"{factor:.3f}", pressure=amount("pressure", pressure), depth=amount("size", depth_m),
             thickness=amount("bore", thickness_mm)),
    )  # fmt: skip


def _floor_flags(floor: float, allowed_kpa: float | None) -> list[Say]:
    load = amount("floor_load", floor)
    flags = []
    if allowed_kpa is not None and floor > allowed_kpa:
        flags.append(say("The floor is stated to bear {allowed}: {load} is more. Do not set the tank up before the "
                         "engineer has signed.", allowed=amount("floor_load", allowed_kpa), load=load))  # fmt: skip
    elif allowed_kpa is None and floor > OFFICE_FLOOR_KPA:
        flags.append(say("{load} is more than floors are usually built for (about {usual} in offices, less in "
                         "homes).", load=load, usual=amount("floor_load", OFFICE_FLOOR_KPA)))  # fmt: skip
    flags.append(say("Feet, frames and rollers press harder than the mean: give the engineer their places."))
    return flags


def _panel_flags(bending: Bending | None, material: str) -> list[Say]:
    if bending is None:
        return [say("Stress and bulge are not told for panels of such proportions.")]
    limit = WORKING_STRESS_MPA[material]
    flags = []
    if bending.stress_mpa > limit:
        flags.append(say("Without a brace at the top the long panel would be bent to {stress}, above the {limit} "
                         "commonly allowed for years: it needs braces or a thicker panel, sized by its maker.",
                         stress=amount("stress", bending.stress_mpa), limit=amount("stress", limit)))  # fmt: skip
    if not bending.thin:
        flags.append(say("The bulge of {bulge} is more than half the panel: stress and bulge are then told too high, "
                         "but without braces the panel is surely too thin.",
                         bulge=amount("bore", bending.bulge_mm)))  # fmt: skip
    return flags


SHEETS = (
    Worksheet(
        name="weight-and-floor-load",
        title="Weight and floor load",
        subject="Building and power",
        purpose="Weight of the filled tank, load on the floor, pressure and force on the panels.",
        inputs=(
            Input("length_m", "Length inside", "size", 0.1, 30),
            Input("width_m", "Width inside, front to back", "size", 0.1, 30),
            Input("height_m", "Height of the panels", "size", 0.1, 6),
            Input("depth_m", "Depth of the water", "size", 0.1, 6),
            Choice("material", "Panels", (("acrylic", "Acrylic"), ("glass", "Glass")), "acrylic"),
            Input("thickness_mm", "Thickness of the panels", "bore", 3, 300),
            Input("rock_kg", "Rock, dry", "mass_kg", 0, 1e5, 0),
            Input("sand_kg", "Sand, dry", "mass_kg", 0, 1e5, 0),
            Input("stand_kg", "Stand, empty sump, lights and all else", "mass_kg", 0, 1e5, 0),
            Input("sump_l", "Water in the sump below it", "volume", 0, 1e5, 0, recall="sump_volume",
                  help="When it stands on the same patch of floor."),
            Input("feet", "Feet under the stand", "count", 0, 100, 0, help="0 when a frame lies flat on the floor."),
            Input("foot_mm", "Side of a foot, square", "bore", 10, 1000, optional=True),
            Input("footprint_m2", "Area that touches the floor, if not the tank's", "area", 0.01, 1000, optional=True),
            Input("allowed_kpa", "Load the floor is stated to bear", "floor_load", 0.1, 100, optional=True,
                  help="From the building's papers; never guessed."),
            SALINITY, TEMP,
        ),
        outputs=(
            Output("total_kg", "Whole weight", "mass_kg", main=True),
            Output("floor_kpa", "Load on the floor", "floor_load", main=True),
            Output("foot_kn", "Load of a foot, shared alike", "force"),
            Output("foot_kpa", "Pressure under a foot", "floor_load"),
            Output("water_kg", "Water, with the sump", "mass_kg"),
            Output("empty_kg", "Empty tank", "mass_kg"),
            Output("pressure_kpa", "Pressure at the foot of the panels", "pressure"),
            Output("force_kn", "Force on the long panel", "force"),
            Output("stress_mpa", "Bending stress of the long panel, no brace", "stress"),
            Output("bulge_mm", "Its bulge, no brace", "bore"),
        ),
        compute=weight_and_floor_load,
        sources=("hydrostatics", "geometry", "Levy", "common practice"),
        valid="Box-shaped tanks, one panel thickness; rock of 2.1 and sand grains of 2.7 kg/L. Panels are not sized "
              "here: stress and bulge are for a panel supported on three edges, water to its free top edge.",
        cautions=(STRUCTURE, LIFTING),
    ),
)  # fmt: skip
