"""Salinity from a hydrometer: specific gravity with the two temperatures that the instrument names.

SG(t1/t2) = density of the sample at t1 over density of pure water at t2. The glass is drawn for t1 and swells with
warmth. Density by TEOS-10.
"""

from servicedesk.science.guard import OutOfRange, within
from servicedesk.science.instruments.measured import Measured, combined_sd, propagate, rounding_sd
from servicedesk.science.water import seawater
from servicedesk.science.words import Amount, say

GLASS_PER_K = 2.5e-5  # cubic expansion of soda glass
PLASTIC_PER_K = 2.0e-4  # acrylic, three times its linear expansion
MOST_SALINITY = 42.0


def density_kg_l(
    *, reading: float, sample_c: float, calibration_c: float, water_c: float, expansion_per_k: float = GLASS_PER_K
) -> float:
    """True density of the sample at its temperature: the reading times that of the reference water, less the
    swelling of the instrument since its calibration temperature."""
    within("specific gravity", reading, 0.99, 1.05)
    within("sample temperature", sample_c, 0, 40, "temperature")
    within("calibration temperature", calibration_c, 0, 40, "temperature")
    within("water reference temperature", water_c, 0, 40, "temperature")
    within("expansion of the instrument per °C", expansion_per_k, 0, 5e-4)
    return reading * seawater.density_kg_l(0.0, water_c) * (1 - expansion_per_k * (sample_c - calibration_c))


def salinity(
    *, reading: float, sample_c: float, calibration_c: float, water_c: float, expansion_per_k: float = GLASS_PER_K
) -> float:
    """Practical salinity from a reading at ``sample_c`` on a hydrometer marked calibration_c/water_c."""
    density = density_kg_l(
        reading=reading,
        sample_c=sample_c,
        calibration_c=calibration_c,
        water_c=water_c,
        expansion_per_k=expansion_per_k,
    )
    fresh, saltest = (seawater.density_kg_l(s, sample_c) for s in (0.0, MOST_SALINITY))
    if not fresh <= density <= saltest:
        raise OutOfRange(
            say(
                "A reading of {reading} at {temp} is of no seawater from 0 to {most}.",
                reading=Amount("specific_gravity", reading),
                temp=Amount("temperature", sample_c),
                most=Amount("salinity", MOST_SALINITY),
            ),
            "reading",
        )
    return seawater.salinity_from_density(density, sample_c)


def measure(
    *,
    reading: float,
    sample_c: float,
    calibration_c: float,
    water_c: float,
    expansion_per_k: float = GLASS_PER_K,
    resolution: float = 0.0005,
    reading_sd: float = 0.0002,
    temp_sd_c: float = 0.3,
) -> Measured:
    """Practical salinity with its error."""

    def found(shown: float, temp: float) -> float:
        return salinity(
            reading=shown,
            sample_c=temp,
            calibration_c=calibration_c,
            water_c=water_c,
            expansion_per_k=expansion_per_k,
        )

    return propagate(found, ((reading, combined_sd(rounding_sd(resolution), reading_sd)), (sample_c, temp_sd_c)))
