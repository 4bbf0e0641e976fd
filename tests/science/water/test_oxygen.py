from math import log

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.plant.air import saturation_pressure_pa
from servicedesk.science.water import oxygen
from tests.science.published import published


@pytest.mark.source("Garcia & Gordon 1992: check value of the Benson & Krause coefficients, S 35, 10 °C")
def test_saturation_check_value() -> None:
    value = published("o2-10-35")
    found = oxygen.saturation_umol_kg(value["inputs"]["S"], value["inputs"]["t_C"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("Garcia & Gordon 1992: S 35, 25 °C in mg/L")
def test_saturation_in_mg_l() -> None:
    value = published("o2-25-35")
    found = oxygen.saturation_mg_l(value["inputs"]["S"], value["inputs"]["t_C"])
    assert found == pytest.approx(value["expected"], abs=value["tolerance"])


@pytest.mark.source("gsw (TEOS-10 toolbox) O2sol_SP_pt as an independent library")
@given(salinity=st.floats(0, 40), temp_c=st.floats(5, 34))
def test_saturation_against_gsw(salinity: float, temp_c: float) -> None:
    expected = float(gsw.O2sol_SP_pt(salinity, temp_c))
    assert oxygen.saturation_umol_kg(salinity, temp_c) == pytest.approx(expected, rel=2e-4)


@pytest.mark.source(
    "USGS tables of dissolved oxygen (from memory): fresh water, 20 °C: 9.09 at 760 mmHg, 8.35 at 700 mmHg"
)
def test_saturation_at_altitude() -> None:
    assert oxygen.saturation_mg_l(0, 20) == pytest.approx(9.09, abs=0.02)
    altitude_m = 685.0  # 700 mmHg in the standard atmosphere
    assert oxygen.saturation_mg_l(0, 20, altitude_m) == pytest.approx(8.35, abs=0.03)


@pytest.mark.source("ASHRAE Fundamentals (Hyland & Wexler) with Raoult's law for seawater, as an independent formula")
@given(salinity=st.floats(0, 40), temp_c=st.floats(5, 35))
def test_vapour_pressure(salinity: float, temp_c: float) -> None:
    expected = saturation_pressure_pa(temp_c) * (1 - 0.000537 * salinity) / 101325
    assert oxygen.vapour_share(salinity, temp_c) == pytest.approx(expected, rel=5e-3)


@pytest.mark.source("mass balance: mg/L an hour of each part by hand")
def test_demand() -> None:
    found = oxygen.demand(
        volume_l=2000,
        fish_kg=2,
        fish_mg_kg_h=300,
        feed_g_day=48,
        oxygen_per_feed=0.5,
        nitrified_g_n_day=4.8,
        reef_mg_l_h=0.2,
        carbon_oxygen_g_day=9.6,
    )
    assert found.fish == pytest.approx(0.3)
    assert found.feed == pytest.approx(0.5)  # 24 g/day = 1 g/h in 2000 L
    assert found.nitrification == pytest.approx(0.457, abs=0.001)
    assert found.carbon == pytest.approx(0.2)
    assert found.total == pytest.approx(0.3 + 0.5 + 0.457 + 0.2 + 0.2, abs=0.001)


@pytest.mark.source("mass balance: where use and exchange are equal")
@given(use=st.floats(0.05, 1.0), exchange=st.floats(0.3, 3.0))
def test_exchange_explains_the_reading_before_lights_on(use: float, exchange: float) -> None:
    night = 6.8 - use / exchange
    if night > 0:
        back = oxygen.exchange_from_dawn_per_h(saturation_mg_l=6.8, dawn_mg_l=night, use_mg_l_h=use)
        assert back == pytest.approx(exchange)


@pytest.mark.source("mass balance: over the settled day, air gives what use exceeds light's production by")
@given(use=st.floats(0.05, 0.6), production=st.floats(0, 12), exchange=st.floats(0.3, 2))
def test_settled_day_closes(use: float, production: float, exchange: float) -> None:
    hours, found = oxygen.settled_day(
        saturation_mg_l=6.8, use_mg_l_h=use, production_mg_l_day=production, exchange_per_h=exchange
    )
    assert found[0] == pytest.approx(found[-1])
    from_air = exchange * float(np.trapezoid(6.8 - np.array(found), hours))
    assert from_air == pytest.approx(24 * use - production, abs=0.02)


@pytest.mark.source("scipy solve_ivp as an independent integrator, ten days to settle")
def test_settled_day_against_integration() -> None:
    def slope(hour: float, oxygen_mg_l: np.ndarray) -> np.ndarray:
        since = (hour - 9) % 24
        light = np.pi / 24 * np.sin(np.pi * since / 12) if since < 12 else 0.0
        return 0.8 * (6.8 - oxygen_mg_l) + 8.0 * light - 0.4

    course = solve_ivp(slope, (0, 240), [6.0], max_step=0.1, dense_output=True)
    hours, found = oxygen.settled_day(saturation_mg_l=6.8, use_mg_l_h=0.4, production_mg_l_day=8.0, exchange_per_h=0.8)
    expected = course.sol(216 + np.array(hours))[0]
    assert np.max(np.abs(np.array(found) - expected)) < 0.01
    assert min(found) >= 6.8 - 0.4 / 0.8 - 1e-9  # where use and exchange are equal


@pytest.mark.source("closed form (C0 − Cmin) V / R of a sealed surface")
@given(start=st.floats(5.5, 8), use=st.floats(0.1, 2))
def test_outage_without_exchange(start: float, use: float) -> None:
    found = oxygen.after_flow_stops(
        start_mg_l=start, saturation_mg_l=6.8, use_mg_l_h=use, volume_l=5000, surface_m2=0, limits_mg_l=(5, 4)
    )
    for limit, reached in zip((5, 4), found.reached_h, strict=True):
        expected = oxygen.hours_without_air(start_mg_l=start, least_mg_l=limit, use_mg_l_h=use)
        assert reached == pytest.approx(expected, rel=1e-4)


@pytest.mark.source("closed form of first-order approach: t = ln[(C0 − C∞)/(Cmin − C∞)]/k")
@given(use=st.floats(0.3, 1.5), transfer=st.floats(0.5, 5))
def test_outage_with_exchange(use: float, transfer: float) -> None:
    k = transfer / 100 * 4.0 * 1000 / 3000
    settled = 6.8 - use / k
    found = oxygen.after_flow_stops(
        start_mg_l=6.5,
        saturation_mg_l=6.8,
        use_mg_l_h=use,
        volume_l=3000,
        surface_m2=4,
        transfer_cm_h=transfer,
        limits_mg_l=(4,),
        span_h=120,
    )
    reached = found.reached_h[0]
    if settled < 3.9:
        assert reached == pytest.approx(log((6.5 - settled) / (4 - settled)) / k, rel=1e-3)
    elif settled > 4.0:
        assert reached is None


@pytest.mark.source("physics: oxygen never falls under nothing; more air, more time")
def test_outage_never_below_nothing_and_air_helps() -> None:
    def course(air: float) -> oxygen.Outage:
        return oxygen.after_flow_stops(
            start_mg_l=6.5, saturation_mg_l=6.8, use_mg_l_h=1.0, volume_l=3000, surface_m2=3, air_per_h=air
        )

    alone, aired = course(0.0), course(0.2)
    assert min(alone.oxygen_mg_l) >= 0
    assert alone.reached_h[1] is not None
    assert aired.reached_h[1] is not None
    assert aired.reached_h[1] > alone.reached_h[1]
    assert course(2.0).reached_h[1] is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_oxygen_refuses(bad: float) -> None:
    for call in (
        lambda: oxygen.saturation_umol_kg(bad, 25),
        lambda: oxygen.saturation_mg_l(35, bad),
        lambda: oxygen.demand(volume_l=bad),
        lambda: oxygen.after_flow_stops(start_mg_l=bad, saturation_mg_l=6.8, use_mg_l_h=1, volume_l=100, surface_m2=1),
        lambda: oxygen.after_flow_stops(start_mg_l=6, saturation_mg_l=6.8, use_mg_l_h=1, volume_l=100, surface_m2=bad),
        lambda: oxygen.settled_day(saturation_mg_l=6.8, use_mg_l_h=bad, production_mg_l_day=1, exchange_per_h=1),
        lambda: oxygen.hours_without_air(start_mg_l=bad, least_mg_l=4, use_mg_l_h=1),
    ):
        with pytest.raises(ScienceError):
            call()


def test_oxygen_names_what_cannot_be() -> None:
    with pytest.raises(OutOfRange, match="not water"):
        oxygen.demand(volume_l=20, fish_kg=20)
    with pytest.raises(OutOfRange, match="altitude"):
        oxygen.saturation_mg_l(35, 25, 6000)
    with pytest.raises(OutOfRange, match="below saturation"):
        oxygen.exchange_from_dawn_per_h(saturation_mg_l=6.8, dawn_mg_l=7.2, use_mg_l_h=0.3)
    with pytest.raises(OutOfRange, match="same hour"):
        oxygen.settled_day(
            saturation_mg_l=6.8,
            use_mg_l_h=0.3,
            production_mg_l_day=5,
            exchange_per_h=1,
            lights_on_h=9,
            lights_off_h=9,
        )
