import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import carbon_dosing
from tests.science.published import published

SOURCES = st.sampled_from(["ethanol", "acetic acid", "glucose"])


@pytest.mark.source("molmass as an independent library: oxygen to burn each to CO2 and water")
@pytest.mark.parametrize(
    ("substance", "formula", "oxygen"),
    [("ethanol", "C2H6O", 3), ("acetic acid", "C2H4O2", 2), ("glucose", "C6H12O6", 6)],
)
def test_oxygen_demand(substance: str, formula: str, oxygen: int) -> None:
    expected = oxygen * Formula("O2").mass / Formula(formula).mass
    assert carbon_dosing.cod_g_per_g(substance) == pytest.approx(expected, rel=1e-4)


@pytest.mark.source("Metcalf & Eddy (from memory): 1.42 g COD per g of cells C5H7O2N, 12.4 % nitrogen")
def test_cells() -> None:
    assert pytest.approx(1.42, abs=0.01) == carbon_dosing.CELL_COD
    assert pytest.approx(0.124, abs=0.0005) == carbon_dosing.CELL_N


@pytest.mark.source(
    "Ebeling, Timmons & Bisogni 2006 (from memory): 15.17 g glucose, 4.71 g oxygen, 8.07 g cells per g N"
)
def test_heterotrophic_uptake() -> None:
    value = published("het-c")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == carbon_dosing.GLUCOSE_PER_N
    assert pytest.approx(4.71, abs=0.01) == carbon_dosing.GLUCOSE_OXYGEN_PER_N
    assert pytest.approx(8.07, abs=0.01) == carbon_dosing.CELLS_PER_N


@pytest.mark.source("Ebeling 2006: a glucose dose at the yield of his equation takes up the same nitrogen and oxygen")
def test_the_yield_of_the_published_equation() -> None:
    cod = 15.17 * carbon_dosing.cod_g_per_g("glucose")
    cell_yield = 8.07 * carbon_dosing.CELL_COD / cod
    found = carbon_dosing.effect(substance="glucose", mass_g_day=15.17, cell_yield=cell_yield)
    assert found.nitrogen_g == pytest.approx(1.0, rel=0.005)
    assert found.oxygen_most_g == pytest.approx(4.71, rel=0.02)


@pytest.mark.source("Stoichiometry (molmass): 12 NO3 + 5 C2H5OH, 1.3704 g ethanol per g N; 3.57 mg CaCO3 per mg N")
def test_denitrification() -> None:
    value = published("denit-etoh")
    bare = carbon_dosing.denitrification_ethanol_g(1.0, growth_factor=1.0)
    assert bare == pytest.approx(value["expected"], abs=value["tolerance"])
    assert carbon_dosing.denitrification_ethanol_g(1.0) == pytest.approx(1.4 * bare)
    assert carbon_dosing.denitrification_alkalinity_meq(1.0) * 50.0435 / 1000 == pytest.approx(3.57, abs=0.005)


@pytest.mark.source("Stoichiometry: oxygen, cells and carbon dosed close in COD")
@given(substance=SOURCES, mass=st.floats(0.1, 100), cell_yield=st.floats(0.3, 0.6))
def test_cod_closes(substance: str, mass: float, cell_yield: float) -> None:
    found = carbon_dosing.effect(substance=substance, mass_g_day=mass, cell_yield=cell_yield)
    assert found.oxygen_most_g + found.cells_g * carbon_dosing.CELL_COD == pytest.approx(found.cod_g)
    assert 0 <= found.oxygen_least_g <= found.oxygen_most_g
    assert found.phosphate_g == pytest.approx(found.cells_g * 0.02 * 3.0662, rel=1e-4)
    back = carbon_dosing.dose_for_nitrate_g_day(
        substance=substance, nitrate_g_day=found.nitrate_g, cell_yield=cell_yield
    )
    assert back == pytest.approx(mass)


@pytest.mark.source("Handbook (from memory): 96 % spirit by volume is 93.9 % by mass, 0.807 g/mL")
def test_volume_of_a_solution() -> None:
    volume = carbon_dosing.volume_ml(mass_g=0.96 * 789.3, density_g_ml=0.807, strength_pct=93.9)
    assert volume == pytest.approx(1000, rel=0.005)


@pytest.mark.source("common practice: raise carbon by at most a quarter a week")
def test_rise_by_the_week() -> None:
    weeks = carbon_dosing.steps(start=4.0, goal=10.0)
    assert weeks[0] == 4.0
    assert weeks[-1] == 10.0
    assert all(later <= 1.25 * earlier + 1e-9 for earlier, later in itertools.pairwise(weeks))
    assert carbon_dosing.steps(start=12.0, goal=10.0) == [10.0]


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_carbon_refuses(bad: float) -> None:
    for call in (
        lambda: carbon_dosing.effect(substance="ethanol", mass_g_day=bad),
        lambda: carbon_dosing.effect(substance="ethanol", mass_g_day=1, cell_yield=bad),
        lambda: carbon_dosing.dose_for_nitrate_g_day(substance="ethanol", nitrate_g_day=bad),
        lambda: carbon_dosing.volume_ml(mass_g=bad, density_g_ml=0.8, strength_pct=90),
        lambda: carbon_dosing.denitrification_ethanol_g(bad),
        lambda: carbon_dosing.denitrification_alkalinity_meq(bad),
        lambda: carbon_dosing.steps(start=bad, goal=1),
    ):
        with pytest.raises(ScienceError):
            call()
    with pytest.raises(ScienceError, match="carbon source"):
        carbon_dosing.cod_g_per_g("molasses")
