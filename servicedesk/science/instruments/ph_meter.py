"""pH meters: buffers, slope of the electrode, and the scale of the reading.

A meter set in the ordinary buffers reads on the NBS scale; one set in a Tris seawater buffer reads on the total
scale, which the chemistry of seawater uses.
"""

from dataclasses import dataclass
from math import log

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import OutOfRange, ScienceError, within
from servicedesk.science.instruments.measured import Measured, combined_sd, propagate, rounding_sd
from servicedesk.science.water import ph_scales

GAS_CONSTANT = 8.314462618
FARADAY = 96485.33212

_TABLE_C = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0)
BUFFERS: dict[str, tuple[float, ...]] = {  # pH at the temperatures above
    "4.01": (3.997, 3.998, 4.000, 4.005, 4.011, 4.018),  # phthalate
    "6.86": (6.923, 6.900, 6.881, 6.865, 6.853, 6.844),  # phosphate 1:1
    "7.00": (7.06, 7.04, 7.02, 7.00, 6.99, 6.98),  # technical phosphate
    "9.18": (9.332, 9.276, 9.225, 9.180, 9.139, 9.102),  # borax
    "10.01": (10.179, 10.118, 10.062, 10.012, 9.966, 9.926),  # carbonate
}


@dataclass(frozen=True, slots=True)
class Electrode:
    """``slope_mv`` per pH (positive), ``slope_pct`` of the ideal one, ``offset_mv`` at pH 7, at ``temp_c``."""

    slope_mv: float
    slope_pct: float
    offset_mv: float
    temp_c: float


def buffer_ph(buffer: str, temp_c: float) -> float:
    """pH of a buffer at its temperature, 10 to 35 °C, straight between the tabulated points."""
    import numpy as np

    if buffer not in BUFFERS:
        raise ScienceError(f"The buffer is one of {', '.join(BUFFERS)}.", "buffer")
    within("buffer temperature", temp_c, 10, 35, "temperature")
    return float(np.interp(temp_c, _TABLE_C, BUFFERS[buffer]))


def tris_ph_total(salinity: float, temp_c: float) -> float:
    """pH on the total scale of the equimolal Tris buffer (0.04 mol/kg) in synthetic seawater.

    DelValls & Dickson 1998 as in Dickson 2007, SOP 6a; salinity 20 to 40, 0 to 45 °C.

    >>> round(tris_ph_total(35, 25), 4)
    8.0935
    """
    s = within("salinity of the buffer", salinity, 20, 40, "salinity")
    t = within("buffer temperature", temp_c, 0, 45, "temperature") + ZERO_C_K
    return (
        (11911.08 - 18.2499 * s - 0.039336 * s * s) / t
        - 366.27059
        + 0.53993607 * s
        + 0.00016329 * s * s
        + (64.52243 - 0.084041 * s) * log(t)
        - 0.11149858 * t
    )


def ideal_slope_mv(temp_c: float) -> float:
    """Nernst slope R T ln 10 / F in mV per pH.

    >>> round(ideal_slope_mv(25), 2)
    59.16
    """
    within("temperature", temp_c, 0, 50, "temperature")
    return 1000 * GAS_CONSTANT * (temp_c + ZERO_C_K) * log(10) / FARADAY


def electrode(*, first_ph: float, first_mv: float, second_ph: float, second_mv: float, temp_c: float) -> Electrode:
    """The electrode from its millivolts in two buffers at one temperature."""
    for name, value in (("pH of the buffer", first_ph), ("pH of the second buffer", second_ph)):
        within(name, value, 1, 13)
    for name, value in (("millivolts in the buffer", first_mv), ("millivolts in the second buffer", second_mv)):
        within(name, value, -1000, 1000, "orp")
    if abs(first_ph - second_ph) < 1:
        raise ScienceError("The two buffers must lie at least 1 pH apart.", "second_buffer")
    slope = (first_mv - second_mv) / (second_ph - first_ph)
    if slope <= 0:
        raise OutOfRange("The millivolts must fall as pH rises: the buffers or readings are swapped.", "second_mv")
    return Electrode(slope, 100 * slope / ideal_slope_mv(temp_c), first_mv + slope * (first_ph - 7), temp_c)


def ph_from_mv(cell: Electrode, mv: float, temp_c: float) -> float:
    """pH of a sample, NBS scale, from its millivolts; the slope goes with absolute temperature."""
    within("millivolts", mv, -1000, 1000, "orp")
    slope = cell.slope_mv * ideal_slope_mv(temp_c) / ideal_slope_mv(cell.temp_c)
    return 7 + (cell.offset_mv - mv) / slope


def measure(
    *,
    reading: float,
    scale: str,
    salinity: float,
    temp_c: float,
    resolution: float = 0.01,
    buffer_sd: float = 0.02,
    junction_sd: float = ph_scales.JUNCTION_SD,
) -> Measured:
    """pH on the total scale with its error; the junction counts for the NBS buffers only."""
    once = combined_sd(rounding_sd(resolution), buffer_sd, junction_sd if scale == "nbs" else 0.0)
    return propagate(lambda ph: ph_scales.to_total(ph, scale, salinity, temp_c), ((reading, once),))
