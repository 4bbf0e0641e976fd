"""Bending of an upright aquarium panel under water: an indication of stress and bulge, not a design.

Lévy's solution of the thin plate (source Levy): the two upright edges and the foot are simply supported (seals
clamp a little: the truth is lower), the top edge is free (no brace: the worst case), the water stands to the top
edge. Holds for small bending, a bulge below half the thickness.
"""

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, Any

from servicedesk.science.guard import positive, within
from servicedesk.science.plant.loads import panel_pressure_kpa

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[Any]

TERMS = 19  # odd sine terms up to this; the sum moves less than 0.1 % beyond
YOUNG_MPA = {"acrylic": 2900.0, "glass": 70000.0}
POISSON = {"acrylic": 0.37, "glass": 0.22}


@dataclass(frozen=True, slots=True)
class Bending:
    """Greatest bending stress in MPa and bulge in mm; ``thin`` whether small-bending theory holds."""

    stress_mpa: float
    bulge_mm: float
    thin: bool


def panel_bending(
    *, length_m: float, depth_m: float, thickness_mm: float, material: str, density_kg_l: float
) -> Bending:
    """Stress 6M/t² and bulge of an unbraced panel; length to depth 0.3 to 6, thickness to 0.2 of the depth."""
    within("ratio of length to depth of the panel", positive("length", length_m) / positive("depth", depth_m), 0.3, 6.0)
    within("thickness", positive("thickness", thickness_mm), 0.0, 200 * depth_m, "bore")
    young, poisson = YOUNG_MPA[material], POISSON[material]
    pressure_pa = panel_pressure_kpa(depth_m, density_kg_l) * 1000
    moment, deflection = coefficients(length_m / depth_m, poisson)
    thickness_m = thickness_mm / 1000
    rigidity = young * 1e6 * thickness_m**3 / (12 * (1 - poisson**2))
    bulge_mm = deflection * pressure_pa * depth_m**4 / rigidity * 1000
    stress_mpa = 6 * moment * pressure_pa * depth_m**2 / thickness_m**2 / 1e6
    return Bending(stress_mpa, bulge_mm, bulge_mm < thickness_mm / 2)


def coefficients(ratio: float, poisson: float) -> tuple[float, float]:
    """Greatest moment over p·h² and bulge over p·h⁴/D for length/depth ``ratio``; p is the pressure at the foot.

    Coordinates over the depth: x along the panel, y from the foot (0) to the free edge (1), load 1 − y.
    """
    import numpy as np

    y = np.linspace(0.0, 1.0, 81)
    x = np.linspace(0.0, ratio / 2, 41)
    deflection = np.zeros((x.size, y.size))
    along, upright = np.zeros_like(deflection), np.zeros_like(deflection)
    for term in range(1, TERMS + 1, 2):
        k = term * pi / ratio
        shape, second = _term(k, 4 / (term * pi), poisson, y)
        wave = np.sin(k * x)[:, None]
        deflection += wave * shape
        along += wave * (k**2 * shape - poisson * second)
        upright += wave * (poisson * k**2 * shape - second)
    return float(max(np.abs(along).max(), np.abs(upright).max())), float(deflection.max())


def _term(k: float, load: float, poisson: float, y: "Array") -> "tuple[Array, Array]":
    """Shape over the height and its second derivative for one sine term along the panel.

    Solves Y'''' − 2k²Y'' + k⁴Y = load·(1 − y) with Y = Y'' = 0 at the foot and no moment or shear at the top.
    The exponentials are scaled to 1 at the edge they grow towards, so that wide terms do not overflow.
    """
    import numpy as np

    particular = load / k**4

    def basis(at: "Array") -> "list[list[Array]]":
        """Derivatives 0 to 3 of e^(−ky), y·e^(−ky), e^(k(y−1)), y·e^(k(y−1))."""
        down, up = np.exp(-k * at), np.exp(k * (at - 1))
        return [
            [(-k) ** n * down, ((-k) ** n * at + n * (-k) ** max(n - 1, 0)) * down,
             k**n * up, (k**n * at + n * k ** max(n - 1, 0)) * up]
            for n in range(4)
        ]  # fmt: skip

    foot, top = basis(np.array(0.0)), basis(np.array(1.0))
    matrix = np.array([
        [float(v) for v in foot[0]],
        [float(v) for v in foot[2]],
        [float(s - poisson * k**2 * v) for v, s in zip(top[0], top[2], strict=True)],
        [float(t - (2 - poisson) * k**2 * d) for d, t in zip(top[1], top[3], strict=True)],
    ])  # fmt: skip
    # The particular solution particular·(1 − y): value at the foot, slope −particular everywhere.
    right = np.array([-particular, 0.0, 0.0, -(2 - poisson) * k**2 * particular])
    weights = np.linalg.solve(matrix, right)
    values = basis(y)
    shape = particular * (1 - y) + sum(w * v for w, v in zip(weights, values[0], strict=True))
    second = sum(w * v for w, v in zip(weights, values[2], strict=True))
    return shape, second
