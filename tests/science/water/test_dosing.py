"""Doses against sums done here from atomic weights (CIAAW 2021, abridged, conventional values)."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.quantities import DKH_MEQ_L
from servicedesk.science.water import dosing
from tests.science.published import published

H, C, O, NA, MG, CL, K, CA, SR, I = 1.008, 12.011, 15.999, 22.990, 24.305, 35.45, 39.098, 40.078, 87.62, 126.90  # noqa: E741
BY_HAND = {
    # salt: (g of salt a unit and litre by hand, what it is)
    "nahco3": (NA + H + C + 3 * O) / 1000,  # one equivalent a mole
    "na2co3": (2 * NA + C + 3 * O) / 2 / 1000,  # two
    "caoh2": (CA + 2 * (O + H)) / 2 / 1000,
    "cacl2_2h2o": (CA + 2 * CL + 2 * (2 * H + O)) / CA / 1000,  # mg of calcium
    "cacl2": (CA + 2 * CL) / CA / 1000,
    "mgcl2_6h2o": (MG + 2 * CL + 6 * (2 * H + O)) / MG / 1000,
    "srcl2_6h2o": (SR + 2 * CL + 6 * (2 * H + O)) / SR / 1000,
    "kcl": (K + CL) / K / 1000,
    "ki": (K + I) / I / 1000,
}


@pytest.mark.source("CIAAW 2021 atomic weights: sums of the salts by hand")
@pytest.mark.parametrize("key", BY_HAND)
def test_dose_by_hand(key: str) -> None:
    """1 unit in 1000 L."""
    assert dosing.dose_mass_g(dosing.PRODUCTS[key], 1000, 1) == pytest.approx(BY_HAND[key] * 1000, rel=1e-6)


@pytest.mark.source("stoichiometry: soda and magnesium chloride for 10 000 L")
@pytest.mark.parametrize(("entry", "product", "change"), [("dose-alk", "nahco3", 0.5), ("dose-mg", "mgcl2_6h2o", 50.0)])
def test_doses_hold_the_published_values(entry: str, product: str, change: float) -> None:
    value = published(entry)
    assert dosing.dose_mass_g(dosing.PRODUCTS[product], 10_000, change) == pytest.approx(
        value["expected"], abs=value["tolerance"]
    )


@pytest.mark.source("DIN 38409-7: 1 dKH is 10 mg CaO a litre")
def test_the_german_degree() -> None:
    value = published("dkh")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == DKH_MEQ_L


@pytest.mark.source("CRC Handbook, solubility in water at 20 °C (from memory): NaHCO3 96 g/L")
def test_a_jug_is_refused_beyond_what_dissolves() -> None:
    stock = dosing.stock_solution(dosing.PRODUCTS["nahco3"], 5, 80)
    assert stock.mass_g == 400
    assert stock.rise_per_ml_in_litre * 1000 / 100 == pytest.approx(80 / 84.007 * 10, rel=1e-3)
    with pytest.raises(ScienceError, match="96"):
        dosing.stock_solution(dosing.PRODUCTS["nahco3"], 5, 120)


def test_a_product_by_its_label() -> None:
    """“25 mL in 100 L raise by 0.1 meq/L”: 1000 L by 0.2 need 500 mL."""
    product = dosing.user_product_by_volume(
        key="own", name="own", parameter="alkalinity", rise=0.1, ml=25, per_l=100, max_step=0.1
    )
    assert dosing.dose_mass_g(product, 1000, 0.2) == pytest.approx(500)


def test_bicarbonate_for_two_german_degrees_in_six_thousand_litres() -> None:
    """2 dKH are 0.7133 meq/L (1 dKH = 0.35663 meq/L); 6000 L × 0.7133 × 84.006 mg = 359.5 g."""
    assert dosing.dose_mass_g(dosing.PRODUCTS["nahco3"], 6000, 2 * 10 / 28.0385) == pytest.approx(359.5, abs=0.2)


products = st.sampled_from(sorted(dosing.PRODUCTS))
volumes, changes = st.floats(50, 40_000), st.floats(0.001, 200)


@given(products, volumes, changes, st.floats(0.5, 1))
def test_what_is_dosed_is_measured(key: str, volume_l: float, change: float, purity: float) -> None:
    product = dosing.PRODUCTS[key]
    mass_g = dosing.dose_mass_g(product, volume_l, change, purity)
    assert dosing.rise(product, volume_l, mass_g, purity) == pytest.approx(change)


@given(products, volumes, changes, st.floats(0.01, 60))
def test_no_day_and_no_portion_goes_beyond_what_is_safe(
    key: str, volume_l: float, change: float, rise_per_day: float
) -> None:
    product = dosing.PRODUCTS[key]
    if change / min(rise_per_day, product.max_step * 4) > 400:
        return
    plan = dosing.plan_correction(
        parameter=product.parameter,
        current=0,
        target=change,
        volume_l=volume_l,
        product=product,
        rise_per_day=rise_per_day,
    )
    assert plan is not None
    assert plan.change_per_day <= rise_per_day * (1 + 1e-6)
    each = [dosing.rise(product, volume_l, portion.mass_g) for portion in plan.portions]
    assert max(each) <= product.max_step * (1 + 1e-6)
    assert sum(each) == pytest.approx(change)


@given(products, st.floats(100, 30_000))
def test_portions_dissolve_and_lie_hours_apart(key: str, volume_l: float) -> None:
    product = dosing.PRODUCTS[key]
    plan = dosing.plan_correction(
        parameter=product.parameter,
        current=0,
        target=product.max_step * 6,
        volume_l=volume_l,
        product=product,
        rise_per_day=product.max_step * 3,
    )
    assert plan is not None
    assert all(portion.mass_g <= portion.dissolve_l * product.solubility_g_l for portion in plan.portions)
    times = [portion.day * 1440 + portion.at_min for portion in plan.portions]
    assert all(later - earlier >= 360 for earlier, later in itertools.pairwise(times))


def test_nothing_is_planned_for_what_is_high_enough() -> None:
    product = dosing.PRODUCTS["nahco3"]
    plan = dosing.plan_correction(
        parameter="alkalinity", current=3.0, target=2.9, volume_l=1000, product=product, rise_per_day=0.5
    )
    assert plan is None


def test_salt_that_does_not_raise_the_parameter_is_refused() -> None:
    with pytest.raises(ValueError, match="does not raise"):
        dosing.plan_correction(
            parameter="calcium",
            current=400,
            target=420,
            volume_l=100,
            product=dosing.PRODUCTS["nahco3"],
            rise_per_day=10,
        )


@pytest.mark.parametrize(("volume_l", "change"), [(0, 1), (-5, 1), (100, -1)])
def test_impossible_dose_is_refused(volume_l: float, change: float) -> None:
    with pytest.raises(ValueError, match=r"must|only"):
        dosing.dose_mass_g(dosing.PRODUCTS["kcl"], volume_l, change)


def test_products_are_offered_for_what_they_raise() -> None:
    assert set(dosing.products_for("magnesium")) == {"mgcl2_6h2o", "mgso4_7h2o"}
    assert dosing.USUAL_PRODUCT["boron"] in dosing.products_for("boron")
