import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.quantities import DKH_MEQ_L
from servicedesk.science.water import reactor
from servicedesk.science.water.carbonate import State, solve
from servicedesk.science.water.demand import CALCIUM_PER_MEQ, calcium_ratio
from tests.science.published import published

EFFLUENT, TANK = 25 * DKH_MEQ_L, 8 * DKH_MEQ_L


@pytest.mark.source("mass balance: effluent 25 dKH, tank 8 dKH, 60 mL/min")
def test_delivery_of_the_worked_example() -> None:
    value = published("reactor-ex-meq")
    delivered = reactor.delivered_meq_day(60, EFFLUENT, TANK)
    assert delivered == pytest.approx(value["expected"], abs=value["tolerance"])
    assert reactor.media_g_day(delivered, 1.0) == pytest.approx(26.2, abs=0.05)
    assert reactor.calcium_g_day(delivered) == pytest.approx(10.5, abs=0.05)


@given(st.floats(0.1, 5000), st.floats(4, 30), st.floats(1, 3.9))
def test_the_flow_found_delivers_what_was_asked(needed: float, effluent: float, tank: float) -> None:
    flow = reactor.flow_for(needed, effluent, tank)
    assert reactor.delivered_meq_day(flow, effluent, tank) == pytest.approx(needed)


@pytest.mark.source("stoichiometry CaCO3 + CO2 + H2O: 22.005 g of CO2 an equivalent")
def test_carbon_dioxide_that_dissolves_media() -> None:
    value = published("reactor-co2")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == reactor.CO2_G_PER_MEQ * 1000


def _use() -> reactor.CarbonDioxide:
    return reactor.carbon_dioxide(
        flow_ml_min=60,
        effluent_meq_l=EFFLUENT,
        effluent_ph_total=6.46,
        tank_meq_l=TANK,
        tank_ph_total=8.05,
        salinity=35,
        temp_c=25,
    )


@pytest.mark.source("mass balance with PyCO2SYS: carbon dioxide of the worked example")
def test_carbon_dioxide_by_mass_balance_agrees_with_an_independent_code() -> None:
    import PyCO2SYS

    from servicedesk.science.water.seawater import density_kg_l, umol_kg_from_meq_l

    use = _use()
    found = PyCO2SYS.sys(
        par1=[umol_kg_from_meq_l(EFFLUENT, 35, 25), umol_kg_from_meq_l(TANK, 35, 25)], par2=[6.46, 8.05],
        par1_type=1, par2_type=3, salinity=35, temperature=25, opt_k_carbonic=10, opt_total_borate=2,
    )  # fmt: skip
    gained = found["dic"][0] - found["dic"][1] - (found["alkalinity"][0] - found["alkalinity"][1]) / 2
    expected = 60 * 1.44 * density_kg_l(35, 25) * gained * 1e-6 * 44.009
    assert use.total_g_day == pytest.approx(expected, rel=2e-3)
    assert use.dissolving_g_day == pytest.approx(11.5, abs=0.1)
    assert 1.7 < use.total_g_day / use.dissolving_g_day < 2.5


def test_days_of_a_stock() -> None:
    assert reactor.days_left(4750, 23.0) == pytest.approx(206.5, abs=0.1)
    assert reactor.days_left(4750, 0) == float("inf")


def _effluent(ph: float, meq_kg: float) -> State:
    return solve(35, 25, alkalinity_umol_kg=meq_kg, ph_total=ph)


@pytest.mark.source("Mucci 1983: media dissolve only below saturation with aragonite")
@pytest.mark.parametrize(
    ("ph", "alkalinity", "verdict"),
    [
        (6.5, 8700.0, "dissolving"),
        (7.6, 8700.0, "near saturation"),
        (7.9, 2900.0, "starved of CO₂"),
        (5.9, 12000.0, "too acid"),
    ],
)
def test_what_an_effluent_says(ph: float, alkalinity: float, verdict: str) -> None:
    assert reactor.effluent_verdict(_effluent(ph, alkalinity), TANK) == verdict


def test_an_effluent_no_stronger_than_the_tank_cannot_deliver() -> None:
    with pytest.raises(ScienceError, match="no more alkalinity"):
        reactor.flow_for(500, 2.8, 2.8)


@pytest.mark.source("CaCO3 stoichiometry: 20.04 mg of calcium a meq")
def test_calcium_used_with_alkalinity() -> None:
    value = published("ca-per-meq")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == CALCIUM_PER_MEQ


@pytest.mark.parametrize(
    ("calcium", "alkalinity", "verdict"),
    [
        (2.0, 0.1, "calcification"),
        (0.8, 0.1, "more alkalinity"),
        (4.0, 0.1, "more calcium"),
        (1.0, 0.01, "too little used to tell"),
    ],
)
def test_the_ratio_of_the_uses_says_what_else_goes_on(calcium: float, alkalinity: float, verdict: str) -> None:
    found = calcium_ratio(
        calcium_per_day=calcium, calcium_error=0.3, alkalinity_per_day=alkalinity, alkalinity_error=0.01
    )
    assert found.verdict == verdict
