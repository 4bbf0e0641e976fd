"""Worksheet of the carbonate system from any two things known of it."""

from dataclasses import replace

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import molar
from servicedesk.science.water.carbonate import State, constants, solve
from servicedesk.science.water.ph_scales import from_total, to_total
from servicedesk.science.water.seawater import density_kg_l, meq_l_from_umol_kg, umol_kg_from_meq_l
from servicedesk.science.words import Say, Term, say
from servicedesk.science.worksheets.declare import Answer, Input, Output, Step, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import ALKALINITY, CALCIUM, PH, PH_SCALE, SALINITY, TEMP
from servicedesk.science.worksheets.water.carbonate import CARBONATE_VALID, saturation_flags, solubility_product

GIVEN = ("alkalinity_meq_l", "dic_umol_kg", "ph", "pco2_uatm")


def carbonate_pair(
    *,
    alkalinity_meq_l: float | None,
    dic_umol_kg: float | None,
    ph: float | None,
    pco2_uatm: float | None,
    ph_scale: str,
    salinity: float,
    temp_c: float,
    calcium_mg_l: float,
) -> Answer:
    known = dict(zip(GIVEN, (alkalinity_meq_l, dic_umol_kg, ph, pco2_uatm), strict=True))
    typed = [key for key, value in known.items() if value is not None]
    if len(typed) != 2:
        first = typed[2] if len(typed) > 2 else next(key for key in GIVEN if key not in typed)
        raise ScienceError("Type two of alkalinity, inorganic carbon, pH and CO₂ pressure, no more.", first)
    water = solve(
        salinity,
        temp_c,
        alkalinity_umol_kg=None if alkalinity_meq_l is None else umol_kg_from_meq_l(alkalinity_meq_l, salinity, temp_c),
        dic_umol_kg=dic_umol_kg,
        ph_total=None if ph is None else to_total(ph, ph_scale, salinity, temp_c),
        pco2_uatm=pco2_uatm,
        calcium_umol_kg=calcium_mg_l / molar.CA * 1000 / density_kg_l(salinity, temp_c),
    )
    alkalinity = meq_l_from_umol_kg(water.alkalinity_umol_kg, salinity, temp_c)
    if alkalinity <= 0:
        raise ScienceError("This pair leaves no alkalinity: check both and their units.", typed[1])
    meter_ph = from_total(water.ph_total, ph_scale, salinity, temp_c)
    return Answer(
        values={
            "alkalinity": alkalinity,
            "dic": water.dic_umol_kg,
            "meter_ph": meter_ph,
            "ph_total": water.ph_total,
            "pco2": water.pco2_uatm,
            "omega_aragonite": water.omega_aragonite,
        },
        do=(
            say("The water has an alkalinity of {alkalinity}, {carbon} of inorganic carbon, pH {ph} on the meter and a CO₂ "
                "pressure of {pco2}.", alkalinity=amount("alkalinity", alkalinity), ph=amount("ph", meter_ph),
                carbon=amount("substance", water.dic_umol_kg), pco2=amount("pco2", water.pco2_uatm)),
            say("If a reading of one you did not type differs, a probe, a kit or the scale of the pH is wrong: check that "
                "before any dose."),
        ),
        steps=_steps(water, salinity, temp_c, alkalinity),
        flags=(*_pair_flags(typed), *saturation_flags(water)),
    )  # fmt: skip


def _pair_flags(typed: list[str]) -> list[Say]:
    if set(typed) == {"ph", "pco2_uatm"}:
        return [say("pH and CO₂ pressure tell much the same: a slip of 0.02 in pH moves the alkalinity by a tenth. Take "
                    "alkalinity with one of them where you can.")]  # fmt: skip
    if set(typed) == {"alkalinity_meq_l", "dic_umol_kg"}:
        return [say("The pH hangs on the small difference of alkalinity and carbon: a slip of 1 % in one moves it by "
                    "about 0.05.")]  # fmt: skip
    return []


def _steps(water: State, salinity: float, temp_c: float, alkalinity: float) -> tuple[Step, ...]:
    k = constants(salinity, temp_c)
    species: dict[str, Term] = {
        "bicarbonate": amount("substance", water.bicarbonate_umol_kg),
        "carbonate": amount("substance", water.carbonate_umol_kg),
    }
    return (
        step("pH on the total scale", "the pH at which the two typed agree", amount("ph", water.ph_total), "Lueker 2000"),
        step("Inorganic carbon", "{bicarbonate} + {carbonate} + {carbon_dioxide}", amount("substance", water.dic_umol_kg),
             "Lueker 2000", carbon_dioxide=amount("substance", water.co2_umol_kg), **species),
        step("Alkalinity", "({bicarbonate} + 2 × {carbonate} + {borate} + {hydroxide}) × {density} ÷ 1000",
             amount("alkalinity", alkalinity), "Dickson 2007", borate=amount("substance", water.borate_umol_kg),
             hydroxide=amount("substance", water.hydroxide_umol_kg),
             density=amount("density", density_kg_l(salinity, temp_c)), **species),
        step("CO₂ pressure", "{carbon_dioxide} ÷ {solubility}", amount("pco2", water.pco2_uatm), "Weiss 1974",
             carbon_dioxide=amount("substance", water.co2_umol_kg), solubility=f"{k.k0:.5f} mol/kg/atm"),
        step("Aragonite saturation", "{calcium} × {carbonate} ÷ 10¹² ÷ {solubility_product}",
             amount("omega", water.omega_aragonite), "Mucci 1983", calcium=amount("substance", water.calcium_umol_kg),
             carbonate=species["carbonate"], solubility_product=solubility_product(salinity, temp_c)),
    )  # fmt: skip


SHEETS = (
    Worksheet(
        name="carbonate-pair",
        title="Carbonate system from any two",
        subject="pH and carbonate",
        purpose="The whole carbonate system from two of alkalinity, inorganic carbon, pH and CO₂ pressure: a check of "
        "instruments against one another.",
        inputs=(
            replace(ALKALINITY, optional=True, recall=""),
            Input(
                "dic_umol_kg", "Dissolved inorganic carbon", "substance", 300, 8000, optional=True, usual=(1500, 3500)
            ),
            replace(PH, optional=True, recall=""),
            Input("pco2_uatm", "CO₂ pressure of the water", "pco2", 20, 50_000, optional=True, usual=(200, 2000)),
            PH_SCALE,
            SALINITY,
            TEMP,
            CALCIUM,
        ),
        outputs=(
            Output("alkalinity", "Alkalinity", "alkalinity", main=True),
            Output("meter_ph", "pH on the meter", "ph", main=True),
            Output("dic", "Dissolved inorganic carbon", "substance"),
            Output("pco2", "CO₂ pressure", "pco2"),
            Output("ph_total", "pH, total scale", "ph"),
            Output("omega_aragonite", "Aragonite saturation", "omega"),
        ),
        compute=carbonate_pair,
        sources=("Dickson 2007", "Lueker 2000", "Weiss 1974", "Mucci 1983", "Lee 2010", "Takahashi 1982", "TEOS-10"),
        valid=CARBONATE_VALID,
    ),
)
