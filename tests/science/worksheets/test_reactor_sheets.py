"""Worksheets of the calcium reactor on good and bad days."""

import pytest

from servicedesk.science.water import molar
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from tests.science.worksheets.trying import number, sentences

EFFLUENT = {"effluent_alkalinity": "25dKH", "alkalinity": "8dKH"}
GAS = {"flow": "60", **EFFLUENT, "ph_scale": "total"}


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


@pytest.mark.source("PyCO2SYS: saturation of an effluent that holds the calcium dissolved with its alkalinity")
def test_the_effluent_is_as_saturated_as_an_independent_code_says() -> None:
    import PyCO2SYS

    rho, per_dkh = density_kg_l(35, 25.5), 20 / molar.CAO
    calcium = 10_282.1 + (25 - 8) * per_dkh * 1000 / rho / 2
    found = PyCO2SYS.sys(
        par1=25 * per_dkh * 1000 / rho, par2=6.6, par1_type=1, par2_type=3, salinity=35, temperature=25.5,
        opt_k_carbonic=10, opt_total_borate=2, total_calcium=calcium,
    )  # fmt: skip
    answer = worked("reactor-gas", **GAS, effluent_ph="6.6")
    assert number(answer, "omega_effluent") == pytest.approx(float(found["saturation_aragonite"]), rel=0.01)


@pytest.mark.source("mass balance by hand: 3 kg × 950 g/kg over the CO₂ of a day")
def test_the_steps_add_up_to_the_days_of_the_cylinder() -> None:
    answer = worked("reactor-gas", **GAS, effluent_ph="6.5", gas_left="3")
    steps = {line.label: line.result.value for line in answer.steps}
    whole = steps["Dissolving the media"] + steps["Left over in the effluent"]
    assert number(answer, "co2_g_day") == pytest.approx(whole)
    assert number(answer, "cylinder_d") == pytest.approx(2850 / whole)


def test_an_empty_cylinder_is_said() -> None:
    answer = worked("reactor-gas", **GAS, gas_left="0")
    assert number(answer, "cylinder_d") == 0
    assert "empty: change it today" in sentences(answer)


def test_an_effluent_that_lost_its_gas_is_said() -> None:
    assert "lost gas" in sentences(worked("reactor-gas", **GAS, effluent_ph="8.2"))


def test_a_reactor_that_is_not_needed_is_stopped() -> None:
    words = sentences(worked("reactor-setting", volume="10000", demand="0.06", other="1000", **EFFLUENT))
    assert "stop the feed" in words
    assert "100 mL" not in words


def test_a_weak_effluent_brings_nothing() -> None:
    answer = worked("reactor-delivery", volume="10000", flow="60", effluent_alkalinity="7dKH", alkalinity="8dKH")
    assert "brings nothing" in sentences(answer)
    assert "wrong reading" in sentences(answer)


@pytest.mark.source("mass balance with PyCO2SYS: half of the carbon dioxide above that of outside air driven out")
def test_airing_the_effluent_drives_out_its_share() -> None:
    import PyCO2SYS

    rho, per_dkh = density_kg_l(35, 25.5), 20 / molar.CAO
    found = PyCO2SYS.sys(
        par1=[25 * per_dkh * 1000 / rho] * 2, par2=[6.5, 420], par1_type=1, par2_type=[3, 4], salinity=35,
        temperature=25.5, opt_k_carbonic=10, opt_total_borate=2,
    )  # fmt: skip
    spare = float(found["aqueous_CO2"][0] - found["aqueous_CO2"][1])
    plain, aired = (worked("reactor-gas", **GAS, effluent_ph="6.5", aired=part) for part in ("0", "50"))
    gone = number(plain, "excess_g_day") - number(aired, "excess_g_day")
    assert gone == pytest.approx(0.5 * spare * 60 * 1.44 * rho * 44.009 / 1e6, rel=0.01)
    assert number(plain, "aired_ph") == pytest.approx(6.5, abs=1e-6)
    assert number(aired, "aired_ph") > 6.7
    assert number(plain, "co2_g_day") == pytest.approx(number(aired, "co2_g_day"))
