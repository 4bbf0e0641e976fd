"""Drift of temperature against closed forms, and the heaters and failures that rest on it."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import drift, failures, heat, heater
from servicedesk.science.plant.air import moist_air

TANK = heat.Tank(volume_l=6000, surface_m2=4.5, wall_m2=8, wall_u_w_m2k=3.0)
ROOM = failures.RoomDrift(start_c=23, humidity_pct=50, end_c=23)
CAPACITY = 4.1e6


@pytest.mark.source("Newton's law of cooling, closed form")
@given(st.floats(15, 35), st.floats(5, 40), st.floats(20, 500))
@settings(max_examples=25)
def test_newtons_cooling(start_c: float, room_c: float, ua: float) -> None:
    found = drift.drift(lambda _h, t: ua * (room_c - t), capacity_j_k=CAPACITY, start_c=start_c, hours=24)
    for hour, temp_c in zip(found.hours, found.temp_c, strict=True):
        exact = room_c + (start_c - room_c) * math.exp(-ua * hour * 3600 / CAPACITY)
        assert temp_c == pytest.approx(exact, abs=2e-3)


@pytest.mark.source("Newton's law of cooling, closed form: time to a limit")
def test_time_to_a_limit() -> None:
    found = drift.drift(lambda _h, t: 100 * (15 - t), capacity_j_k=CAPACITY, start_c=25, hours=48, limit_c=22)
    assert found.limit_h == pytest.approx(CAPACITY / 100 * math.log(10 / 7) / 3600, rel=1e-4)
    never = drift.drift(lambda _h, t: 100 * (23 - t), capacity_j_k=CAPACITY, start_c=25, hours=48, limit_c=22)
    assert never.limit_h is None
    assert drift.drift(lambda _h, _t: 1.0, capacity_j_k=CAPACITY, start_c=25, hours=1, limit_c=25).limit_h == 0


@pytest.mark.source("Energy balance by hand: steady heat warms in a straight line and is not followed past 45 °C")
def test_stops_where_the_formulas_end() -> None:
    found = drift.drift(lambda _h, _t: 10_000.0, capacity_j_k=4.1e5, start_c=25, hours=48, limit_c=30)
    assert found.limit_h == pytest.approx(5 * 4.1e5 / 10_000 / 3600, rel=1e-4)
    assert found.last_c == pytest.approx(45, abs=1e-3)
    assert found.hours[-1] == pytest.approx(20 * 4.1e5 / 10_000 / 3600, rel=1e-4)


@pytest.mark.source("Energy balance by hand: rest where loss equals gain")
def test_settles() -> None:
    assert drift.settles_c(lambda t: 500 + 100 * (20 - t)) == pytest.approx(25, abs=1e-3)
    assert drift.settles_c(lambda t: 50_000 - t) is None


@pytest.mark.source("Euler steps of ten seconds of the same energy balance")
def test_failure_stepped() -> None:
    case = failures.Case("lamps on", 1400, TANK)
    found = failures.temperature_after(case, start_c=25.8, room=ROOM, hours=12)
    air, temp_c = moist_air(temp_c=23, humidity_pct=50), 25.8
    capacity = heat.heat_capacity_j_k(6000, 25.8, 35)
    for _step in range(12 * 60):
        temp_c += 60 * (1400 + heat.exchange(TANK, temp_c=temp_c, air=air).total_w) / capacity
    assert found.last_c == pytest.approx(temp_c, abs=2e-3)


def test_lamps_lids_and_fans_order() -> None:
    """Lamps and lids warm, fans cool: the order in which the limit is met."""
    cases = [
        failures.Case("lamps, lids", 1400, failures.with_lids(TANK, 0.9)),
        failures.Case("lamps", 1400, TANK),
        failures.Case("no lamps", 800, TANK),
        failures.Case("no lamps, fans", 800, failures.with_fans(TANK)),
    ]
    ends = [failures.temperature_after(case, start_c=25.8, room=ROOM, hours=24).last_c for case in cases]
    assert ends == sorted(ends, reverse=True)


@pytest.mark.source("Energy balance: it bends, so the straight line is too early")
def test_not_a_straight_line() -> None:
    case = failures.Case("lamps", 1400, TANK)
    found = failures.temperature_after(case, start_c=25.8, room=ROOM, hours=96, limit_c=28)
    straight = failures.straight_line_h(case, start_c=25.8, limit_c=28, room=ROOM)
    assert straight is not None
    assert found.limit_h is not None
    assert found.limit_h > straight * 1.1
    assert failures.straight_line_h(case, start_c=25.8, limit_c=22, room=ROOM) is None


def test_comes_to_rest_where_it_says() -> None:
    case = failures.Case("no lamps", 900, TANK)
    rest = failures.settling_c(case, ROOM)
    end = failures.temperature_after(case, start_c=25.8, room=ROOM, hours=24 * 30).last_c
    assert rest == pytest.approx(end, abs=0.02)


@pytest.mark.source("First-order room: 63 % of the way in its time constant")
def test_room_drifts() -> None:
    room = failures.RoomDrift(start_c=22, humidity_pct=50, end_c=32, time_h=6)
    assert room.temp_c(6) == pytest.approx(32 - 10 / math.e)
    assert room.air(48).vapour_pa == pytest.approx(room.air(0).vapour_pa, rel=1e-6)
    cold = failures.RoomDrift(start_c=22, humidity_pct=60, end_c=2, time_h=1)
    assert cold.air(24).humidity_pct == 100


def test_heat_by_the_hour() -> None:
    case = failures.Case("lamps by the clock", 0, TANK)
    by_hour = failures.temperature_after(case, start_c=25, room=ROOM, hours=6, heat_at=lambda _h: 1000)
    steady = failures.temperature_after(failures.Case("", 1000, TANK), start_c=25, room=ROOM, hours=6)
    assert by_hour.last_c == pytest.approx(steady.last_c)


def loose(temp_c: float) -> float:
    return 100 * (18 - temp_c)


@pytest.mark.source("Newton's law with a heater, closed form")
def test_heat_up() -> None:
    hours = heater.heat_up_h(2000, loose_w=loose, capacity_j_k=CAPACITY, start_c=15, target_c=25)
    exact = CAPACITY / 100 * math.log((38 - 15) / (38 - 25)) / 3600
    assert hours == pytest.approx(exact, rel=1e-4)
    assert heater.heat_up_h(500, loose_w=loose, capacity_j_k=CAPACITY, start_c=15, target_c=25) is None


@pytest.mark.source("Newton's law with a heater stuck on, closed form")
def test_stuck_on() -> None:
    found = heater.stuck_on(1500, loose_w=loose, capacity_j_k=CAPACITY, start_c=25, hours=12, limit_c=28)
    exact = 33 + (25 - 33) * math.exp(-100 * 12 * 3600 / CAPACITY)
    assert found.last_c == pytest.approx(exact, abs=2e-3)
    largest = heater.largest_unit_w(
        loose_w=loose, capacity_j_k=CAPACITY, start_c=25, limit_c=28, hours=12, most_w=10_000
    )
    end = heater.stuck_on(largest, loose_w=loose, capacity_j_k=CAPACITY, start_c=25, hours=12).last_c
    assert end == pytest.approx(28, abs=0.01)
    assert (
        heater.largest_unit_w(
            loose_w=lambda _t: 9e4, capacity_j_k=CAPACITY, start_c=25, limit_c=28, hours=12, most_w=100
        )
        == 0
    )


@pytest.mark.source("Common practice: losses × 1.25 over two units or more")
def test_heater_size() -> None:
    found = heater.size(1000, units=3)
    assert (found.total_w, found.unit_w) == (1250, pytest.approx(1250 / 3))
    assert found.lost_cover == pytest.approx(1250 * 2 / 3 / 1000)
    assert heater.size(-50).total_w == 0
    with pytest.raises(ScienceError, match="two"):
        heater.size(1000, units=1)


def test_refusals() -> None:
    with pytest.raises(ScienceError):
        drift.drift(lambda _h, _t: 1.0, capacity_j_k=0, start_c=25, hours=1)
    with pytest.raises(ScienceError):
        drift.drift(lambda _h, _t: 1.0, capacity_j_k=1, start_c=math.nan, hours=1)
    with pytest.raises(ScienceError):
        failures.temperature_after(failures.Case("", -5, TANK), start_c=25, room=ROOM, hours=1)
    with pytest.raises(ScienceError):
        failures.with_fans(TANK, 50)
    with pytest.raises(ScienceError, match="above"):
        heater.heat_up_h(1, loose_w=loose, capacity_j_k=1, start_c=25, target_c=20)
    with pytest.raises(ScienceError, match="above"):
        heater.largest_unit_w(loose_w=loose, capacity_j_k=1, start_c=25, limit_c=20, hours=1, most_w=1)


@pytest.mark.source("Newton's law of cooling, closed form: a vessel that settles within seconds")
def test_a_stiff_vessel_is_followed_in_few_steps() -> None:
    asked = 0

    def net_w(_hours: float, temp_c: float) -> float:
        nonlocal asked
        asked += 1
        return 2000.0 * (20 - temp_c) + 4000

    found = drift.drift(net_w, capacity_j_k=4000, start_c=30, hours=96, limit_c=22.5)
    assert found.last_c == pytest.approx(22, abs=1e-3)
    assert found.limit_h == pytest.approx(math.log(8 / 0.5) * 2 / 3600, rel=1e-3)
    assert asked < 5000


@pytest.mark.source("By hand: 1 K an hour, from 25 °C past 26 °C after one hour, before 20 °C")
def test_the_first_limit_counts() -> None:
    found = drift.drift(lambda _h, _t: 1000.0, capacity_j_k=3.6e6, start_c=25, hours=12, limit_c=(20, 30, 26))
    assert (found.limit_h, found.met_c) == (pytest.approx(1, rel=1e-4), 26)
    none = drift.drift(lambda _h, _t: 0.0, capacity_j_k=3.6e6, start_c=25, hours=12, limit_c=(20, 30))
    assert (none.limit_h, none.met_c) == (None, None)
