"""Worksheets of the reactor's CO₂ and of what its effluent says."""

from servicedesk.science.water import molar
from servicedesk.science.water.carbonate import constants
from servicedesk.science.water.ph_effects import partly_aired
from servicedesk.science.water.ph_scales import from_total, to_total
from servicedesk.science.water.reactor import (
    CO2_G_PER_MEQ,
    MIN_PER_DAY,
    carbon_dioxide,
    days_left,
    delivered_meq_day,
    effluent_verdict,
)
from servicedesk.science.water.seawater import density_kg_l
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import CO2_GAS, Answer, Input, Output, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import ALKALINITY, PH_SCALE, SALINITY, TEMP
from servicedesk.science.worksheets.water.reactor import EFFLUENT, FLOW, SUBJECT, lasting_step

OUTSIDE_UATM = 420.0
USABLE_GAS_PCT = 95.0  # of the gas in a cylinder, common practice
EFFLUENT_PH = Input(
    "effluent_ph", "pH of the effluent", "ph", 5.5, 8.5, default=6.5, recall="check.reactor.effluent_ph",
    usual=(6.2, 7.0), help="Taken at the outlet before it gives off gas.",
)  # fmt: skip


def gas(
    *,
    flow_ml_min: float,
    effluent_alkalinity_meq_l: float,
    effluent_ph: float,
    alkalinity_meq_l: float,
    ph: float,
    ph_scale: str,
    salinity: float,
    temp_c: float,
    gas_left_kg: float | None,
    aired_pct: float,
) -> Answer:
    use = carbon_dioxide(
        flow_ml_min=flow_ml_min,
        effluent_meq_l=effluent_alkalinity_meq_l,
        effluent_ph_total=to_total(effluent_ph, ph_scale, salinity, temp_c),
        tank_meq_l=alkalinity_meq_l,
        tank_ph_total=to_total(ph, ph_scale, salinity, temp_c),
        salinity=salinity,
        temp_c=temp_c,
    )
    aired = partly_aired(use.effluent, OUTSIDE_UATM, aired_pct / 100)
    kg_day = flow_ml_min * MIN_PER_DAY / 1000 * density_kg_l(salinity, temp_c)
    driven_out = (use.effluent.dic_umol_kg - aired.dic_umol_kg) * kg_day * molar.CO2 / 1e6
    into_tank = use.excess_g_day - driven_out
    lasts = None
    if gas_left_kg is not None and use.total_g_day > 0:
        lasts = days_left(gas_left_kg * 10 * USABLE_GAS_PCT, use.total_g_day)
    do = [
        say(
            "The reactor uses {total} of CO₂ a day; {excess} of it go unused into the tank and press its pH: put that into "
            "the sheets of the day's pH.",
            total=amount("mass", use.total_g_day),
            excess=amount("mass", max(into_tank, 0.0)),
        )
        if use.excess_g_day >= 0
        else say("The effluent holds less CO₂ than its alkalinity took to dissolve: it had lost gas before its pH was read. "
                 "Read the pH at the outlet, in the stream.")
    ]  # fmt: skip
    if lasts == 0:
        do.append(say("The cylinder is empty: change it today."))
    elif lasts is not None:
        do.append(say("The cylinder lasts about {days}: go by its weight, the gauge says nothing while liquid is left.",
                      days=amount("days", lasts)))  # fmt: skip
    return Answer(
        values={
            "co2_g_day": use.total_g_day,
            "excess_g_day": into_tank,
            "aired_ph": from_total(aired.ph_total, ph_scale, salinity, temp_c),
            "cylinder_d": lasts,
            "omega_effluent": use.effluent.omega_aragonite,
        },
        do=tuple(do),
        steps=(
            step(
                "Dissolving the media",
                f"{{delivered}} × {1000 * CO2_G_PER_MEQ:.3f} ÷ 1000 g/meq",
                amount("mass_per_day", use.dissolving_g_day),
                "stoichiometry",
                delivered=amount(
                    "equivalents_per_day",
                    max(delivered_meq_day(flow_ml_min, effluent_alkalinity_meq_l, alkalinity_meq_l), 0.0),
                ),
            ),
            step(
                "Left over in the effluent",
                "{flow} × 1.44 × {density} × ({carbon_of_effluent} − {carbon_of_tank} − {rise_of_alkalinity}) × "
                f"{molar.CO2:.2f} ÷ 10⁶",
                amount("mass_per_day", use.excess_g_day),
                "Lueker 2000",
                flow=amount("drip_flow", flow_ml_min),
                density=amount("density", density_kg_l(salinity, temp_c)),
                carbon_of_effluent=amount("substance", use.effluent.dic_umol_kg),
                carbon_of_tank=amount("substance", use.tank.dic_umol_kg),
                rise_of_alkalinity=amount("substance", use.effluent.alkalinity_umol_kg - use.tank.alkalinity_umol_kg),
            ),
            step(
                "CO₂ in all",
                "{dissolving} + {left_over}",
                amount("mass_per_day", use.total_g_day),
                "mass balance",
                dissolving=amount("mass_per_day", use.dissolving_g_day),
                left_over=amount("mass_per_day", use.excess_g_day),
            ),
            step(
                "Driven out before the tank",
                "{aired} ÷ 100 × ({carbon_dioxide} − {in_balance_with_air}) × {flow} × 1.44 × {density} × "
                f"{molar.CO2:.2f} ÷ 10⁶",
                amount("mass_per_day", driven_out),
                "Weiss 1974",
                aired=amount("percent", aired_pct),
                carbon_dioxide=amount("substance", use.effluent.co2_umol_kg),
                in_balance_with_air=amount("substance", constants(salinity, temp_c).k0 * OUTSIDE_UATM),
                flow=amount("drip_flow", flow_ml_min),
                density=amount("density", density_kg_l(salinity, temp_c)),
            ),
            step(
                "Unused, into the tank",
                "{left_over} − {driven_out}",
                amount("mass_per_day", into_tank),
                "mass balance",
                left_over=amount("mass_per_day", use.excess_g_day),
                driven_out=amount("mass_per_day", driven_out),
            ),
            *lasting_step("Cylinder lasts", gas_left_kg or 0.0, USABLE_GAS_PCT, use.total_g_day, lasts),
        ),
        flags=_effluent_flags(effluent_verdict(use.effluent, max(alkalinity_meq_l, 0.01))),
    )


MEANING = {
    "dissolving": "The effluent dissolves media as it should.",
    "near saturation": "The effluent is saturated: media hardly dissolve. More CO₂, or less flow.",
    "starved of CO₂": "The effluent is hardly stronger than the display: no CO₂ arrives. Weigh the cylinder, look at "
    "valve, bubbles and the pH switch.",
    "too acid": "The effluent is very acid: media turn to mud and the tank's pH suffers. Less CO₂.",
}


def _effluent_flags(verdict: str) -> tuple[Say, ...]:
    return () if verdict == "dissolving" else (say(MEANING[verdict]),)


def effluent(
    *,
    effluent_alkalinity_meq_l: float,
    effluent_ph: float,
    alkalinity_meq_l: float,
    ph: float,
    ph_scale: str,
    salinity: float,
    temp_c: float,
) -> Answer:
    use = carbon_dioxide(
        flow_ml_min=1.0,
        effluent_meq_l=effluent_alkalinity_meq_l,
        effluent_ph_total=to_total(effluent_ph, ph_scale, salinity, temp_c),
        tank_meq_l=alkalinity_meq_l,
        tank_ph_total=to_total(ph, ph_scale, salinity, temp_c),
        salinity=salinity,
        temp_c=temp_c,
    )
    verdict = effluent_verdict(use.effluent, alkalinity_meq_l)
    return Answer(
        values={
            "verdict": verdict,
            "omega_effluent": use.effluent.omega_aragonite,
            "pco2_uatm": use.effluent.pco2_uatm,
        },
        do=(say(MEANING[verdict]),),
        steps=(
            step(
                "Saturation of the effluent with aragonite",
                "from {alkalinity} and {effluent_pH}",
                amount("omega", use.effluent.omega_aragonite),
                "Mucci 1983",
                alkalinity=amount("alkalinity", effluent_alkalinity_meq_l),
                effluent_pH=f"pH {effluent_ph:.2f}",
            ),
            step(
                "CO₂ pressure of the effluent",
                "from {alkalinity} and {effluent_pH}",
                amount("pco2", use.effluent.pco2_uatm),
                "Weiss 1974",
                alkalinity=amount("alkalinity", effluent_alkalinity_meq_l),
                effluent_pH=f"pH {effluent_ph:.2f}",
            ),
        ),
    )


TANK_PH = Input("ph", "pH of the display", "ph", 7.0, 9.0, default=8.2, recall="reading.ph", detail=True)
GAS_VALID = (
    "Salinity 19 to 42, 5 to 34 °C; calcium of the effluent taken as seawater's and what dissolved with its alkalinity; "
    "both pH on the same scale, read at the temperature typed."
)
SHEETS = (
    Worksheet(
        name="reactor-gas",
        title="CO₂ of the reactor",
        subject=SUBJECT,
        purpose="Gas used a day by mass balance, what escapes into the tank, and how long the cylinder lasts.",
        inputs=(
            FLOW,
            EFFLUENT,
            EFFLUENT_PH,
            ALKALINITY,
            TANK_PH,
            PH_SCALE,
            SALINITY,
            TEMP,
            Input("gas_left_kg", "Gas left, by weight", "mass_kg", 0, 60, optional=True,
                  help="Weight now less the empty weight stamped on the cylinder."),
            Input("aired_pct", "Driven out by a trickle, an air stone or a second chamber", "percent", 0, 100, default=0,
                  help="Common practice: none straight into the sump, about half over a trickle, up to 90 % through an "
                  "aired chamber; a second chamber of media uses it instead.", detail=True),
        ),
        outputs=(
            Output("co2_g_day", "CO₂ used", "mass_per_day", main=True),
            Output("cylinder_d", "Cylinder lasts", "days", main=True),
            Output("excess_g_day", "Unused, into the tank", "mass_per_day"),
            Output("aired_ph", "pH of the effluent when it reaches the tank", "ph"),
            Output("omega_effluent", "Saturation of the effluent", "omega"),
        ),
        compute=gas,
        sources=("mass balance", "Lueker 2000", "Weiss 1974", "stoichiometry", "Mucci 1983", "common practice"),
        valid=GAS_VALID,
        cautions=(CO2_GAS,),
    ),
    Worksheet(
        name="reactor-effluent",
        title="What the effluent says",
        subject=SUBJECT,
        purpose="Whether the reactor dissolves media, starves of gas or is too acid.",
        inputs=(EFFLUENT, EFFLUENT_PH, ALKALINITY, TANK_PH, PH_SCALE, SALINITY, TEMP),
        outputs=(
            Output("verdict", "The effluent is", main=True),
            Output("omega_effluent", "Saturation with aragonite", "omega"),
            Output("pco2_uatm", "CO₂ pressure", "pco2"),
        ),
        compute=effluent,
        sources=("Mucci 1983", "Lueker 2000", "Weiss 1974"),
        valid=GAS_VALID,
        cautions=(CO2_GAS,),
    ),
)  # fmt: skip
