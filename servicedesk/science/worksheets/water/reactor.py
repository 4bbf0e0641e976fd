"""Worksheets of the calcium reactor."""

from servicedesk.science.water import molar
from servicedesk.science.water.reactor import (
    CALCIUM_G_PER_MEQ,
    calcium_g_day,
    days_left,
    delivered_meq_day,
    flow_for,
    media_g_day,
)
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import CO2_GAS, Answer, Input, Output, Step, Worksheet, amount, step
from servicedesk.science.worksheets.inputs import ALKALINITY, DEMAND, VOLUME

GREAT_CHANGE = 1.5  # of the flow in one go
FIRST_STEP = 4 / 3  # common practice: a third a day
SUBJECT = "Calcium reactor"
FLOW = Input(
    "flow_ml_min", "Effluent flow", "drip_flow", 0, 5000, recall="check.reactor.drip_ml_min",
    help="Count a measuring cylinder and a clock, not the pump's scale.",
)  # fmt: skip
EFFLUENT = Input(
    "effluent_alkalinity_meq_l", "Alkalinity of the effluent", "alkalinity", 0, 60,
    recall="check.reactor.effluent_alkalinity", usual=(5, 20),
)  # fmt: skip
PURITY = Input("purity_pct", "Carbonate in the media", "percent", 50, 100, default=95, detail=True)


def _delivery_step(flow: float, effluent: float, tank: float, meq_day: float) -> Step:
    return step(
        "Alkalinity delivered",
        "{flow} × 1440 ÷ 1000 × ({effluent} − {tank})",
        amount("equivalents_per_day", meq_day),
        "mass balance",
        flow=amount("drip_flow", flow),
        effluent=amount("alkalinity", effluent),
        tank=amount("alkalinity", tank),
    )


def delivery(
    *,
    volume_l: float,
    flow_ml_min: float,
    effluent_alkalinity_meq_l: float,
    alkalinity_meq_l: float,
    purity_pct: float,
) -> Answer:
    meq_day = delivered_meq_day(flow_ml_min, effluent_alkalinity_meq_l, alkalinity_meq_l)
    media = media_g_day(meq_day, purity_pct / 100)
    rise = meq_day / volume_l
    flags: tuple[Say, ...] = ()
    if meq_day < 0:
        flags = (
            say(
                "The effluent is weaker than the display: a wrong reading, or lime falls out in the reactor. Read both "
                "again, then check CO₂ and media."
            ),
        )
    return Answer(
        values={
            "alkalinity_rise_meq_l_day": rise,
            "delivered_meq_day": meq_day,
            "calcium_g_day": calcium_g_day(meq_day),
            "media_g_day": media,
        },
        do=(
            say(
                "At {flow} the reactor holds against a use of {rise}; each day it brings {calcium} of calcium and "
                "dissolves {media} of media.",
                flow=amount("drip_flow", flow_ml_min),
                rise=amount("alkalinity_per_day", rise),
                calcium=amount("mass", calcium_g_day(meq_day)),
                media=amount("mass", media),
            )
            if meq_day > 0
            else say("The reactor brings nothing: no flow, or an effluent no stronger than the display."),
        ),
        steps=(
            _delivery_step(flow_ml_min, effluent_alkalinity_meq_l, alkalinity_meq_l, meq_day),
            step(
                "What it holds against",
                "{delivered} ÷ {volume}",
                amount("alkalinity_per_day", rise),
                "mass balance",
                delivered=amount("equivalents_per_day", meq_day),
                volume=amount("volume", volume_l),
            ),
            _media_step(meq_day, purity_pct, media),
            step(
                "Calcium",
                f"{{delivered}} × {1000 * CALCIUM_G_PER_MEQ:.2f} ÷ 1000 g/meq",
                amount("mass_per_day", calcium_g_day(meq_day)),
                "stoichiometry",
                delivered=amount("equivalents_per_day", meq_day),
            ),
        ),
        flags=flags,
    )


def _media_step(meq_day: float, purity_pct: float, media: float) -> Step:
    return step(
        "Media dissolved",
        f"{{delivered}} × {molar.CACO3 / 2:.2f} ÷ 1000 g/meq ÷ {{purity}}",
        amount("mass_per_day", media),
        "stoichiometry",
        delivered=amount("equivalents_per_day", meq_day),
        purity=amount("percent", purity_pct),
    )


def _great_change(flow: float, now: float | None) -> tuple[Say, ...]:
    """A flow far from today's is reached in steps, or is a slip."""
    if not now or flow <= 0 or 1 / GREAT_CHANGE <= flow / now <= GREAT_CHANGE:
        return ()
    return (
        say(
            "{flow} is {times} times the flow now of {now}. If the alkalinity has held, limewater and dosers bring the "
            "rest: type what they bring. Else go there by at most a third a day, reading effluent and display each time "
            "(common practice).",
            flow=amount("drip_flow", flow),
            times=f"{flow / now:.1f}",
            now=amount("drip_flow", now),
        ),
    )


def _set_flow(flow: float, now: float | None) -> Say:
    """Today's setting: the whole way, or a third of today's flow towards it."""
    if now and flow > 0 and not 1 / GREAT_CHANGE <= flow / now <= GREAT_CHANGE:
        today = now * FIRST_STEP if flow > now else now / FIRST_STEP
        return say(
            "Set the effluent to {today} today ({seconds} for 100 mL), on the way to {flow}.",
            today=amount("drip_flow", today),
            seconds=f"{6000 / today:.0f} s",
            flow=amount("drip_flow", flow),
        )
    return say(
        "Set the effluent to {flow}: {seconds} for 100 mL.",
        flow=amount("drip_flow", flow),
        seconds=f"{6000 / flow:.0f} s",
    )


def setting(
    *,
    volume_l: float,
    demand_meq_l_day: float,
    effluent_alkalinity_meq_l: float,
    alkalinity_meq_l: float,
    other_meq_day: float,
    flow_now_ml_min: float | None,
    media_kg: float,
    purity_pct: float,
) -> Answer:
    needed = max(demand_meq_l_day * volume_l - other_meq_day, 0.0)
    flow = flow_for(needed, effluent_alkalinity_meq_l, alkalinity_meq_l)
    media = media_g_day(needed, purity_pct / 100)
    lasts = days_left(media_kg * 1000, media)
    return Answer(
        values={
            "flow_ml_min": flow,
            "needed_meq_day": needed,
            "media_g_day": media,
            "media_days_d": lasts if media else None,
        },
        do=(
            say(
                "Limewater and dosers cover the use: stop the feed and the CO₂ of the reactor, and read the alkalinity "
                "again in three days."
            ),
        )
        if flow == 0
        else (
            _set_flow(flow, flow_now_ml_min),
            say("Measure the flow again in an hour, the effluent's alkalinity the next day: it falls as flow rises."),
            *(
                (
                    say(
                        "The media above the refill mark last about {days}.",
                        days=amount("days", lasts),
                    ),
                )
                if media
                else ()
            ),
        ),
        flags=_great_change(flow, flow_now_ml_min),
        steps=(
            step(
                "Needed from the reactor",
                "{demand} × {volume} − {others}",
                amount("equivalents_per_day", needed),
                "mass balance",
                demand=amount("alkalinity_per_day", demand_meq_l_day),
                volume=amount("volume", volume_l),
                others=amount("equivalents_per_day", other_meq_day),
            ),
            step(
                "Flow",
                "{needed} × 1000 ÷ 1440 ÷ ({effluent} − {tank})",
                amount("drip_flow", flow),
                "mass balance",
                needed=amount("equivalents_per_day", needed),
                effluent=amount("alkalinity", effluent_alkalinity_meq_l),
                tank=amount("alkalinity", alkalinity_meq_l),
            ),
            _media_step(needed, purity_pct, media),
            *lasting_step("Media last", media_kg, 100.0, media, lasts),
        ),
    )


def lasting_step(
    label: str, stock_kg: float, usable_pct: float, use_g_day: float, lasts: float | None
) -> tuple[Step, ...]:
    """The days of a stock of media or gas, when any is used."""
    if lasts is None or use_g_day <= 0:
        return ()
    return (
        step(
            label,
            "{stock} × 1000 × {usable} ÷ 100 ÷ {use}",
            amount("days", lasts),
            "mass balance",
            stock=amount("mass_kg", stock_kg),
            usable=amount("percent", usable_pct),
            use=amount("mass_per_day", use_g_day),
        ),
    )


SHEETS = (
    Worksheet(
        name="reactor-delivery",
        title="What the reactor delivers",
        subject=SUBJECT,
        purpose="Alkalinity, calcium and media from the drip rate and the alkalinity of the effluent.",
        inputs=(VOLUME, FLOW, EFFLUENT, ALKALINITY, PURITY),
        outputs=(
            Output("alkalinity_rise_meq_l_day", "It holds against a use of", "alkalinity_per_day", main=True),
            Output("delivered_meq_day", "Alkalinity delivered", "equivalents_per_day"),
            Output("calcium_g_day", "Calcium delivered", "mass_per_day"),
            Output("media_g_day", "Media dissolved", "mass_per_day"),
        ),
        compute=delivery,
        sources=("mass balance", "stoichiometry"),
        valid="Steady drip; alkalinity of the effluent may be read after it has stood, its pH may not.",
        cautions=(CO2_GAS,),
    ),
    Worksheet(
        name="reactor-setting",
        title="Set the reactor",
        subject=SUBJECT,
        purpose="The effluent flow that covers what the animals use, and how long the media last.",
        inputs=(
            VOLUME,
            DEMAND,
            EFFLUENT,
            ALKALINITY,
            Input("other_meq_day", "Brought by limewater and dosers", "equivalents_per_day", 0, 1e6, default=0),
            Input("flow_now_ml_min", "Effluent flow now", "drip_flow", 0, 5000, optional=True,
                  recall="check.reactor.drip_ml_min"),
            Input("media_kg", "Media above the refill mark", "mass_kg", 0, 500, default=5),
            PURITY,
        ),
        outputs=(
            Output("flow_ml_min", "Effluent flow", "drip_flow", main=True),
            Output("needed_meq_day", "Needed from the reactor", "equivalents_per_day"),
            Output("media_g_day", "Media dissolved", "mass_per_day"),
            Output("media_days_d", "Media last", "days"),
        ),
        compute=setting,
        sources=("mass balance", "stoichiometry"),
        valid="The effluent keeps its alkalinity at the new flow: measure it again a day later.",
        cautions=(CO2_GAS,),
    ),
)  # fmt: skip
