"""When cooling, heating or power fails: hours until the water meets a temperature limit. Energy balance.

Not a straight line: what the water exchanges with the room grows with the difference, so it slows down.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp

from servicedesk.science.constants import ATM_PA
from servicedesk.science.guard import not_negative, positive, within
from servicedesk.science.plant.air import MoistAir, moist_air
from servicedesk.science.plant.air import saturation_pressure_pa as saturation_pa
from servicedesk.science.plant.drift import Drift, drift, settles_c
from servicedesk.science.plant.heat import Tank, exchange, heat_capacity_j_k

FAN_AIR_M_S = 1.0  # a clip-on or table fan over the water
WETTEST_PCT, DRIEST_PCT = 100.0, 1.0


@dataclass(frozen=True, slots=True)
class RoomDrift:
    """The room after the failure: it goes from ``start_c`` to ``end_c``, most of the way in ``time_h``.

    Its moisture stays what it was at ``start_c`` and ``humidity_pct``.
    """

    start_c: float
    humidity_pct: float
    end_c: float
    time_h: float = 6.0
    pressure_pa: float = ATM_PA

    def temp_c(self, hours: float) -> float:
        return self.end_c + (self.start_c - self.end_c) * exp(-hours / positive("hours of the room", self.time_h))

    def air(self, hours: float) -> MoistAir:
        """Same moisture at the temperature of the hour, at most saturated."""
        vapour = self.humidity_pct / 100 * saturation_pa(self.start_c)
        return _air_of_vapour(self.temp_c(hours), vapour, self.pressure_pa)


@dataclass(frozen=True, slots=True)
class Case:
    """One way of standing the failure: what still heats the water, lids, and air over it."""

    name: str
    heat_w: float
    tank: Tank


def _air_of_vapour(temp_c: float, vapour_pa: float, pressure_pa: float) -> MoistAir:
    saturated = saturation_pa(temp_c)
    humidity = min(max(100 * vapour_pa / saturated, DRIEST_PCT), WETTEST_PCT)
    return moist_air(temp_c=temp_c, humidity_pct=humidity, pressure_pa=pressure_pa)


def with_lids(tank: Tank, lid_share: float) -> Tank:
    """The tank with this share of its water surface under lids."""
    return replace(tank, open_share=1 - within("share under lids", lid_share, 0, 1))


def with_fans(tank: Tank, air_m_s: float = FAN_AIR_M_S) -> Tank:
    """The tank with fans that drive air over the open water."""
    return replace(tank, air_m_s=within("air speed", air_m_s, 0, 3, "velocity"))


def temperature_after(
    case: Case,
    *,
    start_c: float,
    room: RoomDrift,
    hours: float,
    limit_c: float | Sequence[float] | None = None,
    heat_at: Callable[[float], float] | None = None,
) -> Drift:
    """Temperature of the water after the failure; ``heat_at`` gives W by hour instead of the steady ``heat_w``."""
    not_negative("heat left", case.heat_w)
    steady = room.start_c == room.end_c
    air_now = room.air(0)

    def net_w(hour: float, temp_c: float) -> float:
        air = air_now if steady else room.air(hour)
        heat_w = case.heat_w if heat_at is None else heat_at(hour)
        return heat_w + exchange(case.tank, temp_c=temp_c, air=air).total_w

    capacity = heat_capacity_j_k(case.tank.volume_l, start_c, case.tank.salinity)
    return drift(net_w, capacity_j_k=capacity, start_c=start_c, hours=hours, limit_c=limit_c)


def settling_c(case: Case, room: RoomDrift) -> float | None:
    """Temperature at which the water would come to rest in the room it ends in; None outside 0 to 60 °C."""
    air = _air_of_vapour(room.end_c, room.humidity_pct / 100 * saturation_pa(room.start_c), room.pressure_pa)
    return settles_c(lambda temp_c: case.heat_w + exchange(case.tank, temp_c=temp_c, air=air).total_w)


def straight_line_h(case: Case, *, start_c: float, limit_c: float, room: RoomDrift) -> float | None:
    """What a straight line from the first moment would say; None when it moves the other way. For comparison."""
    net_w = case.heat_w + exchange(case.tank, temp_c=start_c, air=room.air(0)).total_w
    stored_j = heat_capacity_j_k(case.tank.volume_l, start_c, case.tank.salinity) * (limit_c - start_c)
    return stored_j / net_w / 3600 if net_w * stored_j > 0 else None
