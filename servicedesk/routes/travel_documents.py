"""Examples of estimated drives, so that the constants can be judged by eye."""

from dataclasses import dataclass

from servicedesk.common.display import current_display
from servicedesk.planner.travel import EARTH_KM, estimate
from servicedesk.routes.travel import estimate_of
from servicedesk.routes.travel_models import TravelRule
from servicedesk.science import units

ROAD_KM = (2, 8, 30, 120)


@dataclass(frozen=True, slots=True)
class DriveExample:
    """A drive of so much road and the minutes it is thought to take."""

    road: str
    minutes: int


def drive_examples(rule: TravelRule) -> list[DriveExample]:
    constants, unit = estimate_of(rule), current_display().unit_for("length")
    found = []
    for km in ROAD_KM:
        degrees = km / rule.detour / EARTH_KM * 57.29577951308232
        seconds, _metres = estimate(constants, (0.0, 0.0), (0.0, degrees))
        found.append(DriveExample(units.show("length", km, unit), round(seconds / 60)))
    return found
