import math

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import molar, seawater
from tests.science.published import published

SALINITY = st.floats(2, 42)
TEMP_C = st.floats(5, 34)


@pytest.mark.source("UNESCO Technical Papers in Marine Science 44: EOS-80 density at 1 atm")
@pytest.mark.parametrize("entry", ["eos80-1", "eos80-2", "eos80-4"])
def test_density_holds_the_eos_80_check_values(entry: str) -> None:
    value = published(entry)
    temp_c = value["inputs"]["t68_C"] / 1.00024
    density = seawater.density_kg_l(value["inputs"]["SP"], temp_c) * 1000
    assert density == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("IAPWS R13-08 / TEOS-10: density at 35.16504 g/kg, 25 °C")
def test_density_holds_the_teos_10_value() -> None:
    value = published("teos-rho")
    assert seawater.density_kg_l(35, 25) * 1000 == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("EOS-80 formula (UNESCO 44) as an independent second code")
def test_density_agrees_with_eos_80_over_the_range_of_aquaria() -> None:
    for salinity in range(20, 41, 4):
        for temp_c in range(10, 33, 2):
            assert seawater.density_kg_l(salinity, temp_c) * 1000 == pytest.approx(_eos80(salinity, temp_c), abs=0.01)


def _eos80(s: float, temp_c: float) -> float:
    t = temp_c * 1.00024
    water = (
        999.842594 + 6.793952e-2 * t - 9.09529e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    a = 0.824493 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    b = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    return float(water + a * s + b * s**1.5 + 4.8314e-4 * s**2)


@pytest.mark.source("Millero, Feistel, Wright & McDougall 2008: reference salinity")
def test_reference_salinity() -> None:
    value = published("ref-sal")
    assert seawater.absolute_salinity_g_kg(35) == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Millero et al. 2008 table 4: sum and calcium of the reference composition")
def test_molar_masses_sum_the_reference_composition() -> None:
    value = published("ref-comp-sum")
    masses = {
        "Na": molar.NA, "Mg": molar.MG, "Ca": molar.CA, "K": molar.K, "Sr": molar.SR, "Cl": molar.CL,
        "SO4": molar.S + 4 * molar.O, "HCO3": molar.H + molar.C + 3 * molar.O, "Br": molar.BR,
        "CO3": molar.C + 3 * molar.O, "BO4H4": molar.B + 4 * (molar.O + molar.H), "F": molar.F,
        "OH": molar.O + molar.H, "BO3H3": molar.B + 3 * (molar.O + molar.H), "CO2": molar.CO2,
    }  # fmt: skip
    total = math.fsum(masses[ion] * mol for ion, mol in value["inputs"]["composition_mol_per_kg"].items())
    assert total == pytest.approx(value["expected"], abs=value["tolerance"])
    calcium = published("ref-ca")
    assert pytest.approx(calcium["expected"], abs=calcium["tolerance"]) == 0.0102821 * molar.CA * 1000


@pytest.mark.source("EOS-80 / TEOS-10: alkalinity 2300 µmol/kg in meq/L")
def test_per_kilogram_and_per_litre_differ_by_the_density() -> None:
    value = published("alk-conv")
    found = seawater.meq_l_from_umol_kg(2300, 35, 25)
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])
    assert seawater.umol_kg_from_meq_l(found, 35, 25) == pytest.approx(2300)


@pytest.mark.source("gsw: PSS-78 both ways")
@given(SALINITY, TEMP_C)
def test_conductivity_and_salinity_are_inverses(salinity: float, temp_c: float) -> None:
    conductivity = seawater.conductivity_ms_cm(salinity, temp_c)
    assert conductivity == pytest.approx(float(gsw.C_from_SP(salinity, temp_c, 0)))
    assert seawater.practical_salinity(conductivity, temp_c) == pytest.approx(salinity, abs=1e-6)


@given(SALINITY, TEMP_C, st.sampled_from([4.0, 15.56, 20.0, 25.0]))
def test_specific_gravity_and_salinity_are_inverses(salinity: float, temp_c: float, water_temp_c: float) -> None:
    gravity = seawater.specific_gravity(salinity, temp_c, water_temp_c)
    found = seawater.salinity_from_specific_gravity(gravity, temp_c, water_temp_c)
    assert found == pytest.approx(salinity, abs=1e-5)


@pytest.mark.parametrize(("salinity", "temp_c"), [(math.nan, 25), (-1, 25), (35, math.inf), (35, 77), (70, 25)])
def test_water_that_cannot_be_is_refused(salinity: float, temp_c: float) -> None:
    with pytest.raises(ScienceError):
        seawater.check_water(salinity, temp_c)


def test_a_density_no_seawater_has_is_refused_by_name() -> None:
    with pytest.raises(OutOfRange, match="density"):
        seawater.salinity_from_density(1.2, 25)
