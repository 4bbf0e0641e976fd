"""Worksheets of what moves the pH: the air of the room, and a dose of alkalinity."""

from servicedesk.science.water.carbonate import solve
from servicedesk.science.water.dosing import PRODUCTS
from servicedesk.science.water.ph_effects import (
    DOSES,
    OMEGA_WATCH,
    after_dose,
    greatest_dose_umol_kg,
    in_air,
    precipitation_risk,
    room_pco2_uatm,
    vapour_pressure_atm,
)
from servicedesk.science.water.ph_scales import above_total, from_total
from servicedesk.science.water.seawater import meq_l_from_umol_kg, umol_kg_from_meq_l
from servicedesk.science.words import say
from servicedesk.science.worksheets.declare import (
    CAUSTIC,
    LIMEWATER,
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Output,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import ALKALINITY, CALCIUM, PH, PH_SCALE, ROOM_CO2, SALINITY, TEMP
from servicedesk.science.worksheets.water.carbonate import (
    CARBONATE_VALID,
    RISK,
    scale_step,
    solubility_product,
    water_of,
)

PH_STEP = 0.2
# greatest single addition, common practice; the corrections are planned with the same
SINGLE_STEP_MEQ_L = {
    "bicarbonate": PRODUCTS["nahco3"].max_step,
    "carbonate": PRODUCTS["na2co3"].max_step,
    "hydroxide": PRODUCTS["caoh2"].max_step,
}
CHEMICALS = (
    ("bicarbonate", "sodium bicarbonate"),
    ("carbonate", "sodium carbonate"),
    ("hydroxide", "limewater or hydroxide"),
)


def room_air(*, alkalinity_meq_l: float, room_co2_ppm: float, salinity: float, temp_c: float) -> Answer:
    alkalinity = umol_kg_from_meq_l(alkalinity_meq_l, salinity, temp_c)

    def ph_in(ppm: float) -> float:
        return solve(
            salinity, temp_c, alkalinity_umol_kg=alkalinity, pco2_uatm=room_pco2_uatm(ppm, salinity, temp_c)
        ).ph_total

    here, outdoors = ph_in(room_co2_ppm), ph_in(420.0)
    ppms = [300.0 + 50 * index for index in range(35)]
    return Answer(
        values={"ph_total": here, "ph_nbs": from_total(here, "nbs", salinity, temp_c), "gain": outdoors - here},
        do=(
            say(
                "Standing in this air the water comes to pH {nbs} on an NBS meter ({total} total scale). "
                "Outside air led to the skimmer or the room would be worth {gain}.",
                nbs=amount("ph", from_total(here, "nbs", salinity, temp_c)),
                total=amount("ph", here),
                gain=amount("ph", outdoors - here),
            ),
        ),
        steps=(
            step(
                "pCO₂ of the damp air",
                "{room_air} × (1 − {vapour})",
                amount("pco2", room_pco2_uatm(room_co2_ppm, salinity, temp_c)),
                "Weiss 1974",
                room_air=amount("co2", room_co2_ppm),
                vapour=f"{vapour_pressure_atm(salinity, temp_c):.4f}",
            ),
            step(
                "pH in equilibrium with it",
                "from {alkalinity} and {pCO2}",
                amount("ph", here),
                "Lueker 2000",
                alkalinity=amount("alkalinity", alkalinity_meq_l),
                pCO2=amount("pco2", room_pco2_uatm(room_co2_ppm, salinity, temp_c)),
            ),
        ),
        charts=(
            LineChart(
                "pH in equilibrium with the room",
                "CO₂ in the air",
                "co2",
                "pH, total scale",
                "ph",
                (
                    Curve("pH", ppms, [ph_in(ppm) for ppm in ppms]),
                    Curve("this room", [room_co2_ppm], [here], points_only=True),
                ),
            ),
        ),
    )


def dose_effect(
    *,
    alkalinity_meq_l: float,
    rise_meq_l: float,
    chemical: str,
    ph: float,
    ph_scale: str,
    salinity: float,
    temp_c: float,
    calcium_mg_l: float,
) -> Answer:
    water = water_of(alkalinity_meq_l, ph, ph_scale, salinity, temp_c, calcium_mg_l)
    after = after_dose(water, chemical, umol_kg_from_meq_l(rise_meq_l, salinity, temp_c))
    settled = in_air(after, water.pco2_uatm)
    risk = precipitation_risk(after.omega_aragonite, water.omega_aragonite)
    greatest = meq_l_from_umol_kg(greatest_dose_umol_kg(water, chemical), salinity, temp_c)
    difference = above_total(ph_scale, salinity, temp_c)
    do = [
        say(
            "Right after mixing the meter shows {ph}, a change of {change}; aragonite saturation {omega}.",
            ph=amount("ph", after.ph_total + difference),
            change=amount("ph", after.ph_total - water.ph_total),
            omega=amount("omega", after.omega_aragonite),
        )
    ]
    advised = min(greatest, SINGLE_STEP_MEQ_L[chemical])
    if greatest == 0:
        do.append(
            say(
                "The water stands at a saturation of {omega} already: give nothing at once. Let the pH or the calcium "
                "come down first, and then only small parts over the day.",
                omega=amount("omega", water.omega_aragonite),
            )
        )
    elif advised < rise_meq_l:
        do.append(
            say(
                "Give at most {advised} at once as {chemical}; wait until the pH has come back, six hours or more, before "
                "the next.",
                advised=amount("alkalinity", advised),
                chemical=dict(CHEMICALS)[chemical],
            )
        )
    flags = [say("{risk}: split the dose.", risk=RISK[risk])] if risk != "safe" else []
    if after.ph_total - water.ph_total > PH_STEP:
        flags.append(say("The pH would jump by more than 0.2 (common practice: greatest safe change a day)."))
    return Answer(
        values={
            "ph_after": after.ph_total + difference,
            "omega_after": after.omega_aragonite,
            "ph_settled": settled.ph_total + difference,
            "greatest_meq_l": greatest,
            "advised_meq_l": advised,
        },
        do=tuple(do),
        steps=(
            scale_step(ph, ph_scale, salinity, temp_c),
            step(
                "Inorganic carbon after the dose",
                "{before} + {rise} × {carbon_per_equivalent}",
                amount("substance", after.dic_umol_kg),
                "stoichiometry",
                before=amount("substance", water.dic_umol_kg),
                rise=amount("substance", umol_kg_from_meq_l(rise_meq_l, salinity, temp_c)),
                carbon_per_equivalent=f"{DOSES[chemical][0]:g}",
            ),
            step(
                "pH after mixing (total scale)",
                "from {alkalinity} and {carbon}",
                amount("ph", after.ph_total),
                "Lueker 2000",
                alkalinity=amount("substance", after.alkalinity_umol_kg),
                carbon=amount("substance", after.dic_umol_kg),
            ),
            step(
                "Aragonite saturation after mixing",
                "{calcium} × {carbonate} ÷ 10¹² ÷ {solubility_product}",
                amount("omega", after.omega_aragonite),
                "Mucci 1983",
                calcium=amount("substance", after.calcium_umol_kg),
                carbonate=amount("substance", after.carbonate_umol_kg),
                solubility_product=solubility_product(salinity, temp_c),
            ),
            step(
                "Greatest single dose up to saturation 5",
                "the rise at which {omega} is reached",
                amount("alkalinity", greatest),
                "Moras 2022",
                omega=amount("omega", OMEGA_WATCH),
            ),
            step(
                "Greatest single dose to give",
                "the smaller of {to_saturation} and {usual_step}",
                amount("alkalinity", advised),
                "common practice",
                to_saturation=amount("alkalinity", greatest),
                usual_step=amount("alkalinity", SINGLE_STEP_MEQ_L[chemical]),
            ),
        ),
        flags=tuple(flags),
    )


SHEETS = (
    Worksheet(
        name="room-air-and-ph",
        title="Room air and pH",
        subject="pH and carbonate",
        purpose="The pH the water comes to in the air of the room, and what outside air would give.",
        inputs=(ALKALINITY, ROOM_CO2, SALINITY, TEMP),
        outputs=(
            Output("ph_nbs", "pH on an NBS meter", "ph", main=True),
            Output("ph_total", "pH, total scale", "ph"),
            Output("gain", "Gain by outside air of 420 ppm", "ph"),
        ),
        compute=room_air,
        sources=("Weiss 1974", "Lueker 2000", "Dickson 2007"),
        valid=CARBONATE_VALID + " Standing water without life: a living tank lies around this value.",
    ),
    Worksheet(
        name="ph-after-a-dose",
        title="pH and precipitation after a dose",
        subject="pH and carbonate",
        purpose="What one addition of alkalinity does at once to pH and to the risk of precipitation.",
        inputs=(
            ALKALINITY,
            Input("rise_meq_l", "Rise by this one dose", "alkalinity", 0, 3, default=0.2, usual=(0, 0.5)),
            Choice("chemical", "Given as", CHEMICALS, "bicarbonate"),
            PH,
            PH_SCALE,
            SALINITY,
            TEMP,
            CALCIUM,
        ),
        outputs=(
            Output("ph_after", "pH right after mixing, on the meter", "ph", main=True),
            Output("omega_after", "Aragonite saturation right after", "omega", main=True),
            Output("ph_settled", "pH once the CO₂ is back where it was", "ph"),
            Output("advised_meq_l", "Greatest single dose to give", "alkalinity", main=True),
            Output("greatest_meq_l", "Single dose that reaches saturation 5", "alkalinity"),
        ),
        compute=dose_effect,
        sources=("Lueker 2000", "Mucci 1983", "Moras 2022", "stoichiometry", "common practice"),
        valid=CARBONATE_VALID + " The dose is mixed into the whole volume at once.",
        cautions=(CAUSTIC, LIMEWATER),
    ),
)
