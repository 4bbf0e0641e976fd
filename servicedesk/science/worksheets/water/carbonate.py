"""Worksheets of the carbonate system: pH and its scale, saturation, room air, doses."""

from servicedesk.science.water import molar
from servicedesk.science.water.carbonate import State, constants, solve
from servicedesk.science.water.ph_effects import (
    precipitation_risk,
)
from servicedesk.science.water.ph_scales import JUNCTION_SD, SCALES, above_total, from_total, to_total
from servicedesk.science.water.seawater import density_kg_l, meq_l_from_umol_kg, umol_kg_from_meq_l
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    Answer,
    Choice,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import ALKALINITY, CALCIUM, PH, PH_SCALE, SALINITY, TEMP

RISK = {
    "safe": "No risk of precipitation to speak of",
    "watch": "Lime may precipitate on pumps and heaters: watch",
    "refuse": "Beyond the guard: lime precipitates in a run",
}
DEMANDING = 3.0  # saturation below which stony corals calcify poorly, common practice


def water_of(
    alkalinity_meq_l: float, ph: float, ph_scale: str, salinity: float, temp_c: float, calcium_mg_l: float
) -> State:
    """The solved water from what is read at the tank."""
    return solve(
        salinity,
        temp_c,
        alkalinity_umol_kg=umol_kg_from_meq_l(alkalinity_meq_l, salinity, temp_c),
        ph_total=to_total(ph, ph_scale, salinity, temp_c),
        calcium_umol_kg=calcium_mg_l / molar.CA * 1000 / density_kg_l(salinity, temp_c),
    )


def scale_step(ph: float, ph_scale: str, salinity: float, temp_c: float) -> Step:
    return step(
        "pH on the total scale",
        "{pH_read} − {scale_difference}",
        amount("ph", to_total(ph, ph_scale, salinity, temp_c)),
        "Takahashi 1982",
        pH_read=amount("ph", ph),
        scale_difference=amount("ph", above_total(ph_scale, salinity, temp_c)),
    )


def solubility_product(salinity: float, temp_c: float) -> str:
    return f"{constants(salinity, temp_c).aragonite * 1e7:.3f} × 10⁻⁷ mol²/kg²"


def saturation_flags(water: State) -> list[Say]:
    """Warnings of a saturation at which lime precipitates, or corals build poorly."""
    flags: list[Say] = []
    if precipitation_risk(water.omega_aragonite) != "safe":
        flags.append(say("Aragonite saturation {omega}: {risk}.", omega=amount("omega", water.omega_aragonite),
                         risk=RISK[precipitation_risk(water.omega_aragonite)].lower()))  # fmt: skip
    if water.omega_aragonite < DEMANDING:
        flags.append(say("Aragonite saturation below 3: stony corals build poorly (common practice)."))
    return flags


def carbonate_system(
    *, alkalinity_meq_l: float, ph: float, ph_scale: str, salinity: float, temp_c: float, calcium_mg_l: float
) -> Answer:
    water = water_of(alkalinity_meq_l, ph, ph_scale, salinity, temp_c, calcium_mg_l)
    borate = meq_l_from_umol_kg(water.borate_umol_kg, salinity, temp_c)
    return Answer(
        values={
            "ph_total": water.ph_total,
            "dic_umol_kg": water.dic_umol_kg,
            "pco2_uatm": water.pco2_uatm,
            "omega_aragonite": water.omega_aragonite,
            "borate_meq_l": borate,
        },
        do=(
            say(
                "The water holds CO₂ as air of {pco2} would; aragonite saturation is {omega} at {temp}.",
                pco2=amount("pco2", water.pco2_uatm),
                omega=amount("omega", water.omega_aragonite),
                temp=amount("temperature", temp_c),
            ),
        ),
        steps=(
            scale_step(ph, ph_scale, salinity, temp_c),
            step(
                "Alkalinity per kilogram",
                "{alkalinity} × 1000 ÷ {density}",
                amount("substance", water.alkalinity_umol_kg),
                "TEOS-10",
                alkalinity=amount("alkalinity", alkalinity_meq_l),
                density=amount("density", density_kg_l(salinity, temp_c)),
            ),
            step(
                "Inorganic carbon from alkalinity and pH",
                "{bicarbonate} + {carbonate} + {carbon_dioxide}",
                amount("substance", water.dic_umol_kg),
                "Lueker 2000",
                bicarbonate=amount("substance", water.bicarbonate_umol_kg),
                carbonate=amount("substance", water.carbonate_umol_kg),
                carbon_dioxide=amount("substance", water.co2_umol_kg),
            ),
            step(
                "pCO₂ over the water",
                "{carbon_dioxide} ÷ {solubility}",
                amount("pco2", water.pco2_uatm),
                "Weiss 1974",
                carbon_dioxide=amount("substance", water.co2_umol_kg),
                solubility=f"{constants(salinity, temp_c).k0:.5f} mol/kg/atm",
            ),
            step(
                "Aragonite saturation",
                "{calcium} × {carbonate} ÷ 10¹² ÷ {solubility_product}",
                amount("omega", water.omega_aragonite),
                "Mucci 1983",
                calcium=amount("substance", water.calcium_umol_kg),
                carbonate=amount("substance", water.carbonate_umol_kg),
                solubility_product=solubility_product(salinity, temp_c),
            ),
        ),
        flags=tuple(saturation_flags(water)),
    )  # fmt: skip


def ph_scale_conversion(*, ph: float, ph_scale: str, to_scale: str, salinity: float, temp_c: float) -> Answer:
    total = to_total(ph, ph_scale, salinity, temp_c)
    found = from_total(total, to_scale, salinity, temp_c)
    flags: tuple[Say, ...] = ()
    if "nbs" in (ph_scale, to_scale):
        flags = (say("A real electrode on the NBS scale may differ by ±{sd} through its liquid junction.",
                     sd=amount("ph", JUNCTION_SD)),)  # fmt: skip
    return Answer(
        values={"ph_converted": found, "difference": found - ph},
        do=(
            say(
                "pH {ph} on the {one} is {found} on the {other}.",
                ph=amount("ph", ph),
                one=SCALES[ph_scale],
                found=amount("ph", found),
                other=SCALES[to_scale],
            ),
        ),
        steps=(
            scale_step(ph, ph_scale, salinity, temp_c),
            step(
                "On the scale asked for",
                "{pH_total} + {scale_difference}",
                amount("ph", found),
                "Dickson 2007",
                pH_total=amount("ph", total),
                scale_difference=amount("ph", above_total(to_scale, salinity, temp_c)),
            ),
        ),
        flags=flags,
    )


CARBONATE_VALID = "Salinity 19 to 43, 2 to 35 °C (Lueker 2000); seawater proportions of sulphate, fluoride and boron."

SHEETS = (
    Worksheet(
        name="carbonate-system",
        title="Carbonate system of the water",
        subject="pH and carbonate",
        purpose="CO₂ pressure, inorganic carbon and aragonite saturation from alkalinity and pH.",
        inputs=(ALKALINITY, PH, PH_SCALE, SALINITY, TEMP, CALCIUM),
        outputs=(
            Output("omega_aragonite", "Aragonite saturation", "omega", main=True),
            Output("pco2_uatm", "CO₂ pressure of the water", "pco2", main=True),
            Output("ph_total", "pH, total scale", "ph"),
            Output("dic_umol_kg", "Dissolved inorganic carbon", "substance"),
            Output("borate_meq_l", "Borate within the alkalinity", "alkalinity"),
        ),
        compute=carbonate_system,
        sources=("Dickson 2007", "Lueker 2000", "Weiss 1974", "Mucci 1983", "Lee 2010", "Takahashi 1982", "TEOS-10"),
        valid=CARBONATE_VALID,
    ),
    Worksheet(
        name="ph-scale",
        title="pH from one scale to another",
        subject="pH and carbonate",
        purpose="A meter set in fresh-water buffers reads higher than the scale the chemistry uses.",
        inputs=(
            PH,
            PH_SCALE,
            Choice("to_scale", "Wanted scale", tuple(SCALES.items()), "total"),
            SALINITY,
            TEMP,
        ),
        outputs=(
            Output("ph_converted", "pH on the wanted scale", "ph", main=True),
            Output("difference", "Difference", "ph"),
        ),
        compute=ph_scale_conversion,
        sources=("Dickson 2007", "Takahashi 1982"),
        valid=CARBONATE_VALID,
    ),
)
