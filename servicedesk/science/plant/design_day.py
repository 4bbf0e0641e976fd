"""Heat balance of the tank and of its room over a design day, hour by hour. Energy balance.

The tank is held at its set point; what is left over is the plant's duty. The room's load is what its
air-conditioning must take away (positive) or bring (negative).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import pi, sin

from servicedesk.science.guard import ScienceError, not_negative, share, within
from servicedesk.science.plant.air import MoistAir
from servicedesk.science.plant.evaporation import FRESH_KG_L
from servicedesk.science.plant.heat import Tank, exchange, feed_water_w, lamp_heat_w, pump_heat_w

PERSON_SENSIBLE_W, PERSON_LATENT_W = 75.0, 55.0  # standing visitor, ASHRAE Fundamentals
HOURS = 24


@dataclass(frozen=True, slots=True)
class Equipment:
    """What makes heat. ``other_w``: ultraviolet lamps, electronics in the water; all day like the pumps.

    ``sun_w``: the sun's highest heat to the water, a half wave between ``sun_from_h`` and ``sun_to_h``.
    """

    submerged_pump_w: float = 0.0
    external_pump_w: float = 0.0
    external_pump_share: float = 0.6
    other_w: float = 0.0
    lamp_w: float = 0.0
    lamp_share: float = 0.4
    lamps_from_h: float = 10.0
    lamps_to_h: float = 20.0
    sun_w: float = 0.0
    sun_from_h: float = 9.0
    sun_to_h: float = 17.0
    top_off_c: float = 20.0
    change_l_day: float = 0.0
    change_c: float = 25.0
    people: float = 0.0
    people_from_h: float = 9.0
    people_to_h: float = 18.0

    def __post_init__(self) -> None:
        for name in ("submerged_pump_w", "external_pump_w", "other_w", "lamp_w", "sun_w", "change_l_day", "people"):
            not_negative(name.replace("_", " ").removesuffix(" w"), getattr(self, name))
        share("external pump share", self.external_pump_share)
        share("lamp share", self.lamp_share)
        for start, end in ("lamps_from_h", "lamps_to_h"), ("sun_from_h", "sun_to_h"), ("people_from_h", "people_to_h"):
            for name in (start, end):
                within(name.replace("_", " ").removesuffix(" h"), getattr(self, name), 0, HOURS, "hours")
        if self.sun_w > 0 and self.sun_from_h >= self.sun_to_h:
            raise ScienceError("The sun must leave after it comes.", "sun_to")


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour: parts of the water's balance in W by name, and the room's load."""

    hour: int
    parts: dict[str, float] = field(default_factory=dict)
    evaporation_kg_h: float = 0.0
    room_sensible_w: float = 0.0
    room_latent_w: float = 0.0

    @property
    def total_w(self) -> float:
        return sum(self.parts.values())


@dataclass(frozen=True, slots=True)
class Day:
    """Twenty-four hours and what follows from them."""

    hours: tuple[Hour, ...]

    @property
    def worst(self) -> Hour:
        """The hour in which the water gains most."""
        return max(self.hours, key=lambda hour: hour.total_w)

    @property
    def coldest(self) -> Hour:
        return min(self.hours, key=lambda hour: hour.total_w)

    @property
    def mean_w(self) -> float:
        return sum(hour.total_w for hour in self.hours) / len(self.hours)

    @property
    def gain_kwh(self) -> float:
        """Heat to take out in the day: the hours that gain."""
        return sum(max(hour.total_w, 0.0) for hour in self.hours) / 1000

    @property
    def loss_kwh(self) -> float:
        """Heat to put in in the day: the hours that lose."""
        return sum(max(-hour.total_w, 0.0) for hour in self.hours) / 1000

    @property
    def evaporation_l(self) -> float:
        return sum(hour.evaporation_kg_h for hour in self.hours) / FRESH_KG_L

    def mean_part_w(self, name: str) -> float:
        return sum(hour.parts[name] for hour in self.hours) / len(self.hours)


def on_share(hour: int, from_h: float, to_h: float) -> float:
    """Share of the clock hour that lies in a daily span, which may run over midnight.

    >>> on_share(9, 9.5, 18), on_share(23, 22, 6), on_share(12, 22, 6)
    (0.5, 1.0, 0.0)
    """
    if from_h == to_h:
        return 0.0
    if from_h > to_h:
        return 1.0 - on_share(hour, to_h, from_h)
    return float(max(min(hour + 1, to_h) - max(hour, from_h), 0.0))


def sun_share(hour: int, from_h: float, to_h: float) -> float:
    """Sun at the middle of the hour as a share of its highest: a half wave from ``from_h`` to ``to_h``."""
    middle = hour + 0.5
    if not from_h < middle < to_h:
        return 0.0
    return sin(pi * (middle - from_h) / (to_h - from_h))


def design_day(tank: Tank, *, temp_c: float, room: Sequence[MoistAir], equipment: Equipment) -> Day:
    """The balance of each hour of a day with the water held at ``temp_c``; ``room`` gives 24 states of air."""
    if len(room) != HOURS:
        raise ScienceError("The room of a design day needs 24 hours.")
    return Day(tuple(_hour(hour, tank, temp_c, air, equipment) for hour, air in enumerate(room)))


def _hour(hour: int, tank: Tank, temp_c: float, air: MoistAir, e: Equipment) -> Hour:
    lost = exchange(tank, temp_c=temp_c, air=air)
    lamps_w = e.lamp_w * on_share(hour, e.lamps_from_h, e.lamps_to_h)
    people = e.people * on_share(hour, e.people_from_h, e.people_to_h)
    top_off_l_day = max(lost.evaporation_kg_h, 0.0) * HOURS / FRESH_KG_L
    top_off_w = feed_water_w(top_off_l_day, feed_c=e.top_off_c, temp_c=temp_c)
    change_w = feed_water_w(e.change_l_day, feed_c=e.change_c, temp_c=temp_c, salinity=tank.salinity)
    dry_w = lost.walls_w + lost.convection_w + lost.radiation_w
    return Hour(
        hour=hour,
        parts={
            "Pumps": pump_heat_w(e.submerged_pump_w, submerged=True)
            + pump_heat_w(e.external_pump_w, submerged=False, wet_share=e.external_pump_share),
            "Lamps": lamp_heat_w(lamps_w, e.lamp_share),
            "Ultraviolet and other": e.other_w,
            "Sun": e.sun_w * sun_share(hour, e.sun_from_h, e.sun_to_h),
            "Walls and lids": lost.walls_w,
            "Evaporation": lost.evaporation_w,
            "Air over the water": lost.convection_w,
            "Radiation": lost.radiation_w,
            "Top-off and new water": top_off_w + change_w,
        },
        evaporation_kg_h=lost.evaporation_kg_h,
        room_sensible_w=e.external_pump_w * (1 - e.external_pump_share)
        + lamps_w * (1 - e.lamp_share)
        + people * PERSON_SENSIBLE_W
        - dry_w,
        room_latent_w=people * PERSON_LATENT_W - lost.evaporation_w,
    )
