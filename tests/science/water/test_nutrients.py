from dataclasses import replace
from math import exp, inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import algae, nutrients
from tests.science.published import published

LOADS = st.floats(0.5, 30)
SHARES = st.floats(0.002, 0.1)


@pytest.mark.source("Ratio of molar masses (molmass): NO3 per N 4.4267, PO4 per P 3.0662")
def test_loads_from_what_is_fed() -> None:
    value = published("no3-n")
    assert pytest.approx(value["expected"], abs=value["tolerance"]) == nutrients.NO3_PER_N
    assert pytest.approx(3.0662, abs=1e-3) == nutrients.PO4_PER_P
    whole = nutrients.fate(retained=0.0, solids=0.0)
    assert nutrients.nitrate_load_g_day(1.0, whole) == pytest.approx(value["expected"], abs=value["tolerance"])
    assert nutrients.phosphate_load_g_day(1.0, whole) == pytest.approx(3.0662, abs=1e-3)


@pytest.mark.source(
    "common practice: of nitrogen fed 25 % is retained, 55 to 65 % dissolves, 10 to 20 % goes as solids"
)
def test_fate_of_nitrogen() -> None:
    assert 0.55 <= nutrients.NITROGEN_FATE.dissolved <= 0.65
    assert nutrients.PHOSPHORUS_FATE.retained == pytest.approx(0.30)


@pytest.mark.source("closed form of a continuous water change: cn + (c0 − cn) exp(−v/V)")
@given(start=st.floats(1, 50), new=st.floats(0, 1), share=SHARES, days=st.floats(0, 60))
def test_continuous_water_change(start: float, new: float, share: float, days: float) -> None:
    system = nutrients.balance(volume_l=2000, load_g_day=0, changed_per_day=share, new_mg_l=new)
    assert system.after_days(start, days) == pytest.approx(new + (start - new) * exp(-share * days))


@pytest.mark.source("scipy solve_ivp as an independent integrator")
@given(load=LOADS, lost=SHARES, changed=SHARES)
def test_course_against_integration(load: float, lost: float, changed: float) -> None:
    system = nutrients.balance(
        volume_l=5000, load_g_day=load, fixed_g_day=0.2, lost_per_day=lost, changed_per_day=changed, new_mg_l=0.5
    )

    def slope(_day: float, c: np.ndarray) -> np.ndarray:
        return (load - 0.2) * 1000 / 5000 - lost * c - changed * (c - 0.5)

    expected = solve_ivp(slope, (0, 45), [8.0], rtol=1e-9, atol=1e-9).y[0][-1]
    assert system.after_days(8.0, 45) == pytest.approx(expected, rel=1e-5)


@pytest.mark.source("mass balance: the parts at the settled value sum to nothing")
@given(load=LOADS, lost=SHARES, changed=SHARES, fixed=st.floats(0, 0.4))
def test_settled_value_closes(load: float, lost: float, changed: float, fixed: float) -> None:
    system = nutrients.balance(
        volume_l=5000, load_g_day=load, fixed_g_day=fixed, lost_per_day=lost, changed_per_day=changed, new_mg_l=1.0
    )
    assert sum(system.parts_g_day(system.steady_mg_l).values()) == pytest.approx(0.0, abs=1e-9 * load + 1e-9)
    assert system.after_days(system.steady_mg_l, 30) == pytest.approx(system.steady_mg_l)


@pytest.mark.source("mass balance: putting the export or feed found back in holds the target")
@given(load=st.floats(5, 30), target=st.floats(3, 20), lost=SHARES)
def test_what_holds_a_target(load: float, target: float, lost: float) -> None:
    system = nutrients.balance(volume_l=5000, load_g_day=load, lost_per_day=lost, changed_per_day=0.01)
    missing = system.export_needed_g_day(target)
    if missing > 0:
        mended = nutrients.balance(
            volume_l=5000, load_g_day=load, fixed_g_day=missing, lost_per_day=lost, changed_per_day=0.01
        )
        assert mended.steady_mg_l == pytest.approx(target)
    allowed = system.load_allowed_g_day(target)
    fed = nutrients.balance(volume_l=5000, load_g_day=allowed, lost_per_day=lost, changed_per_day=0.01)
    assert fed.steady_mg_l == pytest.approx(target)
    share = system.change_needed_per_day(target)
    if 0 < share < 1:
        changed = nutrients.balance(volume_l=5000, load_g_day=load, lost_per_day=lost, changed_per_day=share)
        assert changed.steady_mg_l == pytest.approx(target)


@pytest.mark.source("mass balance: extremes")
def test_extremes() -> None:
    kept = nutrients.balance(volume_l=1000, load_g_day=1)
    assert kept.steady_mg_l == inf
    assert kept.after_days(5, 10) == pytest.approx(15)
    stripped = nutrients.balance(volume_l=1000, load_g_day=1, fixed_g_day=2)
    assert stripped.steady_mg_l == 0
    assert stripped.after_days(5, 10) == 0
    dirty = nutrients.balance(volume_l=1000, load_g_day=1, new_mg_l=10)
    assert dirty.change_needed_per_day(10) == inf


@pytest.mark.source("common practice: a heavily fed reef with rock and weekly changes stands near 10 mg/L nitrate")
def test_a_heavily_fed_system() -> None:
    nitrogen = 60 * 0.075  # 60 g of pellets a day in 5000 L
    system = nutrients.balance(
        volume_l=5000,
        load_g_day=nutrients.nitrate_load_g_day(nitrogen),
        fixed_g_day=3.0,  # skimmer, algae
        lost_per_day=0.12,
        changed_per_day=0.10 / 7,
        new_mg_l=0.5,
    )
    assert 5 < system.steady_mg_l < 20


@pytest.mark.source("mass balance: the loss that explains two readings gives them back")
@given(rate=st.floats(0.005, 0.4))
def test_loss_from_readings(rate: float) -> None:
    system = nutrients.balance(
        volume_l=3000, load_g_day=9, fixed_g_day=1, lost_per_day=rate, changed_per_day=0.02, new_mg_l=0.5
    )
    end = system.after_days(10, 14)
    unknown = replace(system, lost_per_day=0.0)
    found = nutrients.loss_from_readings_per_day(system=unknown, start_mg_l=10, end_mg_l=end, days=14)
    assert found == pytest.approx(rate, rel=1e-4)


@pytest.mark.source("scipy solve_ivp as an independent integrator: rock as a slow two-way store")
def test_rock_gives_back() -> None:
    system = nutrients.balance(volume_l=3000, load_g_day=0.3, fixed_g_day=0.1, lost_per_day=0.05, changed_per_day=0.02)
    days = [0.0, 5.0, 20.0, 60.0, 4000.0]
    found = nutrients.with_rock(
        system=system, start_mg_l=0.05, days=days, rock_mg_l=0.4, stock=20, exchange_per_day=0.3
    )

    def slope(_day: float, c: np.ndarray) -> list[float]:
        swap = 0.3 * (c[1] - c[0])
        return [0.2 * 1000 / 3000 - 0.07 * c[0] + swap, -swap / 20]

    expected = solve_ivp(slope, (0, 60), [0.05, 0.4], t_eval=days[:4], rtol=1e-9, atol=1e-10).y[0]
    assert found[:4] == pytest.approx(list(expected), rel=1e-5)
    assert found[4] == pytest.approx(system.steady_mg_l, rel=1e-3)
    alone = nutrients.with_rock(system=system, start_mg_l=0.05, days=days, rock_mg_l=0.4, stock=20, exchange_per_day=0)
    assert alone == pytest.approx([system.after_days(0.05, day) for day in days])


@pytest.mark.source("mass balance")
def test_media_and_skimmer() -> None:
    assert nutrients.media_days(phosphate_g_day=0.2, media_l=2, capacity_g_l=5) == pytest.approx(50)
    assert nutrients.media_days(phosphate_g_day=0, media_l=2, capacity_g_l=5) == inf
    assert nutrients.media_l_for(phosphate_g=10, capacity_g_l=5) == pytest.approx(2)
    assert nutrients.skimmed_g_day(load_g_day=12, share=0.2) == pytest.approx(2.4)
    assert nutrients.skimmate_g_day(skimmate_l_day=1.5, measured_mg_l=200) == pytest.approx(0.3)


@pytest.mark.source("Atkinson & Smith 1983: C:N:P 550:30:1 of macroalgae; Redfield 16:1")
def test_ratio_of_algae() -> None:
    value = published("algae-ratio")
    assert algae.no3_per_po4() == pytest.approx(value["expected"], abs=value["tolerance"])
    assert algae.no3_per_po4(algae.REDFIELD_N_TO_P) == pytest.approx(10.45, abs=0.01)


@pytest.mark.source("mass balance by hand: 1 kg wet, 12 % dry, 3 % N, and N:P of Atkinson & Smith 1983")
def test_harvest() -> None:
    found = algae.harvest(wet_g=1000)
    assert found.nitrogen_g == pytest.approx(3.6)
    assert found.nitrate_g == pytest.approx(15.94, abs=0.01)
    assert found.nitrate_g / found.phosphate_g == pytest.approx(algae.no3_per_po4())
    assert algae.wet_g_for_nitrate(found.nitrate_g) == pytest.approx(1000)


@pytest.mark.source("Atkinson & Smith 1983: phosphate left = PO4 − NO3 removed ÷ 19.6")
def test_which_runs_out() -> None:
    plenty = algae.phosphate_left_mg_l(nitrate_mg_l=20, phosphate_mg_l=1.0, nitrate_goal_mg_l=10)
    assert plenty == pytest.approx(1.0 - 10 / 19.59, abs=1e-3)
    short = algae.phosphate_left_mg_l(nitrate_mg_l=20, phosphate_mg_l=0.1, nitrate_goal_mg_l=10)
    assert short < 0


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_nutrients_refuse(bad: float) -> None:
    for call in (
        lambda: nutrients.balance(volume_l=bad, load_g_day=1),
        lambda: nutrients.balance(volume_l=100, load_g_day=bad),
        lambda: nutrients.balance(volume_l=100, load_g_day=1).after_days(bad, 1),
        lambda: nutrients.nitrate_load_g_day(bad),
        lambda: nutrients.phosphate_load_g_day(bad),
        lambda: nutrients.fate(retained=bad, solids=0),
        lambda: nutrients.media_days(phosphate_g_day=bad, media_l=1, capacity_g_l=5),
        lambda: nutrients.media_l_for(phosphate_g=bad, capacity_g_l=5),
        lambda: nutrients.skimmate_g_day(skimmate_l_day=bad, measured_mg_l=1),
        lambda: nutrients.skimmed_g_day(load_g_day=bad, share=0.1),
        lambda: algae.harvest(wet_g=bad),
        lambda: algae.no3_per_po4(bad),
        lambda: algae.wet_g_for_nitrate(bad),
    ):
        with pytest.raises(ScienceError):
            call()


def test_nutrients_name_what_cannot_be() -> None:
    with pytest.raises(ScienceError, match="more than the whole"):
        nutrients.fate(retained=0.6, solids=0.6)
    small = nutrients.balance(volume_l=3000, load_g_day=1)
    with pytest.raises(OutOfRange, match="less than the readings show"):
        nutrients.loss_from_readings_per_day(system=small, start_mg_l=1, end_mg_l=50, days=7)
    with pytest.raises(OutOfRange, match="faster than any loss"):
        nutrients.loss_from_readings_per_day(system=small, start_mg_l=50, end_mg_l=0.01, days=1)
