"""Worksheets of dosing: every portion is said, can be weighed, and stays within the safe step."""

import pytest

from servicedesk.science.water import dosing
from servicedesk.science.words import Amount
from servicedesk.science.worksheets import run
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer
from tests.science.worksheets.trying import number, sentences


def worked(name: str, **typed: str) -> Answer:
    return run.run(worksheet(name), typed)


@pytest.mark.parametrize(
    ("product", "times"), [("nahco3", ("09:00", "15:00")), ("na2co3", ("09:00", "15:00", "21:00"))]
)
def test_the_times_said_are_those_of_every_portion(product: str, times: tuple[str, ...]) -> None:
    answer = worked("raise-alkalinity", volume="20000", alkalinity="2.2", target="3.4", product=product)
    assert f"at {', '.join(times)}: " in sentences(answer)
    rows = answer.listings[0].rows
    assert len(rows) == len(times) * number(answer, "days_d")
    assert sum(row[2].value for row in rows if isinstance(row[2], Amount)) == pytest.approx(number(answer, "mass"))


def test_limewater_drips_through_the_night_and_not_at_nine() -> None:
    answer = worked("raise-alkalinity", volume="10000", alkalinity="2.5", target="2.8", product="caoh2")
    words = sentences(answer)
    for part in ("clear water alone", "21:00 to 09:00", "never more than evaporates", "caustic"):
        assert part in words
    assert "pour" not in words
    night = answer.listings[0].rows[0]
    assert isinstance(night[2], Amount)
    assert isinstance(night[3], Amount)
    assert night[2].value / night[3].value < dosing.PRODUCTS["caoh2"].solubility_g_l


@pytest.mark.source("stoichiometry by hand: 0.005 mg/L of iodide in 800 L are 5.23 mg of potassium iodide")
def test_milligrams_are_given_by_a_solution() -> None:
    answer = worked("raise-iodide", volume="800", iodide="0.03", target="0.06")
    words = sentences(answer)
    assert "too little to weigh" in words
    assert "5.23 mL" in words
    solution = answer.listings[0].rows[0][3]
    assert isinstance(solution, Amount)
    assert solution.value == pytest.approx(0.005 * 800 * 166.0 / 126.9, rel=1e-3)  # mL of 1 g/L


def test_a_level_typed_in_another_unit_is_flagged() -> None:
    words = sentences(worked("raise-alkalinity", volume="800", alkalinity="8.3", target="9"))
    assert "Alkalinity now" in words
    assert "Wanted alkalinity" in words
    assert "unusual" in words


def test_a_barrel_is_not_lifted() -> None:
    assert "barrel" in sentences(worked("raise-alkalinity", volume="120000", alkalinity="2.4"))
    assert "barrel" not in sentences(worked("raise-alkalinity", volume="10000", alkalinity="2.4"))


@pytest.mark.parametrize("parameter", ["strontium", "potassium", "iodide", "boron"])
def test_every_parameter_has_its_bought_solution(parameter: str) -> None:
    now = {"strontium": "6", "potassium": "360", "iodide": "0.03", "boron": "3"}[parameter]
    rise = {"strontium": "0.5", "potassium": "5", "iodide": "0.005", "boron": "0.5"}[parameter]
    typed = {"volume": "10000", parameter: now, "label_rise": rise}
    answer = worked(f"raise-{parameter}-by-label", **typed)
    wanted = {"strontium": 8, "potassium": 400, "iodide": 0.06, "boron": 4.5}[parameter] - float(now)
    assert number(answer, "mass") == pytest.approx(wanted / float(rise) * 10 * 10_000 / 100)


def test_bought_calcium_and_alkalinity_are_kept_apart() -> None:
    assert dosing.APART in worksheet("raise-calcium-by-label").cautions
    assert dosing.APART in worksheet("raise-alkalinity-by-label").cautions


def test_a_trace_dose_is_in_whole_tenths_of_the_natural_level() -> None:
    answer = worked("trace-element", volume="10000", rise="0.003", natural="0.01", stock="500")
    assert number(answer, "days_d") == 3
    assert "natural level" in sentences(worked("trace-element", volume="100", rise="1", natural="0.01", stock="500"))
    thin = sentences(worked("trace-element", volume="800", rise="0.0001", natural="0.001", stock="500"))
    assert "16 mL" in thin  # 0.16 mL of the solution itself


@pytest.mark.source("stoichiometry by hand: 0.3 meq/L a day in 10 000 L are 252 g of soda and 221 g of CaCl2·2H2O")
def test_two_part_dosing_says_water_and_portions() -> None:
    answer = worked("two-part-residue", volume="10000", demand="0.3")
    assert number(answer, "soda_g_day") == pytest.approx(252.0, abs=0.1)
    assert number(answer, "chloride_g_day") == pytest.approx(220.5, abs=0.3)
    words = sentences(answer)
    assert "2 equal portions" in words
    assert "4.38 L" in words


def test_the_usual_jug_stays_dissolved() -> None:
    assert "salt falls out" not in sentences(worked("stock-solution"))


@pytest.mark.source("molar masses: 0.906 mol chloride and 0.094 mol sulphate for each of magnesium")
def test_a_magnesium_rise_names_the_blend_that_keeps_the_sulphate() -> None:
    """120 mg/L in 3000 L are 14.81 mol: 13.42 mol of MgCl2·6H2O and 1.392 mol of MgSO4·7H2O."""
    words = sentences(worked("raise-magnesium", volume="3000", magnesium="1180", target="1300"))
    assert "2.73 kg of the chloride" in words
    assert "343 g of the sulphate" in words


@pytest.mark.source("Stoichiometry by hand: 0.5 meq/L of sodium bicarbonate bring 0.5 × 22.99 mg/L of sodium")
def test_what_the_salt_brings_along_is_said() -> None:
    told = sentences(worked("raise-alkalinity", volume="10000", alkalinity="2.4", target="2.9"))
    assert "11.5 mg/L of sodium" in told
