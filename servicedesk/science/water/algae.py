"""Nitrogen and phosphorus carried out with harvested algae, and which of the two runs out first."""

from dataclasses import dataclass

from servicedesk.science.guard import not_negative, positive, within
from servicedesk.science.water import molar

MACROALGAE_N_TO_P = 30.0  # mol, C:N:P 550:30:1 (Atkinson & Smith 1983)
REDFIELD_N_TO_P = 16.0


@dataclass(frozen=True, slots=True)
class Harvest:
    """Grams taken out."""

    nitrogen_g: float
    phosphorus_g: float

    @property
    def nitrate_g(self) -> float:
        return self.nitrogen_g * molar.NO3 / molar.N

    @property
    def phosphate_g(self) -> float:
        return self.phosphorus_g * molar.PO4 / molar.P


def no3_per_po4(n_to_p: float = MACROALGAE_N_TO_P) -> float:
    """mg NO3 taken up with each mg PO4 at a molar N:P.

    >>> round(no3_per_po4(), 2)
    19.59
    """
    return positive("N:P", n_to_p) * molar.NO3 / molar.PO4


def harvest(
    *, wet_g: float, dry_pct: float = 12.0, nitrogen_pct: float = 3.0, n_to_p: float = MACROALGAE_N_TO_P
) -> Harvest:
    """What a wet, drained harvest holds; dry 10 to 15 % of wet, N 2 to 5 % of dry (common practice)."""
    dry = not_negative("harvest", wet_g) * within("dry share", dry_pct, 1, 100, "percent_fine") / 100
    nitrogen = dry * within("nitrogen of the dry algae", nitrogen_pct, 0.1, 10, "percent_fine") / 100
    return Harvest(nitrogen, nitrogen / molar.N / positive("N:P", n_to_p) * molar.P)


def wet_g_for_nitrate(nitrate_g: float, dry_pct: float = 12.0, nitrogen_pct: float = 3.0) -> float:
    """Wet harvest that takes out so much nitrate: the inverse of ``harvest``."""
    return not_negative("nitrate", nitrate_g) / harvest(wet_g=1.0, dry_pct=dry_pct, nitrogen_pct=nitrogen_pct).nitrate_g


def phosphate_left_mg_l(
    *, nitrate_mg_l: float, phosphate_mg_l: float, nitrate_goal_mg_l: float, ratio: float | None = None
) -> float:
    """Phosphate left when uptake alone has brought nitrate down to its goal; negative: phosphate runs out first."""
    taken = not_negative("nitrate", nitrate_mg_l) - not_negative("nitrate aimed at", nitrate_goal_mg_l)
    return not_negative("phosphate", phosphate_mg_l) - taken / (no3_per_po4() if ratio is None else ratio)
