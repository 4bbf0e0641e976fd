import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import ph_effects
from servicedesk.science.water.carbonate import State, solve
from servicedesk.science.water.seawater import umol_kg_from_meq_l


def a_water(**over: float) -> State:
    pair = {"alkalinity_umol_kg": umol_kg_from_meq_l(2.70, 35, 25.5), "ph_total": 8.05} | over
    return solve(35, 25.5, calcium_umol_kg=10282.0, **pair)


@pytest.mark.source("two codes (own solver, PyCO2SYS): a single dose of 0.5 meq/L at 2.70 meq/L, pH 8.05, 25.5 °C")
@pytest.mark.parametrize(
    ("chemical", "change", "omega"), [("bicarbonate", -0.06, 4.3), ("carbonate", 0.23, 7.0), ("hydroxide", 0.47, 9.9)]
)
def test_the_chemical_decides_what_a_dose_does(chemical: str, change: float, omega: float) -> None:
    water = a_water()
    after = ph_effects.after_dose(water, chemical, umol_kg_from_meq_l(0.5, 35, 25.5))
    assert after.ph_total - water.ph_total == pytest.approx(change, abs=0.02)
    assert after.omega_aragonite == pytest.approx(omega, abs=0.4)


@pytest.mark.source("PyCO2SYS: pH in equilibrium with room air")
def test_water_in_air_agrees_with_an_independent_code() -> None:
    import PyCO2SYS

    water = ph_effects.in_air(a_water(), 600)
    result = PyCO2SYS.sys(
        par1=water.alkalinity_umol_kg, par2=600, par1_type=1, par2_type=4, salinity=35, temperature=25.5,
        opt_k_carbonic=10, opt_total_borate=2,
    )  # fmt: skip
    assert water.ph_total == pytest.approx(float(result["pH"]), abs=0.003)


@pytest.mark.source("PyCO2SYS: vapour pressure over seawater (Weiss & Price 1980)")
def test_vapour_lowers_the_pressure_of_carbon_dioxide() -> None:
    import PyCO2SYS

    result = PyCO2SYS.sys(par1=2400, par2=500, par1_type=1, par2_type=4, salinity=35, temperature=25)
    factor = 1 - ph_effects.vapour_pressure_atm(35, 25)
    assert factor == pytest.approx(float(result["pCO2"] / result["xCO2"]), abs=1e-3)
    assert ph_effects.room_pco2_uatm(800, 35, 25) == pytest.approx(800 * factor)
    assert ph_effects.room_pco2_uatm(800, 35, 25, 84_000) < 0.84 * 800


@given(st.floats(0, 1))
def test_airing_keeps_alkalinity_and_lies_between_start_and_air(part: float) -> None:
    effluent = a_water(ph_total=6.6)
    aired = ph_effects.partly_aired(effluent, 420, part)
    assert aired.alkalinity_umol_kg == pytest.approx(effluent.alkalinity_umol_kg, rel=1e-6)
    assert effluent.ph_total - 1e-9 <= aired.ph_total <= ph_effects.in_air(effluent, 420).ph_total


@given(st.floats(0, 1))
def test_mixing_conserves_alkalinity_and_carbon(part: float) -> None:
    one, other = a_water(), a_water(ph_total=7.4, alkalinity_umol_kg=8000.0)
    mix = ph_effects.mixed(one, other, part)
    assert mix.alkalinity_umol_kg == pytest.approx(
        (1 - part) * one.alkalinity_umol_kg + part * other.alkalinity_umol_kg, rel=1e-6
    )
    assert mix.dic_umol_kg == pytest.approx((1 - part) * one.dic_umol_kg + part * other.dic_umol_kg, rel=1e-9)


@pytest.mark.source("Moras et al. 2022, Biogeosciences 19:3537: no loss near omega 5, runaway above 7")
@pytest.mark.parametrize(
    ("omega", "usual", "verdict"), [(4.9, 0, "safe"), (5.5, 0, "watch"), (7.2, 0, "refuse"), (5.5, 5.6, "safe")]
)
def test_risk_of_precipitation(omega: float, usual: float, verdict: str) -> None:
    assert ph_effects.precipitation_risk(omega, usual) == verdict


@pytest.mark.parametrize("chemical", ["bicarbonate", "carbonate", "hydroxide"])
def test_the_greatest_dose_just_reaches_the_limit(chemical: str) -> None:
    water = a_water()
    rise = ph_effects.greatest_dose_umol_kg(water, chemical, 5.0)
    assert ph_effects.after_dose(water, chemical, rise).omega_aragonite == pytest.approx(5.0, abs=0.01)
    assert ph_effects.greatest_dose_umol_kg(water, chemical, 2.0) == 0.0


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ScienceError, match="milk"):
        ph_effects.after_dose(a_water(), "milk", 100)
    with pytest.raises(ScienceError):
        ph_effects.after_dose(a_water(), "carbonate", -5)
    with pytest.raises(ScienceError):
        ph_effects.room_pco2_uatm(math.nan, 35, 25)
    with pytest.raises(ScienceError):
        ph_effects.partly_aired(a_water(), 400, 1.5)
