"""Evaporation against the published tables of its formulas; cold surfaces against heat conduction of ht."""

import math
from typing import Any

import ht as untyped_ht
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.plant import evaporation
from servicedesk.science.plant.air import MoistAir, moist_air, saturation_pressure_pa
from tests.science.published import published

ht: Any = untyped_ht

ROOM = moist_air(temp_c=22, humidity_pct=50)


def published_air(inputs: dict[str, float]) -> MoistAir:
    return moist_air(temp_c=inputs["t_air_C"], humidity_pct=inputs["RH"] * 100)


@pytest.mark.source("IAPWS-IF97 / IAPWS-95: latent heat at 25 °C")
def test_latent_heat() -> None:
    entry = published("hfg-25")
    assert evaporation.latent_heat_kj_kg(25) == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("CoolProp: latent heat of water (IAPWS-95)")
@pytest.mark.parametrize("temp_c", [0.01, 10, 20, 25, 30, 45, 60])
def test_latent_heat_over_its_range(temp_c: float) -> None:
    vapour, liquid = (PropsSI("H", "T", temp_c + 273.15, "Q", quality, "Water") for quality in (1, 0))
    assert evaporation.latent_heat_kj_kg(temp_c) == pytest.approx((vapour - liquid) / 1000, rel=1.2e-4)


@pytest.mark.source("IAPWS R7-97 table 5, by CoolProp: the oracle of the water tests is itself right")
def test_oracle_of_water() -> None:
    entry = published("if97-v")
    density = PropsSI("D", "T", entry["inputs"]["T_K"], "P", entry["inputs"]["p_MPa"] * 1e6, "IF97::Water")
    assert 1 / density == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("TEOS-10 (gsw): chemical potential of the water in seawater")
@pytest.mark.parametrize("salinity", [10, 25, 35, 40])
@pytest.mark.parametrize("temp_c", [10, 25, 30])
def test_vapour_pressure_of_seawater(salinity: float, temp_c: float) -> None:
    import gsw

    absolute = salinity * 35.16504 / 35
    lowering_j_kg = 1000 * float(
        gsw.chem_potential_water_t_exact(absolute, temp_c, 0) - gsw.chem_potential_water_t_exact(0, temp_c, 0)
    )
    activity = math.exp(lowering_j_kg / (461.523 * (temp_c + 273.15)))
    found = evaporation.seawater_vapour_pa(temp_c, salinity)
    assert found == pytest.approx(activity * saturation_pressure_pa(temp_c), rel=1e-3)


@pytest.mark.source("Shah 2012-2014 look-up table of unoccupied pools")
@pytest.mark.parametrize("entry_id", ["pool-shah-1", "pool-shah-2"])
def test_shah(entry_id: str) -> None:
    entry = published(entry_id)
    found = evaporation.shah_kg_m2h(temp_c=entry["inputs"]["t_water_C"], air=published_air(entry["inputs"]))
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("ASHRAE HVAC Applications, natatoriums: pool equation")
def test_ashrae() -> None:
    entry = published("pool-ashrae")
    found = evaporation.ashrae_kg_m2h(
        temp_c=entry["inputs"]["t_water_C"], air=published_air(entry["inputs"]), air_m_s=entry["inputs"]["V_m_s"]
    )
    assert found == pytest.approx(entry["expected"], abs=entry["tolerance"])


@pytest.mark.source("ASHRAE HVAC Applications, natatoriums: inch-pound form (95 + 0.425 V)/Y, in Hg, ft/min")
def test_ashrae_in_inch_pounds() -> None:
    """The same formula in its other printed form, lb/h·ft² = (95 + 0.425 V)(pw − pa)/Y."""
    water_in_hg, air_in_hg = saturation_pressure_pa(26) / 3386.39, ROOM.vapour_pa / 3386.39
    latent_btu_lb = evaporation.latent_heat_kj_kg(26) / 2.326
    lb_h_ft2 = (95 + 0.425 * 0.1 / 0.00508) * (water_in_hg - air_in_hg) / latent_btu_lb
    found = evaporation.ashrae_kg_m2h(temp_c=26, air=ROOM, air_m_s=0.1)
    assert found == pytest.approx(lb_h_ft2 * 0.45359237 / 0.3048**2, rel=0.01)


@pytest.mark.source("Shah 2014 and ASHRAE by CoolProp properties: the larger of both")
def test_the_larger_of_both() -> None:
    state = ("T", 295.15, "R", 0.5, "P", 101325)
    surface = ("T", 298.65, "R", 1 - 0.000537 * 35, "P", 101325)
    room_da, surface_da = 1 / HAPropsSI("V", *state), 1 / HAPropsSI("V", *surface)
    by_hand = 35 * surface_da * (room_da - surface_da) ** (1 / 3) * (HAPropsSI("W", *surface) - HAPropsSI("W", *state))
    rate = evaporation.evaporation_rate(temp_c=25.5, air=ROOM)
    assert rate.source == "Shah 2014"
    assert rate.kg_m2h == pytest.approx(by_hand, rel=0.01)
    windy = evaporation.evaporation_rate(temp_c=25.5, air=ROOM, air_m_s=1.0, activity=1.0)
    assert windy.source == "ASHRAE Natatoriums"
    assert windy.kg_m2h == windy.ashrae_kg_m2h > rate.kg_m2h


@pytest.mark.source("Shah 2014 evaluated apart for 3.6 m² at 25.5 °C in a room of 22 °C, 50 %: 13.8 L/day")
def test_litres_a_day() -> None:
    rate = evaporation.evaporation_rate(temp_c=25.5, air=ROOM)
    calculated = evaporation.litres_a_day(rate.kg_m2h, 3.6)
    assert calculated == pytest.approx(13.8, abs=0.2)
    factor = evaporation.fitted_factor(20.7, calculated)
    assert evaporation.litres_a_day(rate.kg_m2h, 3.6, factor) == pytest.approx(20.7)


@given(st.floats(10, 32), st.floats(12, 30), st.floats(10, 90), st.floats(0, 2))
def test_more_where_the_air_is_drier_or_moves(temp_c: float, room_c: float, humidity: float, speed: float) -> None:
    def rate(pct: float, air_m_s: float) -> float:
        air = moist_air(temp_c=room_c, humidity_pct=pct)
        return evaporation.evaporation_rate(temp_c=temp_c, air=air, air_m_s=air_m_s).kg_m2h

    assert rate(humidity - 5, speed) > rate(humidity, speed)
    dry = moist_air(temp_c=room_c, humidity_pct=humidity).vapour_pa < evaporation.seawater_vapour_pa(temp_c, 35)
    assert not dry or rate(humidity, speed + 0.5) >= rate(humidity, speed) > 0


def test_condenses_on_cold_water() -> None:
    air = moist_air(temp_c=25, humidity_pct=70)
    assert evaporation.evaporation_rate(temp_c=12, air=air).kg_m2h < 0
    with pytest.raises(OutOfRange, match="nothing evaporates"):
        evaporation.shah_kg_m2h(temp_c=12, air=air)


@pytest.mark.source("Moisture balance by CoolProp's humidity ratios")
def test_air_change() -> None:
    outside = moist_air(temp_c=5, humidity_pct=80)
    inside_w, outside_w = (HAPropsSI("W", "T", t + 273.15, "R", r, "P", 101325) for t, r in ((22, 0.5), (5, 0.8)))
    dry_kg_h = 100 / HAPropsSI("V", "T", 278.15, "R", 0.8, "P", 101325)
    found = evaporation.air_change_kg_day(inside=ROOM, outside=outside, flow_m3_h=100)
    assert found == pytest.approx(dry_kg_h * 24 * (inside_w - outside_w), rel=3e-3)


@pytest.mark.source("Mass balance: what evaporates less what the outdoor air takes")
def test_dehumidifier() -> None:
    size = evaporation.dehumidifier_l_day(
        evaporation_l_day=20, people_kg_day=2, air_change_kg_day=6.94, nameplate_share=0.5
    )
    assert size == pytest.approx((20 * 0.997 + 2 - 6.94) / 0.997 / 0.5)
    assert evaporation.dehumidifier_l_day(evaporation_l_day=5, people_kg_day=0, air_change_kg_day=50) == 0


@pytest.mark.source("Mass balance: the room's moisture at rest")
@given(st.floats(18, 28), st.floats(0.5, 20), st.floats(50, 1000))
def test_room_left_alone_is_in_balance(room_c: float, area: float, flow: float) -> None:
    outside = moist_air(temp_c=5, humidity_pct=80)
    settled = evaporation.humidity_left_alone_pct(
        temp_c=25.5, room_c=room_c, area_m2=area, people_kg_day=0, outside=outside, flow_m3_h=flow
    )
    assert 0 < settled <= 100
    if settled < 100:
        inside = moist_air(temp_c=room_c, humidity_pct=settled)
        gain = evaporation.evaporation_rate(temp_c=25.5, air=inside).kg_m2h * area * 24
        taken = evaporation.air_change_kg_day(inside=inside, outside=outside, flow_m3_h=flow)
        assert gain == pytest.approx(taken, rel=1e-3, abs=1e-3)


def test_room_with_no_air_change_runs_wet_or_meets_the_water() -> None:
    still = evaporation.humidity_left_alone_pct(
        temp_c=26, room_c=20, area_m2=5, people_kg_day=0, outside=moist_air(temp_c=5, humidity_pct=80), flow_m3_h=0
    )
    assert still == 100


@pytest.mark.source("Plane wall: resistances in series, by hand")
def test_flat_surface() -> None:
    surface = evaporation.surface_temp_c(room_c=22, behind_c=8, u_w_m2k=4)
    assert surface == pytest.approx(22 - 4 * 14 / 8)
    thick = evaporation.insulation_flat_m(room_c=22, behind_c=8, dew_c=ROOM.dew_point_c + 5, u_w_m2k=4, spare_k=1)
    u_new = 1 / (1 / 4 + thick / 0.033)
    wall = evaporation.surface_temp_c(room_c=22, behind_c=8, u_w_m2k=u_new)
    assert wall == pytest.approx(ROOM.dew_point_c + 6)
    assert evaporation.insulation_flat_m(room_c=22, behind_c=20, dew_c=10, u_w_m2k=4) == 0


@pytest.mark.source("Cylinder in series, ht.conduction.R_cylinder")
def test_pipe_surface() -> None:
    """Heat per metre through the insulation (ht) and from its outside give the same surface."""
    insulation_r = ht.conduction.R_cylinder(Di=0.05, Do=0.05 + 2 * 0.02, k=0.033, L=1.0)
    surface_r = 1 / (8.0 * math.pi * 0.09)
    expected = 22 - (22 - 8) * surface_r / (surface_r + insulation_r)
    found = evaporation.pipe_surface_c(room_c=22, fluid_c=8, pipe_m=0.05, insulation_m=0.02)
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.source("Cylinder in series: the insulation is the inverse of the surface temperature")
@given(st.floats(18, 30), st.floats(30, 85), st.floats(0.015, 0.2))
def test_pipe_insulation_keeps_dry(room_c: float, humidity: float, pipe_m: float) -> None:
    dew = moist_air(temp_c=room_c, humidity_pct=humidity).dew_point_c
    thick = evaporation.insulation_pipe_m(room_c=room_c, fluid_c=7, dew_c=dew, pipe_m=pipe_m)
    surface = evaporation.pipe_surface_c(room_c=room_c, fluid_c=7, pipe_m=pipe_m, insulation_m=thick)
    assert surface >= dew + 1 - 0.01


def test_refusals() -> None:
    with pytest.raises(ScienceError):
        evaporation.latent_heat_kj_kg(math.nan)
    with pytest.raises(OutOfRange, match="air speed"):
        evaporation.ashrae_kg_m2h(temp_c=25, air=ROOM, air_m_s=12)
    with pytest.raises(OutOfRange, match="air temperature"):
        evaporation.shah_kg_m2h(temp_c=25, air=moist_air(temp_c=40, humidity_pct=20))
    with pytest.raises(OutOfRange, match="salinity"):
        evaporation.seawater_vapour_pa(25, 60)
    with pytest.raises(OutOfRange, match="dry the room"):
        evaporation.insulation_pipe_m(room_c=20, fluid_c=5, dew_c=19.9, pipe_m=0.05)
    with pytest.raises(ScienceError):
        evaporation.litres_a_day(0.1, -1)
    with pytest.raises(ScienceError):
        evaporation.fitted_factor(10, 0)


@pytest.mark.source("CoolProp: humid air that meets Shah's terms at the water and in the room")
def test_terms_of_shah() -> None:
    terms = evaporation.shah_terms(temp_c=25.5, air=ROOM)
    at, room = ("T", 298.65, "P", 101325, "R", 1.0), ("T", 295.15, "P", 101325, "R", 0.5)
    assert terms.water_kg_m3 == pytest.approx(1 / HAPropsSI("Vda", *at), rel=1e-3)
    assert terms.room_kg_m3 == pytest.approx(1 / HAPropsSI("Vda", *room), rel=1e-3)
    assert terms.water_ratio == pytest.approx(HAPropsSI("W", *at), rel=2e-3)
    assert terms.room_ratio == pytest.approx(HAPropsSI("W", *room), rel=2e-3)
    largest = max(terms.natural_kg_m2h, terms.forced_kg_m2h)
    assert evaporation.shah_kg_m2h(temp_c=25.5, air=ROOM) == pytest.approx(largest)
