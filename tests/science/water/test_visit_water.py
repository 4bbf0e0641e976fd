import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.water import molar, plausibility, reactor
from servicedesk.science.water.demand import Input, demand, drift, step


@pytest.mark.parametrize(
    ("found", "published"),
    [
        (molar.NAHCO3, 84.007), (molar.NA2CO3, 105.988), (molar.CACO3, 100.086), (molar.CAOH2, 74.092),
        (molar.CACL2_2H2O, 147.01), (molar.MGCL2_6H2O, 203.30), (molar.MGSO4_7H2O, 246.47), (molar.KCL, 74.55),
    ],
)  # fmt: skip
def test_molar_masses(found: float, published: float) -> None:
    """CRC Handbook of Chemistry and Physics, physical constants of inorganic compounds (values from memory)."""
    assert found == pytest.approx(published, abs=0.02)


def test_reactor_delivers_what_the_balance_says() -> None:
    """40 mL/min is 57.6 L a day; at 20 meq/L into a tank at 2.8 that is 57.6 × 17.2 = 990.7 meq."""
    assert reactor.delivered_meq_day(40, 20, 2.8) == pytest.approx(990.7, abs=0.1)


def test_demand_net_of_what_was_added() -> None:
    """From 3.0 to 2.7 in 6 days although 0.9 was dosed: 1.2 in 6 days."""
    found = demand(first=3.0, second=2.7, days=6, sd=0.05, inputs=[Input(2, rise=0.9)])
    assert found.per_day == pytest.approx(0.2)


@given(st.floats(0, 0.5), st.floats(0, 0.4), st.integers(2, 12))
def test_demand_finds_what_a_simulation_used(per_day: float, dose: float, days: int) -> None:
    level = 3.0
    for _day in range(days):
        level = step(level, demand_per_day=per_day, dose_per_day=dose)
    inputs = [Input(day + 0.5, rise=dose) for day in range(days)]
    assert demand(first=3.0, second=level, days=days, sd=0.05, inputs=inputs).per_day == pytest.approx(
        per_day, abs=1e-9
    )


def test_drift_within_the_error_of_the_tests_is_not_certain() -> None:
    assert not drift(2.85, 2.80, 7, 0.05, 0.05).certain
    assert drift(3.2, 2.8, 7, 0.05, 0.05).certain


ALKALINITY = plausibility.expectation(
    quantity="alkalinity", possible=(0, 20), plausible=(1, 6), band=(2.6, 3.2), last=2.9, sd=0.05
)


def test_usual_value_is_taken_as_it_is() -> None:
    assert plausibility.check_value("8.1", "dKH", ALKALINITY).kind == "ok"


def test_value_in_the_wrong_unit_is_asked_for_with_the_likely_one() -> None:
    verdict = plausibility.check_value("2.9", "dKH", ALKALINITY)
    assert verdict.kind == "ask"
    assert (verdict.suggestions[0].typed, verdict.suggestions[0].unit) == ("2.9", "meq_l")


@pytest.mark.parametrize(("typed", "meant"), [("81", "8.1"), ("0.81", "8.1")])
def test_slipped_decimal_point_is_offered(typed: str, meant: str) -> None:
    verdict = plausibility.check_value(typed, "dKH", ALKALINITY)
    assert meant in [suggestion.typed for suggestion in verdict.suggestions]


def test_digits_the_other_way_round_are_offered() -> None:
    calcium = plausibility.expectation(
        quantity="calcium", possible=(0, 2000), plausible=(250, 650), band=(400, 450), last=430, sd=8
    )
    verdict = plausibility.check_value("340", "mg_L", calcium)
    assert "430" in [suggestion.typed for suggestion in verdict.suggestions]


def test_what_cannot_be_is_refused() -> None:
    assert plausibility.check_value("900", "dKH", ALKALINITY).kind == "impossible"
