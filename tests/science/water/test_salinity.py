import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import salinity
from tests.science.published import published


@pytest.mark.source("density × absolute salinity (EOS-80 / TEOS-10): dry salt in 1000 L at 35, 25 °C")
def test_salt_of_a_batch() -> None:
    value = published("salt-mass")
    assert salinity.salt_kg(1000, 35, 25, 1.0) == pytest.approx(value["expected"], abs=value["tolerance"])
    assert salinity.salt_kg(1000, 35, 25, 0.9) == pytest.approx(value["expected"] / 0.9, rel=1e-3)


@given(st.floats(28, 38), st.floats(28, 38), st.floats(100, 20000))
def test_a_correction_reaches_its_target_in_safe_days(now: float, target: float, volume_l: float) -> None:
    plan = salinity.correction(volume_l=volume_l, salinity=now, target=target, temp_c=25, dry_fraction=1.0)
    assert abs(plan.per_day) <= 1.0 + 1e-9
    assert plan.per_day * plan.days == pytest.approx(target - now)
    level = now
    if plan.salt_kg:
        held = salinity.salt_kg(volume_l, now, 25, 1.0) + plan.salt_kg
        assert held == pytest.approx(salinity.salt_kg(volume_l, target, 25, 1.0))
    elif plan.exchange_l:
        for day in range(plan.days):
            then = now + plan.per_day * (day + 1)
            level -= level * (level - then) / level
        assert level == pytest.approx(target)


@pytest.mark.source("mass balance: 10 000 L from 36 to 35 is 277.8 L of fresh water")
def test_lowering_by_fresh_water() -> None:
    plan = salinity.correction(volume_l=10_000, salinity=36, target=35, temp_c=25)
    assert plan.exchange_l == pytest.approx(277.8, abs=0.1)


def test_salinity_drift_is_not_consumption() -> None:
    assert salinity.at_salinity(440, salinity=36.0, wanted=35.0) == pytest.approx(427.8, abs=0.1)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ScienceError):
        salinity.salt_kg(-5, 35, 25)
    with pytest.raises(ScienceError):
        salinity.salt_kg(100, math.nan, 25)
    with pytest.raises(ScienceError, match="salty"):
        salinity.correction(volume_l=100, salinity=36, target=34, temp_c=25, fresh_salinity=35)
