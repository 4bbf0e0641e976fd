"""The carbonate system from any two things known of it."""

from itertools import combinations

import PyCO2SYS
import pytest

from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences

SHEET = worksheet("carbonate-pair")
OUTPUT = {"alkalinity": "alkalinity", "dic_umol_kg": "dic", "ph": "ph_total", "pco2_uatm": "pco2"}


@pytest.mark.source("PyCO2SYS (Lueker 2000, Lee 2010): every solvable pair of one seawater gives the same water")
@pytest.mark.parametrize("pair", list(combinations(OUTPUT, 2)), ids="+".join)
def test_every_pair_gives_the_same_water(pair: tuple[str, str]) -> None:
    truth = PyCO2SYS.sys(par1=2400, par1_type=1, par2=8.05, par2_type=3, salinity=35, temperature=25,
                         opt_k_carbonic=10, opt_total_borate=2)  # fmt: skip
    typed = {
        "alkalinity": str(2400 * 1.0233430 / 1000),
        "dic_umol_kg": str(float(truth["dic"])),
        "ph": "8.05",
        "pco2_uatm": str(float(truth["pCO2"])),
    }
    found = run(SHEET, {**{key: typed[key] for key in pair}, "ph_scale": "total", "temp": "25", "salinity": "35"})
    assert number(found, "dic") == pytest.approx(
        float(truth["dic"]), rel=5e-3
    )  # pH and CO₂ pressure tell carbon poorly
    assert number(found, "ph_total") == pytest.approx(8.05, abs=3e-3)
    assert number(found, "pco2") == pytest.approx(float(truth["pCO2"]), rel=1e-2)
    assert number(found, "alkalinity") == pytest.approx(2400 * 1.0233430 / 1000, rel=6e-3)


@pytest.mark.parametrize("typed", [{}, {"ph": "8"}, {"ph": "8", "alkalinity": "2.5", "pco2_uatm": "400"}])
def test_two_and_no_more_must_be_typed(typed: dict[str, str]) -> None:
    with pytest.raises(BadInput, match="Type two of") as refused:
        run(SHEET, typed)
    assert "" not in refused.value.errors


def test_a_pair_that_tells_little_is_said() -> None:
    assert "much the same" in sentences(run(SHEET, {"ph": "8.2", "pco2_uatm": "450"}))
