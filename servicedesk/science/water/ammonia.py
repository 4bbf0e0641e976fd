"""The toxic share of ammonia: NH3 of NH3 + NH4.

Each published pK belongs to one pH scale; the two must match, or the share is a fifth to a third wrong. ``scale`` picks
the pK, so that a pair which does not belong together cannot be made.
"""

from math import log, log10, sqrt

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import ScienceError, not_negative, within
from servicedesk.science.water import molar, ph_scales

SCALES = ("total", "free", "nbs", "fresh")
N_PER_NH3 = molar.N / molar.NH3
WATCH_MG_L_N = 0.02  # un-ionised ammonia as N, long exposure: common practice
HARM_MG_L_N = 0.05


def pk_clegg(salinity: float, temp_c: float) -> float:
    """pK of ammonium, total scale, mol per kg of solution; salinity 0 to 40, −2 to 40 °C (Clegg & Whitfield 1995).

    >>> round(pk_clegg(35, 25), 3)
    9.246
    """
    s = within("salinity", salinity, 0, 40, "salinity")
    t = within("water temperature", temp_c, -2, 40, "temperature") + ZERO_C_K
    root = sqrt(t)
    per_kg_water = (
        9.244605
        - 2729.33 * (1 / 298.15 - 1 / t)
        + (0.04203362 - 11.24742 / t) * s**0.25
        + (-13.6416 + 1.176949 * root - 0.02860785 * t + 545.4834 / t) * sqrt(s)
        + (-0.1462507 + 0.0090226468 * root - 0.0001471361 * t + 10.5425 / t) * s**1.5
        + (0.004669309 - 0.0001691742 * root - 0.5677934 / t) * s**2
        + (-2.354039e-5 + 0.009698623 / t) * s**2.5
    )
    return float(per_kg_water - log10(1 - 0.001005 * s))


def pk_yao_millero(salinity: float, temp_c: float) -> float:
    """pK of ammonium, total scale, mol per kg of solution, by Yao & Millero 1995: the second published value.

    It lies 0.02 above Clegg & Whitfield at S 35, 25 °C: what the literature leaves open, 5 % of the share.
    """
    s = within("salinity", salinity, 19, 40, "salinity")
    t = within("water temperature", temp_c, 2, 35, "temperature") + ZERO_C_K
    ln_k = -6285.33 / t + 0.0001635 * t - 0.25444 + (0.46532 - 123.7184 / t) * sqrt(s) + (-0.01992 + 3.17556 / t) * s
    seawater_scale = -ln_k / log(10)
    return seawater_scale - ph_scales.above_total("sws", salinity, temp_c)


def pk_bell(salinity: float, temp_c: float) -> float:
    """pK of ammonium for a pH on the free scale or near NBS, temperature in °C; 0 to 40, 0 to 40 °C (Bell 2008)."""
    s = within("salinity", salinity, 0, 40, "salinity")
    return 10.0423 - 0.0315536 * within("water temperature", temp_c, 0, 40, "temperature") + 0.003071 * s


def pk_emerson(temp_c: float) -> float:
    """pK of ammonium in fresh water, 0 to 50 °C (Emerson 1975, whose kelvin begin at 273.2).

    >>> round(pk_emerson(25), 3)
    9.245
    """
    return 0.09018 + 2729.92 / (within("water temperature", temp_c, 0, 50, "temperature") + 273.2)


def pk(scale: str, salinity: float, temp_c: float) -> float:
    """The pK that belongs to a pH scale: total, free, nbs (seawater) or fresh (fresh water, NBS buffers)."""
    if scale == "total":
        return pk_clegg(salinity, temp_c)
    if scale in ("free", "nbs"):
        return pk_bell(salinity, temp_c)
    if scale == "fresh":
        if within("salinity", salinity, 0, 43, "salinity") > 1:
            raise ScienceError("The fresh-water constant holds below salinity 1: name a seawater pH scale.", "scale")
        return pk_emerson(temp_c)
    raise ScienceError(f"The pH scale is one of {', '.join(SCALES)}.", "scale")


def toxic_share(*, ph: float, scale: str, salinity: float, temp_c: float) -> float:
    """NH3 ÷ (NH3 + NH4) for a pH on ``scale``, 0 to 1.

    >>> round(toxic_share(ph=8.06, scale="total", salinity=35, temp_c=25), 3)
    0.061
    """
    return 1 / (1 + 10 ** (pk(scale, salinity, temp_c) - within("pH", ph, 4, 12)))


def toxic_mg_l_n(*, ammonia_mg_l: float, share: float) -> float:
    """Un-ionised ammonia as N from total ammonia in mg/L NH3."""
    return not_negative("ammonia", ammonia_mg_l) * N_PER_NH3 * within("toxic share", share, 0, 1)
