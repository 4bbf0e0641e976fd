import math
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import chiller
from tests.science.published import published


@pytest.mark.source("12 000 Btu(IT)/h, by pint")
def test_ton() -> None:
    entry = published("ton")
    assert 1 / chiller.tons(1) == pytest.approx(entry["expected"], abs=entry["tolerance"])
    unit: Any = pint.UnitRegistry()
    assert chiller.tons(10_000) == pytest.approx((10_000 * unit.watt).to("refrigeration_ton").magnitude, rel=1e-6)
    assert chiller.btu_h(1000) == pytest.approx((1000 * unit.watt).to("Btu_it / hour").magnitude, rel=1e-6)


@pytest.mark.source("Energy balance of a thermostat's cycle, closed form and stepped")
def test_cycle() -> None:
    entry = published("chiller-cycle")
    given_ = entry["inputs"]
    found = chiller.cycle(
        chiller_w=given_["chiller_W"],
        load_w=given_["load_W"],
        volume_l=given_["V_L"],
        differential_k=given_["differential_K"],
        capacity_j_l_k=given_["rho"] * given_["cp"],
    )
    assert (found.run_s + found.rest_s) / 60 == pytest.approx(entry["expected"], abs=entry["tolerance"])
    assert found.run_share == pytest.approx(0.45)


@pytest.mark.source("Energy balance stepped second by second")
def test_cycle_stepped() -> None:
    temp_c, running, starts = 25.0, False, []
    for second in range(6 * 3600):
        if not running and temp_c >= 25.5:
            running = True
            starts.append(second)
        elif running and temp_c <= 25.0:
            running = False
        temp_c += (900 - (2000 if running else 0)) / (1000 * chiller.SEAWATER_J_L_K)
    cycle = chiller.cycle(chiller_w=2000, load_w=900, volume_l=1000, differential_k=0.5)
    assert starts[1] - starts[0] == pytest.approx(cycle.run_s + cycle.rest_s, rel=2e-3)
    assert cycle.starts_per_h == pytest.approx(3600 / (starts[1] - starts[0]), rel=2e-3)


@pytest.mark.source("Energy balance: half load is the worst, Q/(4·C·Δ)")
@given(st.floats(200, 50_000), st.floats(0.02, 0.98), st.floats(100, 50_000), st.floats(0.1, 2))
def test_no_load_starts_more_often_than_half(power: float, part: float, volume: float, differential: float) -> None:
    cycle = chiller.cycle(chiller_w=power, load_w=power * part, volume_l=volume, differential_k=differential)
    most = chiller.starts_per_hour(power, volume, differential)
    assert cycle.starts_per_h <= most * (1 + 1e-9)
    assert chiller.starts_per_hour(power, volume, chiller.least_differential_k(power, volume)) == pytest.approx(6)
    assert chiller.starts_per_hour(power, chiller.least_volume_l(power, differential), differential) == pytest.approx(6)


@pytest.mark.source("Energy balance by hand: 1000 W on 1000 L with 0.5 K, 4.09 MJ/m³K")
def test_starts() -> None:
    assert chiller.starts_per_hour(1000, 1000, 0.5) == pytest.approx(3600 / (4 * 4.09e6 * 0.5 / 1000), rel=1e-3)


@pytest.mark.source("Energy balance by hand")
def test_shortest_run() -> None:
    assert chiller.heat_between_j(1000, 0.5) == pytest.approx(1000 * 0.5 * 4092)
    assert chiller.shortest_run_min(4092, 1000, 0.5) == pytest.approx(500 / 60)
    assert chiller.shortest_run_min(4092, 1000, 0.5, 2046) == pytest.approx(250 / 60)


def test_never_stops_or_never_starts() -> None:
    over = chiller.cycle(chiller_w=1000, load_w=1500, volume_l=1000, differential_k=0.5)
    assert (over.run_share, over.starts_per_h) == (1.0, 0.0)
    idle = chiller.cycle(chiller_w=1000, load_w=0, volume_l=1000, differential_k=0.5)
    assert (idle.run_share, idle.starts_per_h) == (0.0, 0.0)


@pytest.mark.source("Common practice: margin 1.25 over the worst hour")
def test_size() -> None:
    assert chiller.size_w(2000) == 2500
    assert chiller.size_w(-300) == 0


@pytest.mark.source("Energy balance by pint: flow × density × heat capacity × drop")
def test_flow() -> None:
    unit: Any = pint.UnitRegistry()
    carried = (1000 * unit.litre / unit.hour * 4092 * unit.joule / unit.litre / unit.kelvin * 2 * unit.kelvin).to("W")
    assert chiller.flow_l_h(carried.magnitude, 2) == pytest.approx(1000)


@pytest.mark.source("First law: condenser heat is cooling and work")
def test_condenser_and_energy() -> None:
    assert chiller.condenser_w(3000, 3) == pytest.approx(3000 + 1000)
    assert chiller.energy_kwh(24, 3) == pytest.approx(8)
    assert chiller.derated_w(5000, 0.8) == 4000


@pytest.mark.source("Energy balance by hand: 1000 L × 4.092 kJ/L·K × 2 K over 2.046 kW is 4000 s")
def test_pull_down() -> None:
    hours = chiller.pull_down_h(volume_l=1000, from_c=27, to_c=25, chiller_w=2546, gain_w=500)
    assert hours == pytest.approx(4000 / 3600)
    with pytest.raises(ScienceError, match="never"):
        chiller.pull_down_h(volume_l=1000, from_c=27, to_c=25, chiller_w=500, gain_w=500)
    with pytest.raises(ScienceError, match="below"):
        chiller.pull_down_h(volume_l=1000, from_c=25, to_c=27, chiller_w=500)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 0.0])
def test_refusals(bad: float) -> None:
    for call in (
        lambda: chiller.starts_per_hour(1000, bad, 0.5),
        lambda: chiller.starts_per_hour(1000, 1000, bad),
        lambda: chiller.cycle(chiller_w=bad, load_w=1, volume_l=1, differential_k=1),
        lambda: chiller.flow_l_h(1000, bad),
        lambda: chiller.condenser_w(1000, bad),
        lambda: chiller.size_w(1000, bad),
    ):
        with pytest.raises(ScienceError):
            call()
