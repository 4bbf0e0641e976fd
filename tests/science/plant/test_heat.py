import math
from itertools import pairwise
from typing import Any

import ht as untyped_ht
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import design_day, heat
from servicedesk.science.plant.air import moist_air
from servicedesk.science.plant.evaporation import evaporation_rate
from tests.science.published import published

ROOM = moist_air(temp_c=22, humidity_pct=50)
ht: Any = untyped_ht
TANK = heat.Tank(volume_l=6000, surface_m2=3.6, wall_m2=8, wall_u_w_m2k=3.0)


@pytest.mark.source("IAPWS R13-08 / TEOS-10: heat capacity of seawater")
def test_heat_capacity_of_seawater() -> None:
    entry = published("sw-cp")
    assert heat.seawater_cp_j_kg_k(25, 35) == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("CoolProp: seawater after Sharqawy et al. 2010 (MITSW)")
@pytest.mark.parametrize(("temp_c", "salinity"), [(10, 35), (25, 35), (30, 40), (25, 0.0)])
def test_heat_capacity_against_mitsw(temp_c: float, salinity: float) -> None:
    from CoolProp.CoolProp import PropsSI

    fluid = f"INCOMP::MITSW[{salinity * 35.16504 / 35 / 1000}]"
    heat_capacity, density = (PropsSI(key, "T", temp_c + 273.15, "P", 101325, fluid) for key in "CD")
    assert heat.heat_capacity_j_k(1000, temp_c, salinity) == pytest.approx(heat_capacity * density, rel=3e-3)


@pytest.mark.source("Resistances in series, by hand; Incropera ch. 3")
def test_wall() -> None:
    found = heat.wall_u_w_m2k([(0.038, 0.19), (0.05, 0.033)])
    assert 1 / found == pytest.approx(1 / 250 + 0.038 / 0.19 + 0.05 / 0.033 + 1 / 8)
    assert heat.wall_u_w_m2k([]) == pytest.approx(1 / (1 / 250 + 1 / 8))


@pytest.mark.source("Evaluated apart: 3.6 m², 25.5 °C, room 22 °C 50 %: evaporation takes 389 W")
def test_evaporation_of_a_tank() -> None:
    found = heat.exchange(TANK, temp_c=25.5, air=ROOM)
    assert found.evaporation_w == pytest.approx(-389, abs=5)
    assert found.walls_w == pytest.approx(-3.0 * 8 * 3.5)


@pytest.mark.source("Stefan-Boltzmann law, library ht")
def test_radiation() -> None:
    found = heat.exchange(TANK, temp_c=26, air=ROOM)
    assert found.radiation_w == pytest.approx(-3.6 * ht.radiation.q_rad(0.95, 299.15, 295.15), rel=1e-5)


@pytest.mark.source("Bowen ratio by its own formula, 66.5 Pa/K")
def test_convection() -> None:
    found = heat.exchange(TANK, temp_c=26, air=ROOM)
    from servicedesk.science.plant.evaporation import seawater_vapour_pa

    expected = found.evaporation_w * 66.5 * 4 / (seawater_vapour_pa(26, 35) - ROOM.vapour_pa)
    assert found.convection_w == pytest.approx(expected, rel=1e-6)


@pytest.mark.source("Natural convection over a warm plate is 1 to 10 W/m²K (Incropera table 1.1, from memory)")
@given(st.floats(10, 32), st.floats(10, 34), st.floats(20, 95))
def test_convection_is_of_a_sane_size(temp_c: float, room_c: float, humidity: float) -> None:
    air = moist_air(temp_c=room_c, humidity_pct=humidity)
    found = heat.exchange(TANK, temp_c=temp_c, air=air)
    if abs(room_c - temp_c) > 0.01:
        assert 1 < found.convection_w / (3.6 * (room_c - temp_c)) < 12


@given(st.floats(5, 40), st.floats(0.1, 3), st.floats(10, 90))
def test_losses_grow_with_the_difference(temp_c: float, warmer: float, humidity: float) -> None:
    air = moist_air(temp_c=20, humidity_pct=humidity)
    first, second = (heat.exchange(TANK, temp_c=t, air=air).total_w for t in (temp_c, temp_c + warmer))
    assert second < first


@given(st.floats(0, 1), st.floats(0, 1))
def test_lids_keep_water_in(one: float, other: float) -> None:
    from servicedesk.science.plant.failures import with_lids

    low, high = sorted((one, other))
    opened, covered = (heat.exchange(with_lids(TANK, s), temp_c=26, air=ROOM) for s in (low, high))
    assert covered.evaporation_kg_h <= opened.evaporation_kg_h
    assert covered.total_w >= opened.total_w


@pytest.mark.source("Common practice: all of a submerged pump, 0.6 of an external one, 0.4 of lamps")
def test_gains() -> None:
    assert heat.pump_heat_w(100, submerged=True) == 100
    assert heat.pump_heat_w(100, submerged=False) == pytest.approx(60)
    assert heat.lamp_heat_w(500) == pytest.approx(200)
    assert heat.sun_heat_w(2, 500, 0.6) == pytest.approx(600)


@pytest.mark.source("Energy balance by hand: 50 L of fresh water 10 K colder a day, 4.18 kJ/L·K")
def test_feed_water() -> None:
    assert heat.feed_water_w(50, feed_c=15, temp_c=25) == pytest.approx(-50 * 4175 * 10 / 86400, rel=2e-3)


EQUIPMENT = design_day.Equipment(
    submerged_pump_w=300, external_pump_w=800, other_w=110, lamp_w=1500, sun_w=300, people=10, top_off_c=25.5
)


@pytest.mark.source("First law: what is switched on, the sun and the people end in water and room")
@given(st.floats(15, 30), st.floats(16, 30), st.floats(25, 80))
def test_system_and_room_share_all_heat(temp_c: float, room_c: float, humidity: float) -> None:
    air = moist_air(temp_c=room_c, humidity_pct=humidity)
    equipment = design_day.Equipment(
        submerged_pump_w=300, external_pump_w=800, other_w=110, lamp_w=1500, sun_w=300, people=10, top_off_c=temp_c
    )
    day = design_day.design_day(TANK, temp_c=temp_c, room=[air] * 24, equipment=equipment)
    for hour in day.hours:
        lamps = 1500 * design_day.on_share(hour.hour, 10, 20)
        people = 10 * design_day.on_share(hour.hour, 9, 18) * 130
        given_w = 300 + 800 + 110 + lamps + people + hour.parts["Sun"]
        assert hour.total_w + hour.room_sensible_w + hour.room_latent_w == pytest.approx(given_w, abs=1e-6)


@pytest.mark.source("Energy balance: the day's mean is its heat over 24 hours")
def test_design_day() -> None:
    day = design_day.design_day(TANK, temp_c=25.5, room=[ROOM] * 24, equipment=EQUIPMENT)
    assert day.mean_w * 24 / 1000 == pytest.approx(day.gain_kwh - day.loss_kwh)
    assert day.coldest.total_w <= day.mean_w <= day.worst.total_w
    assert 12 <= day.worst.hour <= 13
    assert day.mean_part_w("Lamps") == pytest.approx(1500 * 0.4 * 10 / 24)
    rate = evaporation_rate(temp_c=25.5, air=ROOM)
    assert day.evaporation_l == pytest.approx(rate.kg_m2h * 3.6 * 24 / 0.997)


@pytest.mark.source("Sine wave: its mean over the half wave is 2/π")
def test_sun() -> None:
    shares = [design_day.sun_share(hour, 6, 18) for hour in range(24)]
    assert sum(shares) == pytest.approx(12 * 2 / math.pi, rel=5e-3)
    assert max(shares) <= 1


@given(st.floats(0, 24), st.floats(0, 24))
def test_hours_on(start: float, end: float) -> None:
    on = [design_day.on_share(hour, start, end) for hour in range(24)]
    assert all(0 <= share <= 1 for share in on)
    assert sum(on) == pytest.approx((end - start) % 24 if abs(end - start) < 24 else 24, abs=1e-9)
    assert len(list(pairwise(on))) == 23


def test_refusals() -> None:
    for bad in (math.nan, -1, math.inf, 0):
        with pytest.raises(ScienceError):
            heat.Tank(volume_l=bad, surface_m2=1, wall_m2=1, wall_u_w_m2k=3)
        with pytest.raises(ScienceError):
            heat.heat_capacity_j_k(bad, 25, 35)
    with pytest.raises(ScienceError):
        heat.Tank(volume_l=1, surface_m2=1, wall_m2=1, wall_u_w_m2k=3, open_share=1.5)
    with pytest.raises(ScienceError):
        heat.seawater_cp_j_kg_k(77, 35)
    with pytest.raises(ScienceError):
        heat.sun_heat_w(1, 5000)
    with pytest.raises(ScienceError, match="24"):
        design_day.design_day(TANK, temp_c=25, room=[ROOM], equipment=EQUIPMENT)
    with pytest.raises(ScienceError):
        design_day.Equipment(lamp_w=-1)
    with pytest.raises(ScienceError, match="sun"):
        design_day.Equipment(sun_w=100, sun_from_h=17, sun_to_h=9)
