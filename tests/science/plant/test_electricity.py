import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import electricity
from servicedesk.science.plant.electricity import Load

LOADS = st.lists(
    st.builds(Load, st.sampled_from(["flow", "heat", "light", "other"]), st.floats(5, 1500), st.floats(0, 24)),
    min_size=1,
    max_size=12,
)


@pytest.mark.source("Ohm's and Joule's law by hand: 1800 W on 120 V is 15 A; power factor 0.8 makes it 18.75 A")
def test_current() -> None:
    assert electricity.current_a(power_w=1800, voltage_v=120) == pytest.approx(15)
    assert electricity.current_a(power_w=1800, voltage_v=120, power_factor=0.8) == pytest.approx(18.75)


@pytest.mark.source("Balanced three-phase power by hand, √3·V·I·cos φ: 10 kW at 400 V and 0.9 is 16.04 A")
def test_three_phase_current() -> None:
    assert electricity.current_a(power_w=10e3, voltage_v=400, power_factor=0.9, phases=3) == pytest.approx(
        16.04, abs=0.01
    )
    assert electricity.phase_factor(1) == 1
    with pytest.raises(ScienceError, match="phases"):
        electricity.phase_factor(2)


@pytest.mark.source("NEC 210.20(A): a continuous load takes 80 % of a breaker, 1920 W on 20 A and 120 V (from memory)")
def test_continuous_limit() -> None:
    assert electricity.circuit_limit_w(breaker_a=20, voltage_v=120) == pytest.approx(1920)
    assert electricity.circuit_limit_w(breaker_a=15, voltage_v=120) == pytest.approx(1440)


@given(LOADS)
def test_split_keeps_every_load_within_the_limit(found: list[Load]) -> None:
    circuits = electricity.split_circuits(found, limit_w=1920)
    held = [load for circuit in circuits for load in circuit.loads]
    assert sorted(held, key=repr) == sorted(found, key=repr)
    assert all(circuit.power_w <= 1920 + 1e-6 for circuit in circuits)
    flow_pumps = sum(load.use == "flow" for load in found)
    assert electricity.one_trip_leaves_flow(circuits) == (flow_pumps >= 2)


def test_one_pump_cannot_be_parted() -> None:
    circuits = electricity.split_circuits([Load("flow", 200), Load("heat", 500)], limit_w=1920)
    assert not electricity.one_trip_leaves_flow(circuits)
    assert [circuit.carries_flow for circuit in circuits].count(True) == 1


@pytest.mark.source("Energy by hand: 100 W all day and 500 W for 12 h are 8.4 kWh")
def test_energy() -> None:
    assert electricity.energy_kwh_day([Load("flow", 100), Load("light", 500, 12)]) == pytest.approx(8.4)


@pytest.mark.source("Energy by hand: 100 W for 8 h through 90 % and 80 % usable is 1111 Wh")
def test_standby() -> None:
    assert electricity.standby_wh(power_w=100, hours=8, efficiency=0.9, usable_share=0.8) == pytest.approx(1111.1, 1e-4)


@given(st.floats(10, 5000), st.floats(0.5, 48))
def test_standby_inverse(power: float, hours: float) -> None:
    battery = electricity.standby_wh(power_w=power, hours=hours, efficiency=0.85, usable_share=0.8)
    back = electricity.standby_h(battery_wh=battery, power_w=power, efficiency=0.85, usable_share=0.8)
    assert back == pytest.approx(hours)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -100.0])
def test_refuses_impossible_power(bad: float) -> None:
    with pytest.raises(ScienceError):
        electricity.current_a(power_w=bad, voltage_v=120)
    with pytest.raises(ScienceError):
        electricity.energy_kwh_day([Load("flow", bad)])


def test_refuses_a_load_no_circuit_carries() -> None:
    with pytest.raises(ScienceError, match="larger breaker"):
        electricity.split_circuits([Load("heat", 3000)], limit_w=1920)


def test_refuses_a_day_of_thirty_hours() -> None:
    with pytest.raises(ScienceError):
        electricity.energy_kwh_day([Load("flow", 100, 30)])
