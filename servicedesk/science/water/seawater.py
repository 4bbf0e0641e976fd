"""Practical salinity, conductivity, density and specific gravity of seawater at one atmosphere.

Sources: UNESCO 44 (PSS-78) and TEOS-10, as implemented in gsw. Practical salinity has no unit;
temperatures are ITS-90.
"""

from servicedesk.science.guard import within

S_MAX = 42.0
ABSOLUTE_PER_PRACTICAL = 35.16504 / 35.0  # Millero 2008, g/kg


def check_water(salinity: float, temp_c: float, *, s_max: float = S_MAX) -> None:
    """Refuse what seawater in care cannot be: salinity 0 to 42, −2 to 40 °C."""
    within("salinity", salinity, 0.0, s_max, "salinity")
    within("water temperature", temp_c, -2.0, 40.0, "temperature")


def absolute_salinity_g_kg(salinity: float) -> float:
    """Grams of dissolved salt in a kilogram of seawater of reference composition (Millero 2008)."""
    return within("salinity", salinity, 0.0, 120.0, "salinity") * ABSOLUTE_PER_PRACTICAL


def density_kg_l(salinity: float, temp_c: float) -> float:
    """Density at one atmosphere (TEOS-10).

    >>> round(density_kg_l(35, 25), 4)
    1.0233
    """
    import gsw

    check_water(salinity, temp_c, s_max=60.0)
    return float(gsw.rho_t_exact(salinity * ABSOLUTE_PER_PRACTICAL, temp_c, 0.0)) / 1000.0


def practical_salinity(conductivity_ms_cm: float, temp_c: float) -> float:
    """Practical salinity from raw (uncompensated) conductivity at the water's temperature; 2 to 42 (PSS-78)."""
    import gsw

    within("conductivity", conductivity_ms_cm, 0.0, 100.0, "conductivity")
    within("water temperature", temp_c, -2.0, 35.0, "temperature")
    return float(gsw.SP_from_C(conductivity_ms_cm, temp_c, 0.0))


def conductivity_ms_cm(salinity: float, temp_c: float) -> float:
    """Conductivity of seawater: the inverse of ``practical_salinity``."""
    import gsw

    within("salinity", salinity, 0.0, S_MAX, "salinity")
    within("water temperature", temp_c, -2.0, 35.0, "temperature")
    return float(gsw.C_from_SP(salinity, temp_c, 0.0))


def specific_gravity(salinity: float, temp_c: float, water_temp_c: float) -> float:
    """Density of the sample at ``temp_c`` over pure water at ``water_temp_c``: both belong to the instrument.

    >>> round(specific_gravity(35, 25, 25), 5)
    1.02637
    """
    return density_kg_l(salinity, temp_c) / density_kg_l(0.0, water_temp_c)


def salinity_from_specific_gravity(gravity: float, temp_c: float, water_temp_c: float) -> float:
    """Practical salinity from a true specific gravity; 0 to 60."""
    return salinity_from_density(gravity * density_kg_l(0.0, water_temp_c), temp_c)


def salinity_from_density(density: float, temp_c: float) -> float:
    """Practical salinity from density in kg/L at ``temp_c``; 0 to 60."""
    from scipy.optimize import brentq

    lightest, heaviest = density_kg_l(0.0, temp_c), density_kg_l(60.0, temp_c)
    within("density", density, lightest, heaviest, "mass_per_volume")
    return float(brentq(lambda salinity: density_kg_l(salinity, temp_c) - density, 0.0, 60.0, xtol=1e-9))


def umol_kg_from_meq_l(alkalinity_meq_l: float, salinity: float, temp_c: float) -> float:
    """Micromoles (equivalents) a kilogram from meq/L or mmol/L."""
    return alkalinity_meq_l * 1000.0 / density_kg_l(salinity, temp_c)


def meq_l_from_umol_kg(umol_kg: float, salinity: float, temp_c: float) -> float:
    """Milliequivalents (millimoles) a litre: the inverse of ``umol_kg_from_meq_l``."""
    return umol_kg * density_kg_l(salinity, temp_c) / 1000.0
