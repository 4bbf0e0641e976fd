"""The units in which the current person or document reads quantities."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """``system`` is "metric" or "us"; ``alkalinity`` a unit key of science.units."""

    system: str = "metric"
    alkalinity: str = "dKH"

    def unit_for(self, quantity: str) -> str:
        """The unit key to show for a quantity, e.g. "volume" → "gal" in the US system."""
        if quantity == "alkalinity":
            return self.alkalinity
        if quantity == "alkalinity_per_day":
            return _ALKALINITY_PER_DAY[self.alkalinity]
        return (_US if self.system == "us" else _METRIC).get(quantity, "")


_ALKALINITY_PER_DAY = {"meq_l": "meq_l_day", "dKH": "dKH_day", "ppm_caco3": "ppm_day"}
_METRIC = {"volume": "L", "temperature": "degC", "mass": "g", "length": "km", "temperature_difference": "K"}
_US = {
    "volume": "gal",
    "temperature": "degF",
    "mass": "g",
    "length": "mi",
    "temperature_difference": "degF",
    "mass_kg": "lb",
    "volume_per_day": "gal_day",
    "flow": "gph",
    "size": "in",
    "bore": "in",
    "area": "ft2",
    "head": "ft",
    "velocity": "ft_s",
    "pressure": "psi",
    "floor_load": "psf",
    "force": "lbf",
    "stress": "psi",
    "humidity_ratio": "gr_lb",
    "altitude": "ft",
    "air_flow": "cfm",
}
_METRIC_READER = DisplayUnits()
_current: ContextVar[DisplayUnits] = ContextVar("display_units", default=_METRIC_READER)


def current_display() -> DisplayUnits:
    return _current.get()


@contextmanager
def use_display(units: DisplayUnits) -> Iterator[None]:
    """Show quantities in ``units`` inside the block (a request, a document for a client)."""
    token = _current.set(units)
    try:
        yield
    finally:
        _current.reset(token)
