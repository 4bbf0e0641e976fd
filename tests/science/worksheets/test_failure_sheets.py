"""Failures in which the water may leave its limits at either end."""

from math import exp
from typing import Any

import pytest

from servicedesk.science.worksheets import catalogue, run, telling
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.plant import failures
from servicedesk.science.worksheets.typed import BadInput

SHEET = catalogue.worksheet("temperature-after-failure")
SMALL_AND_LIT = {"volume": "400 L", "surface": "1 m2", "wall": "3 m2", "room": "20", "fails_at": "10:00",
                 "lights_on": "10:00", "lights_off": "20:00", "lamp": "1200", "lamp_share": "50"}  # fmt: skip


def failed(**typed: str) -> Answer:
    return run.run(SHEET, typed)


def sentences(answer: Answer) -> str:
    return " ".join(telling.sentence(line) for line in (*answer.do, *answer.flags))


@pytest.mark.source("common practice: the first limit met counts")
def test_lamps_that_overheat_by_day_water_that_cools_by_night_are_not_missed() -> None:
    """Small tank, strong lamps, cool room: past the upper limit in the afternoon, colder than at first at the end."""
    found = failed(**SMALL_AND_LIT)
    assert found.values["limit_c"] == pytest.approx(28.9)
    hours: Any = found.values["hours"]
    assert 3 < hours < 10
    assert "office hours" not in sentences(found)


@pytest.mark.source("common practice: the first limit met counts")
def test_a_remedy_that_overcools_is_not_called_safe() -> None:
    """Lamps off in the cool room runs past the lower limit: that has its own hours in the table."""
    table = failed(**SMALL_AND_LIT).listings[0]
    limits = {str(row[0]): telling.term_text(row[2], telling.canonical) for row in table.rows}
    assert limits["as it is, no lids, lamps by the clock"] == "28.9 °C"
    assert limits["lamps off"] == "22.2 °C"
    assert "undo it in time" in sentences(failed(**SMALL_AND_LIT))


@pytest.mark.source("SciPy: an independent integration of Newton's law of cooling with walls and lids alone")
def test_closed_tank_in_a_cooling_room_against_scipy() -> None:
    from scipy.integrate import solve_ivp

    found = failed(fails="power", volume="12000", surface="8", wall="30", lid="100", room_after="5", room_time="0.5")
    wall_w_k = 30 / (1 / 250 + 0.038 / 0.19 + 1 / 8) + 3 * 8
    capacity_j_k = 12000 * 1.02309 * 3999.3  # density and heat of seawater of 35 at 25.8 °C, TEOS-10
    solved = solve_ivp(
        lambda t, y: [3600 * wall_w_k * (5 + 18.3 * exp(-t / 0.5) - y[0]) / capacity_j_k],
        (0, 24),
        [25.8],
        rtol=1e-8,
    )
    assert found.values["after_24_c"] == pytest.approx(float(solved.y[0][-1]), abs=0.01)


@pytest.mark.source("common practice")
def test_refuses_a_film_of_water() -> None:
    """Litres typed for gallons, or square feet for square metres: no tank is 3 cm deep."""
    with pytest.raises(BadInput, match="check volume, surface") as refused:
        failed(volume="3000 L", surface="100 m2", wall="40 m2")
    assert "surface_m2" in refused.value.errors


@pytest.mark.source("Melting heat of ice, 333.4 kJ/kg (CRC Handbook, from memory): 1 kW melts and warms 7.9 kg an hour")
def test_ice_that_holds_the_water() -> None:
    assert failures.ice_kg_h(1000, 29) == pytest.approx(3600 / (333.4 + 4.19 * 29), rel=1e-3)
    hot = failed(volume="3000", surface="4", wall="12", steady="900", room="28", room_humidity="60")
    assert "of ice an hour" in sentences(hot)
    cold = failed(fails="heater", volume="12000", surface="8", wall="30", room="16")
    assert "of ice an hour" not in sentences(cold)


def test_without_power_the_room_does_not_stay() -> None:
    tank = {"fails": "power", "volume": "12000", "surface": "8", "wall": "30"}
    assert "type the temperature it drifts to" in sentences(failed(**tank))
    assert "type the temperature it drifts to" not in sentences(failed(**tank, room_after="10"))
