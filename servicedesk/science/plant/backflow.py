"""What runs down when the flow stops, and how large a top-off reservoir may be. Source: hydrostatics, mass balance."""

from dataclasses import dataclass

from servicedesk.science.guard import not_negative, positive


@dataclass(frozen=True, slots=True)
class PowerOff:
    """After a power failure: what runs back, the room for it, what is left (negative: it floods)."""

    backflow_l: float
    free_sump_l: float

    @property
    def spare_l(self) -> float:
        return self.free_sump_l - self.backflow_l


def backflow_l(*, surface_m2: float, drop_m: float, pipes_l: float = 0.0) -> float:
    """Water that runs back: the display's surface sinks by ``drop_m``, and the pipes empty.

    ``drop_m``: head over the weir and the depth that the return outlets siphon before they draw air.
    """
    sinks = positive("water surface", surface_m2) * not_negative("drop", drop_m) * 1000
    return sinks + not_negative("water in the pipes", pipes_l)


def free_sump_l(*, sump_area_m2: float, freeboard_m: float) -> float:
    """Room in the sump between its running level and its rim."""
    return positive("surface of the sump", sump_area_m2) * not_negative("freeboard", freeboard_m) * 1000


def power_off(*, surface_m2: float, drop_m: float, pipes_l: float, sump_area_m2: float, freeboard_m: float) -> PowerOff:
    """The whole balance of a power failure."""
    return PowerOff(
        backflow_l(surface_m2=surface_m2, drop_m=drop_m, pipes_l=pipes_l),
        free_sump_l(sump_area_m2=sump_area_m2, freeboard_m=freeboard_m),
    )


def largest_running_level_m(*, sump_area_m2: float, freeboard_m: float, backflow: float) -> float:
    """How far the running level must stay below the rim so that the back-flow just fits; ≤ freeboard when safe."""
    not_negative("freeboard", freeboard_m)
    return not_negative("back-flow", backflow) / 1000 / positive("surface of the sump", sump_area_m2)


def reservoir_for_salinity_l(*, volume_l: float, salinity: float, fall: float) -> float:
    """Fresh water that lowers the salinity by ``fall`` when a stuck valve empties it: V·ΔS/(S − ΔS)."""
    volume, start = positive("volume", volume_l), positive("salinity", salinity)
    change = not_negative("fall", fall)
    return volume * change / positive("salinity left", start - change)


def largest_reservoir_l(*, volume_l: float, salinity: float, fall: float, spare_sump_l: float) -> float:
    """The smaller of what salinity bears and what the sump holds beside the back-flow."""
    by_salinity = reservoir_for_salinity_l(volume_l=volume_l, salinity=salinity, fall=fall)
    return min(by_salinity, max(spare_sump_l, 0.0))
