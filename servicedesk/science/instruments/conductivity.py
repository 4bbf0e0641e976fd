"""Salinity from a conductivity meter: practical salinity PSS-78.

A meter shows the conductivity of the water as it is ("raw"), or what it would be at a reference temperature, by a
fixed share per degree ("linear") or by the curve of seawater ("seawater"). The reference temperature and the
share are data of the instrument.
"""

from servicedesk.science.guard import ScienceError, positive, within
from servicedesk.science.instruments.measured import Measured, combined_sd, propagate, rounding_sd
from servicedesk.science.water import seawater

STANDARD_MS_CM = 42.914  # S 35, 15 °C (IPTS-68), sea level
COMPENSATIONS = ("raw", "linear", "seawater")


def salinity_from_ratio(ratio: float, temp_c: float, pressure_dbar: float = 0.0) -> float:
    """Practical salinity from the conductivity ratio to standard seawater at 15 °C; PSS-78 (UNESCO 44).

    ``temp_c`` ITS-90, −2 to 40. Refuses salinities outside 2 to 42, where PSS-78 does not hold.
    """
    import gsw

    ms_cm = positive("conductivity ratio", ratio) * STANDARD_MS_CM
    within("water temperature", temp_c, -2, 40, "temperature")
    within("pressure in dbar", pressure_dbar, 0, 10000)
    found = float(gsw.SP_from_C(ms_cm, temp_c, pressure_dbar))
    return within("salinity by conductivity", found, 2, 42, "salinity")


def salinity(conductivity_ms_cm: float, temp_c: float) -> float:
    """Practical salinity from the conductivity at the temperature of the water.

    >>> round(salinity(53.065, 25.0), 2)
    35.0
    """
    return salinity_from_ratio(conductivity_ms_cm / STANDARD_MS_CM, temp_c)


def raw_ms_cm(
    *,
    reading_ms_cm: float,
    temp_c: float,
    compensation: str = "raw",
    reference_c: float = 25.0,
    coefficient_pct: float = 2.0,
) -> float:
    """Conductivity at the water's own temperature from what the meter shows.

    Linear compensation is undone: shown = true ÷ (1 + a (t − t_ref)), a in % per °C of the value at t_ref.
    """
    positive("conductivity", reading_ms_cm)
    if compensation not in COMPENSATIONS:
        raise ScienceError(f"The compensation is one of {', '.join(COMPENSATIONS)}.", "compensation")
    if compensation == "raw":
        return reading_ms_cm
    if compensation == "seawater":
        return seawater.conductivity_ms_cm(salinity(reading_ms_cm, reference_c), temp_c)
    within("compensation per degree", coefficient_pct, 0, 5, "percent_fine")
    within("water temperature", temp_c, -2, 40, "temperature")
    within("reference temperature", reference_c, 0, 40, "temperature")
    return reading_ms_cm * (1 + coefficient_pct / 100 * (temp_c - reference_c))


def cell_factor(*, shown_ms_cm: float, standard_ms_cm: float) -> float:
    """By what the meter's readings must be multiplied, from a reading in a standard at the same temperature."""
    return positive("conductivity of the standard", standard_ms_cm) / positive("conductivity shown", shown_ms_cm)


def measure(
    *,
    reading_ms_cm: float,
    temp_c: float,
    compensation: str = "raw",
    reference_c: float = 25.0,
    coefficient_pct: float = 2.0,
    factor: float = 1.0,
    resolution_ms_cm: float = 0.1,
    accuracy_pct: float = 0.5,
    temp_sd_c: float = 0.1,
) -> Measured:
    """Practical salinity with its error from what the meter shows."""

    def found(shown: float, temp: float) -> float:
        raw = raw_ms_cm(
            reading_ms_cm=shown * factor,
            temp_c=temp,
            compensation=compensation,
            reference_c=reference_c,
            coefficient_pct=coefficient_pct,
        )
        return salinity(raw, temp)

    positive("cell factor", factor)
    shown_sd = combined_sd(rounding_sd(resolution_ms_cm), reading_ms_cm * accuracy_pct / 100)
    return propagate(found, ((reading_ms_cm, shown_sd), (temp_c, temp_sd_c)))
