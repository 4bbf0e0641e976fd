import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import assert_same_in_us_units, sentences
from tests.science.worksheets.typical import TYPICAL

PIPE, TURNOVER = TYPICAL["pipe-loss"], TYPICAL["turnover"]


@pytest.mark.source("fluids: friction and loss coefficients of the same run put together")
def test_pipe_loss_against_fluids() -> None:
    import fluids

    found = run(worksheet("pipe-loss"), {**PIPE, "salinity": "0", "temp": "20"}).values
    velocity = 5 / 3600 / (3.14159265 / 4 * 0.04**2)
    factor = fluids.friction_factor(Re=fluids.Reynolds(V=velocity, D=0.04, nu=1.0034e-6), eD=1.5e-6 / 0.04)
    k = fluids.K_from_f(fd=factor, L=6, D=0.04) + 4 * 0.9 + 2.5 + 0.5 + 1.0
    assert found["velocity_m_s"] == pytest.approx(velocity, rel=1e-6)
    assert found["head_m"] == pytest.approx(fluids.head_from_K(K=k, V=velocity), rel=2e-3)


def test_says_which_bore_to_buy() -> None:
    assert "at least" in sentences(run(worksheet("pipe-loss"), {**PIPE, "flow": "20000"}))
    assert "bore is enough" in sentences(run(worksheet("pipe-loss"), PIPE))


@pytest.mark.source("Continuity by hand; common practice 3 to 6 an hour")
def test_turnover() -> None:
    found = run(worksheet("turnover"), TURNOVER)
    assert found.values["turnover_per_h"] == pytest.approx(4)
    assert found.values["whole_per_h"] == pytest.approx(24)
    assert found.values["least_l_h"] == pytest.approx(9000)
    assert "Leave the return" in sentences(found)
    assert "Raise the return" in sentences(run(worksheet("turnover"), {**TURNOVER, "flow": "6000"}))
    assert "is enough" in sentences(run(worksheet("turnover"), {**TURNOVER, "flow": "30000"}))


def test_us_units() -> None:
    assert_same_in_us_units(
        worksheet("pipe-loss"),
        {**PIPE, "temp": "25"},
        {**PIPE, "flow": "1320.86 gal/h", "bore": "1.5748 in", "length": "19.685 ft", "temp": "77 °F"},
    )


@pytest.mark.parametrize("typed", [{"flow": "nan"}, {"flow": "-5"}, {"bore": "0"}, {"bore": "40 bar"}])
def test_refuses(typed: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        run(worksheet("pipe-loss"), {**PIPE, **typed})


def test_an_absurd_speed_is_a_slip_of_units() -> None:
    with pytest.raises(BadInput, match="their units") as refused:
        run(worksheet("pipe-loss"), {**PIPE, "bore": "4", "flow": "20000"})
    assert "bore_mm" in refused.value.errors


@pytest.mark.source("common practice: quick valves hammer above 3 m/s; a suction side loses no more than 2 m")
def test_hammer_and_a_starved_pump_are_told() -> None:
    assert "hammers" in sentences(run(worksheet("pipe-loss"), {**PIPE, "flow": "20000"}))
    assert "starves" in sentences(run(worksheet("pipe-loss"), {**PIPE, "flow": "15000", "side": "suction"}))
    assert "starves" not in sentences(run(worksheet("pipe-loss"), {**PIPE, "side": "suction"}))
