"""Conversion factors against NIST Special Publication 811 (2008), Appendix B, and definitions of the trade."""

import math

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science import units
from servicedesk.science.quantities import QUANTITIES

NIST_SP_811 = [
    ("volume", "gal", 1.0, 3.785412),
    ("volume", "gal_imp", 1.0, 4.54609),
    ("mass", "lb", 1.0, 453.59237),
    ("mass", "oz", 1.0, 28.34952),
    ("length", "mi", 1.0, 1.609344),
    ("power", "Btu_h", 1.0, 0.2930711),
    ("dose_volume", "fl_oz", 1.0, 29.57353),
]


@pytest.mark.parametrize(("quantity", "unit", "value", "canonical"), NIST_SP_811)
def test_factors_of_nist(quantity: str, unit: str, value: float, canonical: float) -> None:
    assert units.to_canonical(quantity, value, unit) == pytest.approx(canonical, rel=2e-6)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (78, 25.5556), (-40, -40)])
def test_temperatures_of_nist(fahrenheit: float, celsius: float) -> None:
    assert units.to_canonical("temperature", fahrenheit, "degF") == pytest.approx(celsius, abs=1e-4)


def test_a_differential_is_no_temperature() -> None:
    assert units.to_canonical("temperature_difference", 1, "degF") == pytest.approx(5 / 9)


def test_a_german_degree_is_ten_milligrams_of_calcium_oxide_in_a_litre() -> None:
    """1 °dH = 10 mg/L CaO (definition); CaO 56.077 g/mol of the CIAAW weights carries two equivalents."""
    assert units.to_canonical("alkalinity", 1, "dKH") == pytest.approx(10 / (56.077 / 2), rel=1e-3)


def test_alkalinity_as_calcium_carbonate() -> None:
    """CaCO3 is 100.086 g/mol (CIAAW 2021 abridged weights): 50.043 mg in a meq."""
    assert units.to_canonical("alkalinity", 125, "ppm_caco3") == pytest.approx(125 / 50.043, rel=1e-3)


@pytest.mark.parametrize(
    ("quantity", "unit", "ratio"),
    [
        ("nitrate", "mg_L_N", (14.007 + 3 * 15.999) / 14.007),
        ("nitrite", "mg_L_N", (14.007 + 2 * 15.999) / 14.007),
        ("phosphate", "mg_L_P", (30.974 + 4 * 15.999) / 30.974),
    ],
)
def test_reading_in_another_species(quantity: str, unit: str, ratio: float) -> None:
    """Ratios of molar masses, CIAAW 2021 abridged standard atomic weights."""
    assert units.to_canonical(quantity, 1, unit) == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize("salinity", [30.0, 33.0, 35.0, 37.0])
def test_specific_gravity_is_the_ratio_of_densities_of_teos_10(salinity: float) -> None:
    """IOC, SCOR and IAPSO 2010, by the GSW toolbox."""
    absolute = gsw.SA_from_SP(salinity, 0, -30, 35)
    expected = gsw.rho_t_exact(absolute, 25.0, 0) / gsw.rho_t_exact(0, 25.0, 0)
    assert units.from_canonical("salinity", salinity, "SG_25") == pytest.approx(expected, abs=2e-5)


@given(st.floats(28, 40))
def test_specific_gravity_reads_back(salinity: float) -> None:
    sg = units.from_canonical("salinity", salinity, "SG_25")
    assert units.salinity_from_sg(sg, 25.0) == pytest.approx(salinity, abs=0.01)


@given(
    st.sampled_from([(name, unit.key) for name, rows in QUANTITIES.items() for unit in rows]),
    st.floats(0.01, 1e5),
)
def test_what_is_converted_comes_back(pair: tuple[str, str], value: float) -> None:
    quantity, unit = pair
    if unit in units.SPECIFIC_GRAVITY_TEMPS_C:
        return
    back = units.from_canonical(quantity, units.to_canonical(quantity, value, unit), unit)
    assert math.isclose(back, value, rel_tol=1e-9, abs_tol=1e-9)


@pytest.mark.parametrize(
    ("typed", "value", "below"),
    [
        ("8.3", 8.3, False),
        ("8,3", 8.3, False),
        ("1 250", 1250, False),
        ("1,250", 1250, False),
        ("0,125", 0.125, False),
        ("< 0.01", 0.01, True),
        ("−2", -2, False),
        (" 7 ", 7, False),
        ("1,250.5", 1250.5, False),
    ],
)
def test_numbers_as_people_type_them(typed: str, value: float, below: bool) -> None:
    assert units.parse_number(typed) == units.Typed(value, below)


@pytest.mark.parametrize("typed", ["", "eight", "8..3", "nan", "inf", "8 dKH", "--3"])
def test_what_is_no_number_is_refused_in_words(typed: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        units.parse_number(typed)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1.250,5", 1250.5), ("1,250.5", 1250.5), ("1.250.000", 1_250_000), ("1,250,000", 1_250_000), ("8,3", 8.3),
        ("1,250", 1250), ("0,250", 0.25), ("-1,5", -1.5), ("1 250,5", 1250.5), (".5", 0.5), ("5.", 5.0),
    ],
)  # fmt: skip
def test_signs_of_both_worlds_are_read(typed: str, value: float) -> None:
    assert units.parse_number(typed).value == value


@pytest.mark.parametrize("typed", ["1.2.3", "12,50,3", "1.25,000", "1,2,3.4", "", "--5", "1e999", "nan", "9" * 60])
def test_signs_that_part_nothing_are_refused(typed: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        units.parse_number(typed)
