"""The carbonate system of seawater: any two of alkalinity, dissolved inorganic carbon, pH and pCO2.

Everything inside is mol/kg of solution on the total pH scale; the public functions take and give
µmol/kg, µatm and °C. Constants: K1, K2 Lueker 2000; KB Dickson 1990, KW, KS, K1P–K3P, KSi as in
Dickson 2007 chapter 5; KF Perez & Fraga 1987; K0 Weiss 1974; total boron Lee 2010; aragonite and
calcite Mucci 1983. Valid 2 to 35 °C and salinity 19 to 43 (Lueker 2000).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import exp, log, log10, sqrt
from typing import Any

from servicedesk.science.constants import ZERO_C_K
from servicedesk.science.guard import ScienceError, finite, within

S_RANGE = (19.0, 43.0)
T_RANGE_C = (2.0, 35.0)
PH_RANGE = (3.0, 12.5)
CALCIUM_AT_S35 = 10_282.1  # µmol/kg, Millero 2008
TOLERANCE_PH = 1e-9
HUMAN = {
    "alkalinity_umol_kg": "alkalinity", "dic_umol_kg": "inorganic carbon", "ph_total": "pH",
    "pco2_uatm": "CO₂ pressure", "calcium_umol_kg": "calcium",
}  # fmt: skip
MAX_STEPS = 60


@dataclass(frozen=True, slots=True)
class Constants:
    """Equilibrium constants (mol/kg, total scale unless free is said) and totals (mol/kg) of one water."""

    k0: float
    k1: float
    k2: float
    kb: float
    kw: float
    ks_free: float
    kf: float
    k1p: float
    k2p: float
    k3p: float
    ksi: float
    aragonite: float
    calcite: float
    boron: float
    sulfate: float
    fluoride: float


@dataclass(frozen=True, slots=True)
class State:
    """A solved water: µmol/kg but for pH (total scale), pCO2 (µatm) and the saturation states."""

    salinity: float
    temp_c: float
    ph_total: float
    alkalinity_umol_kg: float
    dic_umol_kg: float
    pco2_uatm: float
    co2_umol_kg: float
    bicarbonate_umol_kg: float
    carbonate_umol_kg: float
    borate_umol_kg: float
    hydroxide_umol_kg: float
    calcium_umol_kg: float
    omega_aragonite: float
    omega_calcite: float


@lru_cache(maxsize=512)
def constants(salinity: float, temp_c: float) -> Constants:
    """The constants at a salinity and temperature; raises OutOfRange outside their validity."""
    within("salinity", salinity, *S_RANGE, "salinity")
    within("water temperature", temp_c, *T_RANGE_C, "temperature")
    s, t = salinity, temp_c + ZERO_C_K
    ln_t, root = log(t), sqrt(s)
    sulfate = 0.14 / 96.062 * s / 1.80655
    ks_free = exp(_ln_ks_free(s, t))
    return Constants(
        k0=exp(
            93.4517 * 100 / t - 60.2409 + 23.3585 * log(t / 100) + s * (0.023517 - 0.00023656 * t + 0.47036e-6 * t * t)
        ),
        k1=float(10 ** (-3633.86 / t + 61.2172 - 9.67770 * ln_t + 0.011555 * s - 1.152e-4 * s * s)),
        k2=float(10 ** (-471.78 / t - 25.9290 + 3.16967 * ln_t + 0.01781 * s - 1.122e-4 * s * s)),
        kb=exp(
            (-8966.90 - 2890.53 * root - 77.942 * s + 1.728 * s * root - 0.0996 * s * s) / t
            + 148.0248
            + 137.1942 * root
            + 1.62142 * s
            - (24.4344 + 25.085 * root + 0.2474 * s) * ln_t
            + 0.053105 * root * t
        ),
        kw=exp(-13847.26 / t + 148.9652 - 23.6521 * ln_t + (118.67 / t - 5.977 + 1.0495 * ln_t) * root - 0.01615 * s),
        ks_free=ks_free,
        kf=exp(874 / t - 9.68 + 0.111 * root),
        k1p=exp(
            -4576.752 / t + 115.525 - 18.453 * ln_t + (-106.736 / t + 0.69171) * root + (-0.65643 / t - 0.01844) * s
        ),
        k2p=exp(-8814.715 / t + 172.0883 - 27.927 * ln_t + (-160.34 / t + 1.3566) * root + (0.37335 / t - 0.05778) * s),
        k3p=exp(-3070.75 / t - 18.141 + (17.27039 / t + 2.81197) * root + (-44.99486 / t - 0.09984) * s),
        ksi=exp(_ln_ksi(s, t)),
        aragonite=_aragonite(s, t),
        calcite=_calcite(s, t),
        boron=432.6e-6 * s / 35.0,
        sulfate=sulfate,
        fluoride=6.7e-5 / 18.998 * s / 1.80655,
    )


def _ionic_strength(s: float) -> float:
    return 19.924 * s / (1000 - 1.005 * s)


def _ln_ks_free(s: float, t: float) -> float:
    i = _ionic_strength(s)
    return (
        -4276.1 / t
        + 141.328
        - 23.093 * log(t)
        + (-13856 / t + 324.57 - 47.986 * log(t)) * sqrt(i)
        + (35474 / t - 771.54 + 114.723 * log(t)) * i
        - 2698 / t * i * sqrt(i)
        + 1776 / t * i * i
        + log(1 - 0.001005 * s)
    )


def _ln_ksi(s: float, t: float) -> float:
    i = _ionic_strength(s)
    return (
        -8904.2 / t
        + 117.385
        - 19.334 * log(t)
        + (-458.79 / t + 3.5913) * sqrt(i)
        + (188.74 / t - 1.5998) * i
        + (-12.1652 / t + 0.07871) * i * i
        + log(1 - 0.001005 * s)
    )


def _aragonite(s: float, t: float) -> float:
    salty = (-0.068393 + 0.0017276 * t + 88.135 / t) * sqrt(s) - 0.10018 * s + 0.0059415 * s**1.5
    return float(10 ** (-171.945 - 0.077993 * t + 2903.293 / t + 71.595 * log10(t) + salty))


def _calcite(s: float, t: float) -> float:
    salty = (-0.77712 + 0.0028426 * t + 178.34 / t) * sqrt(s) - 0.07711 * s + 0.0041249 * s**1.5
    return float(10 ** (-171.9065 - 0.077993 * t + 2839.319 / t + 71.595 * log10(t) + salty))


def noncarbonate(h: Any, k: Constants, phosphate: float = 0.0, silicate: float = 0.0) -> Any:
    """Alkalinity that is not bicarbonate or carbonate, mol/kg, at hydrogen ion ``h``; floats or arrays."""
    rest = k.boron * k.kb / (k.kb + h) + k.kw / h - h / (1 + k.sulfate / k.ks_free)
    rest = rest - k.sulfate * h / (h + k.ks_free * (1 + k.sulfate / k.ks_free)) - k.fluoride * h / (h + k.kf)
    if phosphate:
        p12, p123 = k.k1p * k.k2p, k.k1p * k.k2p * k.k3p
        rest = rest + phosphate * (p12 * h + 2 * p123 - h * h * h) / (h * h * h + k.k1p * h * h + p12 * h + p123)
    if silicate:
        rest = rest + silicate * k.ksi / (k.ksi + h)
    return rest


def carbonate_alkalinity(h: Any, dic: Any, k: Constants) -> Any:
    """[HCO3] + 2[CO3] for a DIC in mol/kg at hydrogen ion ``h``; floats or arrays."""
    return dic * (k.k1 * h + 2 * k.k1 * k.k2) / (h * h + k.k1 * h + k.k1 * k.k2)


def solve(
    salinity: float,
    temp_c: float,
    *,
    alkalinity_umol_kg: float | None = None,
    dic_umol_kg: float | None = None,
    ph_total: float | None = None,
    pco2_uatm: float | None = None,
    calcium_umol_kg: float | None = None,
    phosphate_umol_kg: float = 0.0,
    silicate_umol_kg: float = 0.0,
) -> State:
    """The whole system from exactly two of alkalinity, DIC, pH and pCO2.

    Calcium defaults to that of seawater of this salinity. Raises ScienceError when not two are given or
    no pH from 3 to 12.5 fits them.

    >>> round(solve(35, 25, alkalinity_umol_kg=2400, ph_total=8.1).dic_umol_kg)
    2053
    """
    k = constants(float(salinity), float(temp_c))
    given = [
        (name, finite(HUMAN[name], value))
        for name, value in (
            ("alkalinity_umol_kg", alkalinity_umol_kg),
            ("dic_umol_kg", dic_umol_kg),
            ("ph_total", ph_total),
            ("pco2_uatm", pco2_uatm),
        )
        if value is not None
    ]
    if len(given) != 2:
        raise ScienceError("Give exactly two of alkalinity, inorganic carbon, pH and CO₂ pressure.")
    known = dict(given)
    for name in ("dic_umol_kg", "pco2_uatm"):
        if name in known:
            within(HUMAN[name], known[name], 1e-3, 1e6)
    phosphate, silicate = phosphate_umol_kg * 1e-6, silicate_umol_kg * 1e-6
    h = _hydrogen(known, k, phosphate, silicate)
    dic = _dic(known, h, k, phosphate, silicate)
    return _state(salinity, temp_c, k, h, dic, calcium_umol_kg, phosphate, silicate)


def _hydrogen(known: dict[str, float], k: Constants, phosphate: float, silicate: float) -> float:
    if "ph_total" in known:
        return float(10.0 ** -within("pH", known["ph_total"], *PH_RANGE))
    if "alkalinity_umol_kg" not in known:
        ratio = known["dic_umol_kg"] / (k.k0 * known["pco2_uatm"]) - 1.0
        if ratio <= 0:
            raise ScienceError("There is less inorganic carbon than that CO₂ pressure alone dissolves.", "dic_umol_kg")
        return (k.k1 + sqrt(k.k1 * k.k1 + 4 * ratio * k.k1 * k.k2)) / (2 * ratio)
    alkalinity = known["alkalinity_umol_kg"] * 1e-6
    if "dic_umol_kg" in known:
        dic = known["dic_umol_kg"] * 1e-6
        return _root(lambda h: noncarbonate(h, k, phosphate, silicate) + carbonate_alkalinity(h, dic, k) - alkalinity)
    co2 = k.k0 * known["pco2_uatm"] * 1e-6
    return _root(
        lambda h: noncarbonate(h, k, phosphate, silicate) + co2 * (k.k1 / h + 2 * k.k1 * k.k2 / h / h) - alkalinity
    )


def _root(excess: Callable[[float], float]) -> float:
    """The hydrogen ion at which ``excess`` (falling with h) is nothing: secant steps in pH, kept in a bracket."""
    low, high = PH_RANGE
    at_low, at_high = excess(10**-low), excess(10**-high)
    if at_low > 0 or at_high < 0:
        raise ScienceError("No pH from 3 to 12.5 fits these values; check them and their units.")
    ph, value, last, last_value = 8.0, excess(1e-8), 8.1, excess(10**-8.1)
    for _ in range(MAX_STEPS):
        if value > 0:
            high = ph
        else:
            low = ph
        slope = (value - last_value) / (ph - last) if ph != last else 0.0
        following = ph - value / slope if slope > 0 else (low + high) / 2
        if not low <= following <= high:
            following = (low + high) / 2
        last, last_value = ph, value
        if abs(following - ph) < TOLERANCE_PH:
            return float(10.0**-following)
        ph = following
        value = excess(10.0**-ph)
    return float(10.0**-ph)


def _dic(known: dict[str, float], h: float, k: Constants, phosphate: float, silicate: float) -> float:
    if "dic_umol_kg" in known:
        return known["dic_umol_kg"] * 1e-6
    whole = h * h + k.k1 * h + k.k1 * k.k2
    if "pco2_uatm" in known:
        return k.k0 * known["pco2_uatm"] * 1e-6 * whole / (h * h)
    carbonate = known["alkalinity_umol_kg"] * 1e-6 - noncarbonate(h, k, phosphate, silicate)
    if carbonate <= 0:
        raise ScienceError(
            "At this pH borate and hydroxide alone exceed the alkalinity; check pH, its scale and the alkalinity.",
            "ph_total",
        )
    return float(carbonate * whole / (k.k1 * h + 2 * k.k1 * k.k2))


def _state(
    salinity: float,
    temp_c: float,
    k: Constants,
    h: float,
    dic: float,
    calcium_umol_kg: float | None,
    phosphate: float,
    silicate: float,
) -> State:
    whole = h * h + k.k1 * h + k.k1 * k.k2
    co2, carbonate = dic * h * h / whole, dic * k.k1 * k.k2 / whole
    calcium = CALCIUM_AT_S35 * salinity / 35.0 if calcium_umol_kg is None else calcium_umol_kg
    product = within("calcium", calcium, 0.0, 1e5) * 1e-6 * carbonate
    return State(
        salinity=salinity,
        temp_c=temp_c,
        ph_total=-log10(h),
        alkalinity_umol_kg=(noncarbonate(h, k, phosphate, silicate) + carbonate_alkalinity(h, dic, k)) * 1e6,
        dic_umol_kg=dic * 1e6,
        pco2_uatm=co2 / k.k0 * 1e6,
        co2_umol_kg=co2 * 1e6,
        bicarbonate_umol_kg=dic * k.k1 * h / whole * 1e6,
        carbonate_umol_kg=carbonate * 1e6,
        borate_umol_kg=k.boron * k.kb / (k.kb + h) * 1e6,
        hydroxide_umol_kg=k.kw / h * 1e6,
        calcium_umol_kg=calcium,
        omega_aragonite=product / k.aragonite,
        omega_calcite=product / k.calcite,
    )
