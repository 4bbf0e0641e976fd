"""Worksheets of the calcium reactor."""

from servicedesk.science.water.reactor import delivered_meq_day, media_g_day
from servicedesk.science.worksheets.declare import CO2_GAS, Answer, Input, Output, Worksheet, amount, say, step

VOLUME = Input("volume_l", "Net volume of the system", "volume", 50, 2e6, recall="net_volume")


def delivery(
    *, volume_l: float, flow_ml_min: float, effluent_alkalinity_meq_l: float, alkalinity_meq_l: float
) -> Answer:
    meq_day = delivered_meq_day(flow_ml_min, effluent_alkalinity_meq_l, alkalinity_meq_l)
    media = media_g_day(meq_day)
    rise = meq_day / volume_l
    return Answer(
        values={"delivered_meq_day": meq_day, "alkalinity_rise_meq_l_day": rise, "media_g_day": media},
        do=(
            say(
                "At {flow} this reactor gives {rise}; it dissolves {media} of media.",
                flow=amount("drip_flow", flow_ml_min),
                rise=amount("alkalinity_per_day", rise),
                media=amount("mass_per_day", media),
            ),
        ),
        steps=(
            step(
                "Alkalinity delivered",
                "{flow} × 1440 ÷ 1000 × ({effluent} − {tank})",
                amount("equivalents_per_day", meq_day),
                "mass balance",
                flow=amount("drip_flow", flow_ml_min),
                effluent=amount("alkalinity", effluent_alkalinity_meq_l),
                tank=amount("alkalinity", alkalinity_meq_l),
            ),
        ),
    )


SHEETS = (
    Worksheet(
        name="reactor-delivery",
        title="What the reactor delivers",
        subject="Calcium reactor",
        purpose="Alkalinity, calcium and media from the drip rate and the alkalinity of the effluent.",
        inputs=(
            VOLUME,
            Input("flow_ml_min", "Effluent flow", "drip_flow", 0, 5000, recall="check.reactor.drip_ml_min"),
            Input("effluent_alkalinity_meq_l", "Alkalinity of the effluent", "alkalinity", 0, 60,
                  recall="check.reactor.effluent_alkalinity", usual=(5, 20)),
            Input("alkalinity_meq_l", "Alkalinity of the display", "alkalinity", 0, 12, recall="reading.alkalinity"),
        ),
        outputs=(
            Output("delivered_meq_day", "Alkalinity delivered", "equivalents_per_day"),
            Output("alkalinity_rise_meq_l_day", "What it holds against", "alkalinity_per_day", main=True),
            Output("media_g_day", "Media dissolved", "mass_per_day"),
        ),
        compute=delivery,
        sources=("mass balance", "stoichiometry"),
        valid="Steady drip; effluent sampled before it degasses.",
        cautions=(CO2_GAS,),
    ),
)  # fmt: skip
