import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water.carbonate import constants, solve
from servicedesk.science.water.day import Day, light, light_hours, settled_day
from tests.science.published import published


def a_day(**over: object) -> Day:
    day = Day(
        mass_kg=10232,
        salinity=35,
        temp_c=25.5,
        alkalinity_umol_kg=2700.0,
        photosynthesis_umol_kg_day=400.0,
        respiration_umol_kg_day=400.0,
        calcification_umol_kg_day=100.0,
        light_on_h=9,
        light_off_h=21,
        exchange_per_h=0.5,
        room_pco2_uatm=550.0,
    )
    return replace(day, **over)  # type: ignore[arg-type]


@pytest.mark.source("two codes (RK2 with own solver; scipy with a PyCO2SYS table): lowest pH of the settled day")
def test_the_settled_day_holds_the_computed_value() -> None:
    value = published("diurnal-const-min")
    course = settled_day(a_day(limewater_l=(50 / 24,) * 24))
    assert course.lowest[1] == pytest.approx(value["expected"], abs=value["tolerance"])
    assert course.highest[1] == pytest.approx(8.374, abs=0.02)


@pytest.mark.source(
    "scipy solve_ivp over many days with CO2 and pH by PyCO2SYS: another integrator and another chemistry"
)
def test_the_settled_day_agrees_with_another_integrator_and_another_carbonate_code() -> None:
    import PyCO2SYS
    from scipy.integrate import solve_ivp

    day = a_day(limewater_l=tuple(6.0 if hour < 8 else 0.0 for hour in range(24)))
    course = settled_day(day)
    dics = np.linspace(1800, 2600, 161)
    alks = np.linspace(2600, 2950, 36)
    grid = np.meshgrid(dics, alks, indexing="ij")
    table = PyCO2SYS.sys(
        par1=grid[1], par2=grid[0], par1_type=1, par2_type=2, salinity=35, temperature=25.5,
        opt_k_carbonic=10, opt_total_borate=2,
    )  # fmt: skip
    from scipy.interpolate import RectBivariateSpline

    co2 = RectBivariateSpline(dics, alks, table["CO2"])
    ph = RectBivariateSpline(dics, alks, table["pH"])
    k0 = constants(35.0, 25.5).k0
    rest = 200 - 48 * 2e6 * 0.0203 / 10232

    def change(hour: float, state: np.ndarray) -> list[float]:
        dic, alk = state
        s = light(hour % 24, 9, 21)
        lime = 2e6 * 0.0203 / 10232 * (6.0 if hour % 24 < 8 else 0.0)
        calcified = 100 * (0.3 / 24 + 0.7 * s)
        gas = 0.5 * (k0 * 550 - float(co2(dic, alk)[0, 0]))
        return [400 / 24 - 400 * s - calcified + rest / 24 + gas, rest / 24 + lime - 2 * calcified]

    settled = solve_ivp(change, (0, 24 * 20), [2300.0, 2700.0], max_step=0.5, rtol=1e-6, dense_output=True)
    for hour in (0, 4, 8, 12, 16, 20):
        dic, alk = settled.sol(24 * 19 + hour)
        assert course.ph_at(hour) == pytest.approx(float(ph(dic, alk)[0, 0]), abs=0.004)


@given(st.floats(0, 23.9), st.floats(2, 20))
def test_the_light_of_a_day_sums_to_one(on: float, hours: float) -> None:
    off = (on + hours) % 24
    total = sum(light(step / 200, on, off) / 200 for step in range(24 * 200))
    assert light_hours(on, off) == pytest.approx(hours)
    assert total == pytest.approx(1.0, abs=0.01)


def test_the_day_repeats_itself_and_conserves_alkalinity() -> None:
    course = settled_day(a_day(limewater_l=(5.0,) * 8 + (0.0,) * 16))
    assert course.ph_total[0] == pytest.approx(course.ph_total[-1], abs=1e-4)
    assert course.alkalinity_umol_kg[0] == pytest.approx(course.alkalinity_umol_kg[-1], abs=0.02)


def test_the_ph_of_the_course_belongs_to_its_alkalinity_and_carbon() -> None:
    course = settled_day(a_day())
    for index in (0, 30, 70):
        water = solve(
            35, 25.5, alkalinity_umol_kg=course.alkalinity_umol_kg[index], dic_umol_kg=course.dic_umol_kg[index]
        )
        assert course.ph_total[index] == pytest.approx(water.ph_total, abs=1e-4)


def test_a_dark_dead_tank_stands_at_the_ph_of_the_room() -> None:
    dead = a_day(photosynthesis_umol_kg_day=0.0, respiration_umol_kg_day=0.0, calcification_umol_kg_day=0.0)
    course = settled_day(dead)
    room = solve(35, 25.5, alkalinity_umol_kg=2700, pco2_uatm=550).ph_total
    assert course.lowest[1] == pytest.approx(room, abs=1e-3)
    assert course.highest[1] == pytest.approx(room, abs=1e-3)


def test_many_variants_at_once_give_what_each_gives_alone() -> None:
    rates = np.array([200.0, 400.0, 600.0])
    together = settled_day(a_day(photosynthesis_umol_kg_day=rates, respiration_umol_kg_day=rates))
    for index, rate in enumerate(rates):
        alone = settled_day(a_day(photosynthesis_umol_kg_day=float(rate), respiration_umol_kg_day=float(rate)))
        assert together.ph_total[40][index] == pytest.approx(alone.ph_total[40], abs=1e-4)


@pytest.mark.parametrize("richer", [800.0, 1200.0])
def test_stale_room_air_lowers_the_ph(richer: float) -> None:
    assert settled_day(a_day(room_pco2_uatm=richer)).highest[1] < settled_day(a_day()).highest[1]
    assert settled_day(a_day(room_pco2_uatm=richer)).lowest[1] < settled_day(a_day()).lowest[1]


@pytest.mark.source("stoichiometry: at one delivery limewater stands highest, then carbonate, then bicarbonate")
def test_the_supply_of_alkalinity_moves_the_ph() -> None:
    ph = [settled_day(a_day(rest=kind)).lowest[1] for kind in ("bicarbonate", "carbonate", "hydroxide")]
    assert ph == sorted(ph)


def test_lime_beyond_what_the_air_can_feed_is_refused_in_words() -> None:
    with pytest.raises(ScienceError, match="Room air"):
        settled_day(a_day(rest="hydroxide", calcification_umol_kg_day=400.0, exchange_per_h=0.2))


@pytest.mark.parametrize(
    "over",
    [
        {"mass_kg": 0},
        {"temp_c": math.nan},
        {"limewater_l": (1.0,)},
        {"rest": "milk"},
        {"light_on_h": 31},
    ],
)
def test_days_that_cannot_be_are_refused(over: dict[str, object]) -> None:
    with pytest.raises(ScienceError):
        settled_day(a_day(**over))
