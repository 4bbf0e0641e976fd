"""The units in which the current person or document reads quantities."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from servicedesk.science.quantities import QUANTITIES


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """``system`` is "metric" or "us"; ``alkalinity`` a unit key of science.units."""

    system: str = "metric"
    alkalinity: str = "dKH"

    def unit_for(self, quantity: str) -> str:
        """The unit key to show for a quantity, e.g. "volume" → "gal" in the US system; "" where all read one."""
        if quantity == "alkalinity":
            return self.alkalinity
        if quantity == "alkalinity_per_day":
            return _ALKALINITY_PER_DAY[self.alkalinity]
        return _unit_in(self.system, quantity)


def _unit_in(system: str, quantity: str) -> str:
    known = QUANTITIES.get(quantity, ())
    american = next((unit.key for unit in known if unit.us), "")
    return american if system == "us" or not american else known[0].key


_ALKALINITY_PER_DAY = {"meq_l": "meq_l_day", "dKH": "dKH_day", "ppm_caco3": "ppm_day"}
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
