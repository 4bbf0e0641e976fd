"""Viscosity of fresh and sea water at one atmosphere, for flow in pipes.

Source: Sharqawy 2010, eqs. 22 and 23; 10 to 180 °C and 0 to 150 g/kg there, used here from 0 to 40 °C.
"""

from servicedesk.science.guard import within
from servicedesk.science.water.seawater import absolute_salinity_g_kg, density_kg_l


def dynamic_viscosity_pa_s(salinity: float, temp_c: float) -> float:
    """Dynamic viscosity; salinity 0 to 60 PSS, 0 to 40 °C.

    >>> round(dynamic_viscosity_pa_s(35, 20), 6)
    0.001077
    """
    t = within("water temperature", temp_c, 0.0, 40.0, "temperature")
    s = absolute_salinity_g_kg(within("salinity", salinity, 0.0, 60.0, "salinity")) / 1000.0
    fresh = 4.2844e-5 + 1.0 / (0.157 * (t + 64.993) ** 2 - 91.296)
    first = 1.541 + 1.998e-2 * t - 9.52e-5 * t**2
    second = 7.974 - 7.561e-2 * t + 4.724e-4 * t**2
    return fresh * (1.0 + first * s + second * s**2)


def kinematic_viscosity_m2_s(salinity: float, temp_c: float) -> float:
    """Dynamic viscosity over density."""
    return dynamic_viscosity_pa_s(salinity, temp_c) / (1000.0 * density_kg_l(salinity, temp_c))
