from math import pi
from typing import Any

import pytest

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant import panels

# Only to half as tall again as wide: beyond, the printed values level off at those of mid height.
ROARK = [  # height over length, β (stress σ = βqb²/t²) and α (bulge αqb⁴/Et³), b the length of the free edge
    (0.5, 0.11, 0.026), (0.667, 0.16, 0.033), (1.0, 0.20, 0.040), (1.5, 0.28, 0.050),
]  # fmt: skip


@pytest.mark.source(
    "Roark's Formulas for Stress and Strain, rectangular plate with three edges supported, one free, "
    "load falling to nothing at the free edge (two digits, from memory)"
)
@pytest.mark.parametrize(("height_over_length", "stress", "bulge"), ROARK)
def test_coefficients_against_roark(height_over_length: float, stress: float, bulge: float) -> None:
    ratio = 1 / height_over_length
    moment, deflection = panels.coefficients(ratio, 0.3)
    assert 6 * moment / ratio**2 == pytest.approx(stress, rel=0.08)
    assert 12 * (1 - 0.3**2) * deflection / ratio**4 == pytest.approx(bulge, rel=0.06)


def ritz_bulge(ratio: float, poisson: float) -> float:
    """Greatest bulge at mid length over p·h⁴/D by Ritz: sines along, polynomials y…y⁹ upright (energy method)."""
    import numpy as np
    from numpy.polynomial import polynomial

    powers = [np.eye(10)[n] for n in range(1, 10)]

    def integral(left: Any, right: Any) -> float:
        primitive = polynomial.polyint(polynomial.polymul(left, right))
        return float(polynomial.polyval(1.0, primitive))

    heights = np.linspace(0, 1, 201)
    total = np.zeros_like(heights)
    for term in range(1, 20, 2):
        k = term * pi / ratio
        stiffness = np.array([
            [
                integral(polynomial.polyder(a, 2), polynomial.polyder(b, 2))
                + k**4 * integral(a, b)
                - poisson * k**2 * (integral(a, polynomial.polyder(b, 2)) + integral(polynomial.polyder(a, 2), b))
                + 2 * (1 - poisson) * k**2 * integral(polynomial.polyder(a), polynomial.polyder(b))
                for b in powers
            ]
            for a in powers
        ])  # fmt: skip
        load = np.array([4 / (term * pi) * integral(a, [1.0, -1.0]) for a in powers])
        weights = np.linalg.solve(stiffness, load)
        shape = polynomial.polyval(heights, np.concatenate([[0.0], weights]))
        total += shape * (1 if term % 4 == 1 else -1)
    return float(total.max())


@pytest.mark.source("Ritz energy method with polynomials, an independent solution of the same plate")
@pytest.mark.parametrize("ratio", [0.8, 1.5, 3.0])
def test_bulge_against_the_energy_method(ratio: float) -> None:
    _, deflection = panels.coefficients(ratio, 0.3)
    assert deflection == pytest.approx(ritz_bulge(ratio, 0.3), rel=0.01)


def acrylic(thickness_mm: float) -> panels.Bending:
    return panels.panel_bending(
        length_m=2.0, depth_m=0.8, thickness_mm=thickness_mm, material="acrylic", density_kg_l=1.023
    )


def test_stress_falls_with_the_square_of_the_thickness() -> None:
    thin, thick = (acrylic(t) for t in (30.0, 60.0))
    assert thin.stress_mpa == pytest.approx(4 * thick.stress_mpa)
    assert thin.bulge_mm == pytest.approx(8 * thick.bulge_mm)


def test_says_when_the_theory_of_small_bending_ends() -> None:
    assert acrylic(60).thin
    assert not acrylic(10).thin


@pytest.mark.parametrize("bad", [float("nan"), 0.0, -2.0, 50.0])
def test_refuses_impossible_panels(bad: float) -> None:
    with pytest.raises(ScienceError):
        panels.panel_bending(length_m=bad, depth_m=0.8, thickness_mm=20, material="glass", density_kg_l=1.02)
