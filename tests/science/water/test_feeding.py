import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import OutOfRange, ScienceError
from servicedesk.science.water import feeding


@pytest.mark.source("Jones 1931: protein = 6.25 × nitrogen; pellets of 47 % protein hold 7.5 % N")
def test_protein_of_feed() -> None:
    assert feeding.FEEDS["pellet"].protein == pytest.approx(0.47, abs=0.005)


@pytest.mark.source("common practice: nitrogen and phosphorus of feeds as fed")
def test_feeds_hold_plausible_nutrients() -> None:
    assert 0.011 <= feeding.FEEDS["frozen"].nitrogen <= 0.014
    assert 0.0012 <= feeding.FEEDS["frozen"].phosphorus <= 0.002
    assert all(feed.phosphorus < feed.nitrogen < feed.dry <= 1 for feed in feeding.FEEDS.values())


@pytest.mark.source("by hand: 2 kg at 1.2 % dry of pellets 92 % dry")
def test_ration() -> None:
    found = feeding.ration(group="omnivore", mass_kg=2)
    assert found.mass_g == pytest.approx(24 / 0.92)
    assert found.dry_g == pytest.approx(24)
    assert found.nitrogen_g == pytest.approx(24 / 0.92 * 0.075)
    assert found.protein_g == pytest.approx(found.nitrogen_g * 6.25)
    thawed = feeding.ration(group="omnivore", mass_kg=2, feed="frozen", dry_pct=1.5)
    assert thawed.mass_g == pytest.approx(30 / 0.15)


@pytest.mark.source("mass balance: what is planned is what is rationed")
@given(meals=st.integers(4, 12), kilos=st.floats(0.1, 20), corals=st.floats(0.5, 50))
def test_plan_gives_the_whole_ration(meals: int, kilos: float, corals: float) -> None:
    fish = [feeding.ration(group="planktivore", mass_kg=kilos), feeding.ration(group="herbivore", mass_kg=kilos)]
    coral = [feeding.Ration("plankton", corals)]
    found = feeding.plan(fish=fish, corals=coral, meals=meals, lights_on_h=9, lights_off_h=21, coral_feeds=2)
    assert sum(meal.mass_g for meal in found) == pytest.approx(sum(r.mass_g for r in (*fish, *coral)))
    assert feeding.nitrogen_g_day([*fish, *coral]) == pytest.approx(sum(r.nitrogen_g for r in (*fish, *coral)))
    assert feeding.phosphorus_g_day(fish) == pytest.approx(sum(r.phosphorus_g for r in fish))


@pytest.mark.source("common practice: at least four metered feeds a day by light, corals after dark")
@given(meals=st.integers(4, 12), on=st.floats(5, 12), lit=st.floats(8, 14))
def test_times_of_feeding(meals: int, on: float, lit: float) -> None:
    off = (on + lit) % 24
    found = feeding.plan(
        fish=[feeding.ration(group="omnivore", mass_kg=1)],
        corals=[feeding.Ration("plankton", 5)],
        meals=meals,
        lights_on_h=on,
        lights_off_h=off,
    )
    by_day = [meal for meal in found if meal.who == "fish"]
    assert len(by_day) == meals >= feeding.LEAST_MEALS
    assert all((meal.hour - on) % 24 <= lit for meal in by_day)
    assert all(0 < (meal.hour - off) % 24 < 24 - lit for meal in found if meal.who == "corals")


@pytest.mark.source("common practice: corals about an hour after lights off, also over midnight")
def test_coral_feeds_pass_midnight() -> None:
    assert feeding.coral_hours(lights_off_h=22.5, feeds=2) == pytest.approx([23.5, 1.0])
    assert feeding.meal_hours(meals=4, lights_on_h=9, lights_off_h=20) == pytest.approx([10, 13, 16, 19])


@pytest.mark.source("by hand")
def test_feeder_and_totals() -> None:
    assert feeding.feeder_turns(2.5, 0.8) == 3
    assert feeding.feeder_turns(0.1, 0.8) == 1
    parts = [feeding.Ration("pellet", 2), feeding.Ration("pellet", 3), feeding.Ration("seaweed", 1)]
    assert feeding.total(parts) == {"pellet": 5, "seaweed": 1}


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_feeding_refuses(bad: float) -> None:
    for call in (
        lambda: feeding.ration(group="omnivore", mass_kg=bad),
        lambda: feeding.ration(group="omnivore", mass_kg=1, dry_pct=bad),
        lambda: feeding.meal_hours(meals=4, lights_on_h=bad, lights_off_h=20),
        lambda: feeding.coral_hours(lights_off_h=bad),
        lambda: feeding.feeder_turns(bad, 1),
    ):
        with pytest.raises(ScienceError):
            call()


def test_feeding_names_what_cannot_be() -> None:
    with pytest.raises(OutOfRange, match="number of meals"):
        feeding.meal_hours(meals=2, lights_on_h=9, lights_off_h=20)
    with pytest.raises(OutOfRange, match="too short"):
        feeding.meal_hours(meals=4, lights_on_h=9, lights_off_h=10)
    with pytest.raises(ScienceError, match="group"):
        feeding.ration(group="shark", mass_kg=1)
    with pytest.raises(ScienceError, match="feed"):
        feeding.ration(group="omnivore", mass_kg=1, feed="bread")
