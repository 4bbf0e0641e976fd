import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import dosing, molar, residue
from tests.science.published import published

FORMULAS = {
    "nahco3": "NaHCO3", "na2co3": "Na2CO3", "caoh2": "Ca(OH)2", "cacl2_2h2o": "CaCl2(H2O)2", "cacl2": "CaCl2",
    "mgcl2_6h2o": "MgCl2(H2O)6", "mgso4_7h2o": "MgSO4(H2O)7", "srcl2_6h2o": "SrCl2(H2O)6", "kcl": "KCl", "ki": "KI",
}  # fmt: skip


@pytest.mark.source("molmass: molar masses of the salts")
@pytest.mark.parametrize("product", sorted(FORMULAS))
def test_molar_masses_agree_with_an_independent_library(product: str) -> None:
    assert residue.MOLAR_MASS[product] == pytest.approx(Formula(FORMULAS[product]).mass, abs=0.02)


@pytest.mark.source("IUPAC atomic weights: molar masses")
@pytest.mark.parametrize("entry", ["mm-1", "mm-3", "mm-5", "mm-7", "mm-8", "mm-10"])
def test_molar_masses_hold_the_published_values(entry: str) -> None:
    value = published(entry)
    by_formula = {formula: residue.MOLAR_MASS[product] for product, formula in FORMULAS.items()}
    assert by_formula[value["inputs"]["formula"]] == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("charge balance: every salt is neutral")
@given(st.sampled_from(sorted(residue.IONS)), st.floats(0.1, 5000), st.floats(10, 50_000))
def test_every_product_adds_as_much_positive_as_negative_charge(product: str, mass_g: float, volume_l: float) -> None:
    added = residue.ions_mg_l(product, mass_g, volume_l)
    charge = sum(mg / residue.MASSES[ion] * residue.CHARGES[ion] for ion, mg in added.items())
    assert charge == pytest.approx(0, abs=1e-9 + 1e-12 * sum(added.values()))


@pytest.mark.source("stoichiometry: 58.4 mg/L of sodium chloride a meq of two-part dosing")
def test_two_part_dosing_leaves_sodium_chloride() -> None:
    volume_l, meq_l = 1000.0, 1.0
    soda = dosing.dose_mass_g(dosing.PRODUCTS["nahco3"], volume_l, meq_l)
    chloride = dosing.dose_mass_g(dosing.PRODUCTS["cacl2_2h2o"], volume_l, meq_l * molar.CA / 2)
    left = residue.ions_mg_l("nahco3", soda, volume_l)["Na"] + residue.ions_mg_l("cacl2_2h2o", chloride, volume_l)["Cl"]
    assert residue.two_part_residue_mg_l(meq_l) == pytest.approx(left, rel=1e-6)
    assert residue.two_part_residue_mg_l(0.1 * 365.25) / 1000 == pytest.approx(2.1, abs=0.05)


@given(st.floats(0.01, 100), st.floats(0.001, 0.5))
def test_a_settled_level_loses_as_much_as_it_gains(per_day: float, changed: float) -> None:
    assert residue.settled_rise(per_day, changed) * changed == pytest.approx(per_day)


@pytest.mark.source("Millero et al. 2008: chloride to sulphate of seawater, mol 545.87 : 28.235")
def test_the_magnesium_blend_keeps_chloride_to_sulphate() -> None:
    chloride_g, sulphate_g = residue.magnesium_blend(100.0)
    magnesium = chloride_g / molar.MGCL2_6H2O * molar.MG + sulphate_g / molar.MGSO4_7H2O * molar.MG
    assert magnesium == pytest.approx(100.0)
    ratio = (2 * chloride_g / molar.MGCL2_6H2O) / (sulphate_g / molar.MGSO4_7H2O)
    assert ratio == pytest.approx(545.87 / 28.235, rel=0.01)


def test_an_unknown_salt_or_no_water_is_refused() -> None:
    with pytest.raises(ScienceError):
        residue.ions_mg_l("sugar", 1, 1)
    with pytest.raises(ScienceError):
        residue.ions_mg_l("kcl", 1, 0)
    assert residue.settled_rise(1.0, 0.0) == float("inf")
