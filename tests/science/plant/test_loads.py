from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import loads
from servicedesk.science.units import from_canonical


@pytest.mark.source("NIST SP 811: 1 psf = 47.88026 Pa; ASCE 7 office floor 50 psf = 2.4 kPa (from memory)")
def test_floor_load_in_us_units() -> None:
    """A tank 0.9 m deep of seawater alone: 0.9 × 1.023 × 9.80665 = 9.03 kPa, 189 lb/ft²."""
    load = loads.floor_load_kpa(900 * 1.0233, 1.0)
    assert load == pytest.approx(9.03, abs=0.01)
    assert from_canonical("floor_load", load, "psf") == pytest.approx(load / 0.04788026, rel=1e-6)


@pytest.mark.source("pint: mass × standard gravity over area")
def test_floor_load_against_pint() -> None:
    import pint

    unit: Any = pint.UnitRegistry()
    expected = (5000 * unit.lb * unit.standard_gravity / (40 * unit.ft**2)).to("kPa").magnitude
    assert loads.floor_load_kpa(5000 * 0.45359237, 40 * 0.09290304) == pytest.approx(expected, rel=1e-9)


@pytest.mark.source("Densities of cast acrylic 1.19 and soda-lime glass 2.5 kg/L (handbooks, from memory)")
def test_panels() -> None:
    """A metre cube, 10 mm: five square metres, 50 L of material."""
    cube = {"length_m": 1.0, "width_m": 1.0, "height_m": 1.0, "thickness_mm": 10.0}
    assert loads.panels_kg(**cube, material="acrylic") == pytest.approx(59.5)
    assert loads.panels_kg(**cube, material="glass") == pytest.approx(125)


@pytest.mark.source("Hydrostatics by hand: force on a wetted gate ½ρg·b·h² (Munson section 2.8)")
def test_pressure_and_force() -> None:
    assert loads.panel_pressure_kpa(1.0, 1.0) == pytest.approx(9.80665)
    assert loads.panel_force_kn(depth_m=2, width_m=3, density_kg_l=1) == pytest.approx(0.5 * 9.80665 * 3 * 4)


@given(st.floats(1, 1e5), st.floats(0, 5000), st.floats(0, 500))
def test_weights_add_up(water: float, rock: float, sand: float) -> None:
    found = loads.tank_weight(water_l=water, density_kg_l=1.023, rock_kg=rock, sand_kg=sand, panels=100, stand_kg=50)
    assert found.total_kg == pytest.approx(water * 1.023 + rock + sand + 150)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1.0])
def test_refuses_impossible_masses(bad: float) -> None:
    with pytest.raises(ScienceError):
        loads.floor_load_kpa(bad, 1)
    with pytest.raises(ScienceError):
        loads.tank_weight(water_l=bad, density_kg_l=1.02, rock_kg=0, sand_kg=0, panels=0, stand_kg=0)


def test_refuses_unknown_panels() -> None:
    with pytest.raises(ScienceError, match="acrylic or glass"):
        loads.panels_kg(length_m=1, width_m=1, height_m=1, thickness_mm=10, material="steel")


@pytest.mark.source("Weight by hand: 1200 kg on six feet, 200 kg and 1.961 kN each")
def test_feet_share_the_weight() -> None:
    assert loads.foot_load_kn(1200, 6) == pytest.approx(1.9613, abs=1e-4)
    with pytest.raises(ScienceError):
        loads.foot_load_kn(1200, 0)
