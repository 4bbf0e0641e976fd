"""Salinity from a refractometer: the index of seawater (Quan & Fry 1995) and the scale printed in the instrument.

Many refractometers carry a sodium chloride scale ("brine"), on which seawater reads about 1.5 too high. Every scale is
read as the refractive index at 20 °C that it stands for; the standard it was set with moves that index.
"""

from servicedesk.science.guard import OutOfRange, ScienceError, within
from servicedesk.science.instruments.measured import Measured, combined_sd, propagate, rounding_sd
from servicedesk.science.words import Amount, say

SODIUM_D_NM = 589.3
SCALE_C = 20.0  # scales are drawn for 20 °C
BRINE_INDEX_PER_G_KG = 1.757e-4  # rise of the index of a NaCl solution at 20 °C, 0 to 50 g/kg, ± 1 %
SCALES = ("seawater", "brine", "index")
MOST_SALINITY = 42.0  # the equation is fitted to 35 and is straight in salinity


def refractive_index(salinity: float, temp_c: float, wavelength_nm: float = SODIUM_D_NM) -> float:
    """Refractive index of seawater; fitted for salinity 0 to 35, 0 to 30 °C, 400 to 700 nm (Quan & Fry 1995).

    Straight in salinity, so taken to 42; the caller flags what lies above 35.
    """
    s = within("salinity", salinity, 0, MOST_SALINITY, "salinity")
    t = within("temperature", temp_c, 0, 30, "temperature")
    w = within("wavelength in nm", wavelength_nm, 400, 700)
    return (
        1.31405
        + (1.779e-4 - 1.05e-6 * t + 1.6e-8 * t**2) * s
        - 2.02e-6 * t**2
        + (15.868 + 0.01155 * s - 0.00423 * t) / w
        - 4382 / w**2
        + 1.1455e6 / w**3
    )


def salinity_from_index(index: float, temp_c: float) -> float:
    """Salinity from the index at the temperature of the sample, sodium light."""
    fresh = refractive_index(0, temp_c)
    per_unit = refractive_index(1, temp_c) - fresh
    found = (index - fresh) / per_unit
    if not -0.5 <= found <= MOST_SALINITY:
        raise OutOfRange(
            say(
                "The index {index} at {temp} is of no seawater from 0 to {most}.",
                index=Amount("refractive_index", index),
                temp=Amount("temperature", temp_c),
                most=Amount("salinity", MOST_SALINITY),
            ),
            "reading",
        )
    return max(found, 0.0)


def index_of_reading(reading: float, scale: str) -> float:
    """The refractive index at 20 °C for which the scale shows ``reading`` (PSS, g NaCl per kg, or the index itself)."""
    if scale == "seawater":
        return refractive_index(reading, SCALE_C)
    if scale == "brine":
        within("reading on the salt scale in g/kg", reading, 0, 50)
        return refractive_index(0, SCALE_C) + BRINE_INDEX_PER_G_KG * reading
    if scale == "index":
        return within("refractive index", reading, 1.332, 1.342)
    raise ScienceError(f"The scale is one of {', '.join(SCALES)}.", "scale")


def salinity(
    *,
    reading: float,
    scale: str = "seawater",
    temp_c: float = SCALE_C,
    standard: float | None = None,
    standard_reading: float | None = None,
) -> float:
    """Salinity from a reading.

    ``temp_c``: temperature of the sample on the prism; 20 for an instrument that compensates itself.
    ``standard``: salinity of the seawater standard, and ``standard_reading`` what the scale showed for it at the
    same temperature; both or none. Their difference in index is taken off the reading.
    """
    index = index_of_reading(reading, scale)
    if (standard is None) != (standard_reading is None):
        raise ScienceError("Give the salinity of the standard and what it read, or neither.", "standard_reading")
    if standard is not None and standard_reading is not None:
        index += refractive_index(standard, temp_c) - index_of_reading(standard_reading, scale)
    return salinity_from_index(index, temp_c)


def measure(
    *,
    reading: float,
    scale: str = "seawater",
    temp_c: float = SCALE_C,
    standard: float | None = None,
    standard_reading: float | None = None,
    resolution: float = 1.0,
    reading_sd: float = 0.3,
    temp_sd_c: float = 1.0,
) -> Measured:
    """Salinity with its error; ``resolution`` and ``reading_sd`` in units of the scale."""

    def found(shown: float, temp: float) -> float:
        return salinity(reading=shown, scale=scale, temp_c=temp, standard=standard, standard_reading=standard_reading)

    once = combined_sd(rounding_sd(resolution), reading_sd)
    # The standard was read by the same eye: its error counts once more.
    shown_sd = once if standard is None else combined_sd(once, once)
    spread = 0.0 if standard is not None else temp_sd_c
    return propagate(found, ((reading, shown_sd), (temp_c, spread)))
