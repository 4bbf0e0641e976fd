"""pH between scales: total, free, seawater and the NBS scale of meters set in fresh-water buffers.

total to free and seawater by bisulphate and fluoride (Dickson 2007); NBS by the activity coefficient
fH of Takahashi 1982 for an ideal electrode: a real liquid junction adds up to ±0.05.
"""

from math import log10

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import ScienceError, within
from servicedesk.science.water.carbonate import constants

SCALES = {
    "total": "total scale",
    "free": "free scale",
    "sws": "seawater scale",
    "nbs": "NBS scale (fresh-water buffers)",
}
JUNCTION_SD = 0.05
PH_LIMITS = (3.0, 13.0)


def above_total(scale: str, salinity: float, temp_c: float) -> float:
    """What a pH on ``scale`` lies above the same pH on the total scale.

    >>> round(above_total("nbs", 35, 25), 2)
    0.13
    """
    k = constants(float(salinity), float(temp_c))
    bisulfate = k.sulfate / k.ks_free
    to_sws = -log10((1 + bisulfate + k.fluoride * (1 + bisulfate) / k.kf) / (1 + bisulfate))
    if scale == "total":
        return 0.0
    if scale == "free":
        return log10(1 + bisulfate)
    if scale == "sws":
        return to_sws
    if scale == "nbs":
        return to_sws - log10(activity_coefficient(salinity, temp_c))
    raise ScienceError(f"“{scale}” is no pH scale; known: {', '.join(SCALES)}.")


def activity_coefficient(salinity: float, temp_c: float) -> float:
    """fH: hydrogen activity on the NBS scale over total hydrogen on the seawater scale (Takahashi 1982)."""
    t = within("water temperature", temp_c, 2.0, 35.0, "temperature") + ZERO_C_K
    s = within("salinity", salinity, 19.0, 43.0, "salinity")
    return 1.2948 - 0.002036 * t + (4.607e-4 - 1.475e-6 * t) * s * s


def to_total(ph: float, scale: str, salinity: float, temp_c: float) -> float:
    """A pH on ``scale`` as pH on the total scale."""
    return within("pH", ph, *PH_LIMITS) - above_total(scale, salinity, temp_c)


def from_total(ph_total: float, scale: str, salinity: float, temp_c: float) -> float:
    """A pH on the total scale as read on ``scale``."""
    return within("pH", ph_total, *PH_LIMITS) + above_total(scale, salinity, temp_c)
