import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.instruments import kits
from tests.science.published import published

VALUES = st.floats(0.5, 50)


@pytest.mark.source("Ratio of molar masses (molmass): NO3 per NO3-N, PO4 per P 3.0662")
def test_other_species_become_canonical() -> None:
    value = published("no3-n")
    assert kits.canonical("nitrate", "mg_L_N", 1) == pytest.approx(value["expected"], abs=value["tolerance"])
    assert kits.canonical("phosphate", "mg_L_P", 1) == pytest.approx(3.0662, abs=1e-3)
    assert kits.canonical("phosphate", "ppb_P", 10) == pytest.approx(0.030662, abs=1e-5)


@pytest.mark.source("DIN 38409-7: 1 °dKH = 10 mg CaO per litre = 0.3566 meq/L")
def test_alkalinity_in_degrees() -> None:
    assert kits.canonical("alkalinity", "dKH", 8) == pytest.approx(2.853, abs=1e-3)


@pytest.mark.source("mass balance: blank taken off, then the dilution multiplied up")
@given(true=VALUES, blank=st.floats(0, 1), dilution=st.floats(1, 20))
def test_blank_and_dilution_are_undone(true: float, blank: float, dilution: float) -> None:
    found = kits.measure(
        parameter="nitrate", unit="mg_L", reading=true / dilution + blank, blank=blank, dilution=dilution
    )
    assert found.value == pytest.approx(true)
    assert not found.below


@pytest.mark.source("JCGM 100:2008 (GUM): σ² = a² + (r y)² + step²/12, blank apart from repeats")
def test_error_of_a_photometer() -> None:
    found = kits.measure(
        parameter="nitrate",
        unit="mg_L",
        reading=5.0,
        resolution=0.12**0.5,  # step²/12 = 0.01
        sd=0.2,
        sd_share=0.1,
        blank_sd=0.3,
        repeats=4,
    )
    assert found.sd == pytest.approx(((0.04 + 0.25 + 0.01) / 4 + 0.09) ** 0.5)


@pytest.mark.source("JCGM 100:2008 (GUM): an error scales with the unit and the dilution")
def test_error_goes_with_dilution_and_species() -> None:
    plain = kits.measure(parameter="nitrate", unit="mg_L", reading=5.0, sd=0.2, sd_share=0.0)
    as_n = kits.measure(parameter="nitrate", unit="mg_L_N", reading=5.0, sd=0.2, sd_share=0.0, dilution=2)
    assert as_n.sd == pytest.approx(plain.sd * 2 * published("no3-n")["expected"], rel=1e-4)


@pytest.mark.source("common practice: below detection is kept as a bound")
def test_below_detection() -> None:
    typed = kits.measure(parameter="phosphate", unit="mg_L", reading=0.02, is_below=True, dilution=2)
    assert typed.below
    assert typed.value == pytest.approx(0.04)
    faint = kits.measure(parameter="phosphate", unit="mg_L", reading=0.015, blank=0.01, detection=0.02)
    assert faint.below
    assert faint.value == pytest.approx(0.02)


@pytest.mark.source(
    "Standard Methods 2320 B (from memory): alkalinity mg/L CaCO3 = mL acid × normality × 50 000 ÷ mL sample"
)
def test_alkalinity_titration() -> None:
    meq_l = kits.titration(parameter="alkalinity", titrant_ml=2.9, titrant_mol_l=0.1, sample_ml=100)
    assert meq_l * 50 == pytest.approx(2.9 * 0.1 * 50000 / 100)


@pytest.mark.source("Standard Methods 3500-Ca (from memory): 1 mL of 0.01 mol/L EDTA answers 0.4008 mg of calcium")
def test_calcium_titration() -> None:
    found = kits.titration(parameter="calcium", titrant_ml=5.25, titrant_mol_l=0.01, sample_ml=5)
    assert found == pytest.approx(5.25 * 400.8 / 5, rel=1e-3)


@pytest.mark.source("JCGM 100:2008 (GUM): half the drop, half the error")
def test_error_of_a_titration() -> None:
    def sd(step_ml: float) -> float:
        return kits.measure_titration(
            parameter="alkalinity",
            titrant_ml=2.9,
            titrant_mol_l=0.1,
            sample_ml=100,
            step_ml=step_ml,
            end_point_ml=0,
            strength_pct=0,
            sample_sd_pct=0,
        ).sd

    assert sd(0.1) == pytest.approx(0.1 / 12**0.5)  # 1 meq/L a millilitre here
    assert sd(0.05) == pytest.approx(sd(0.1) / 2)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_kits_refuse(bad: float) -> None:
    with pytest.raises(ScienceError):
        kits.measure(parameter="nitrate", unit="mg_L", reading=bad)
    with pytest.raises(ScienceError):
        kits.measure(parameter="nitrate", unit="mg_L", reading=5, dilution=bad)
    with pytest.raises(ScienceError):
        kits.titration(parameter="alkalinity", titrant_ml=bad, titrant_mol_l=0.1, sample_ml=100)


def test_kits_name_what_they_read() -> None:
    with pytest.raises(ScienceError, match="kit reads"):
        kits.canonical("gold", "mg_L", 1)
    with pytest.raises(ScienceError, match="read in"):
        kits.canonical("nitrate", "dKH", 1)
    with pytest.raises(OutOfRange):
        kits.titration(parameter="alkalinity", titrant_ml=1, titrant_mol_l=0.1, sample_ml=100, blank_ml=2)


@pytest.mark.source("IUPAC compendium (from memory): the limit of detection is three standard deviations of the blank")
def test_nothing_above_the_blank_is_a_bound_of_three_errors() -> None:
    found = kits.measure(
        parameter="phosphate", unit="mg_L", reading=0.01, blank=0.03, sd=0.01, sd_share=0.0, blank_sd=0.0
    )
    assert found.below
    assert found.value == pytest.approx(0.03)


@pytest.mark.source("common practice: phosphate by photometer to about 0.01 mg/L")
def test_own_error_is_told_in_the_unit_shown() -> None:
    assert kits.own_error("phosphate", "mg_L") == pytest.approx(0.01)
    assert kits.own_error("phosphate", "ppb_P") == pytest.approx(0.01 / 0.0030662, rel=1e-3)
