"""What the worksheets of oxygen share: inputs, and the use of oxygen with its sum."""

from servicedesk.science.water import oxygen
from servicedesk.science.water.nitrification import OXYGEN_G_PER_G_N, ammonia_g_day
from servicedesk.science.worksheets.declare import (
    BarChart,
    Input,
    Step,
    amount,
    step,
)

PROTEIN = 0.45
FISH = Input("fish_kg", "Fish in all", "mass_kg", 0, 20000, recall="animals.fish_kg")
FISH_RATE = Input("respiration_mg_kg_h", "Oxygen used by fish", "respiration", 50, 1500, default=300, usual=(200, 400),
                  help="Common practice 200 to 400 at rest and fed; after feeding or a fright up to twice.",
                  detail=True)  # fmt: skip
REEF_RATE = Input("reef_mg_l_h", "Use of corals, rock and sand by night", "oxygen_per_hour", 0, 2, default=0.2,
                  help="Common practice 0.1 to 0.5 mg/L an hour, the more corals the more.", detail=True)  # fmt: skip
FEED = Input("feed_g_day", "Dry feed a day", "mass_per_day", 0, 50000, default=0, recall="programme.feed_g_day",
             help="Its ammonia is nitrified with oxygen.")  # fmt: skip
CARBON = Input("carbon_oxygen_g_day", "Oxygen used by carbon dosed", "mass_per_day", 0, 20000, default=0,
               help="From the sheet carbon-dosing.", detail=True)  # fmt: skip


def demand(
    volume_l: float, fish_kg: float, feed_g_day: float, fish_mg_kg_h: float, reef_mg_l_h: float, carbon_g_day: float
) -> oxygen.Demand:
    return oxygen.demand(
        volume_l=volume_l,
        fish_kg=fish_kg,
        fish_mg_kg_h=fish_mg_kg_h,
        nitrified_g_n_day=ammonia_g_day(feed_g_day, PROTEIN),
        reef_mg_l_h=reef_mg_l_h,
        carbon_oxygen_g_day=carbon_g_day,
    )


def saturation_step(full: float, salinity: float, temp_c: float, altitude_m: float) -> Step:
    return step(
        "Oxygen at saturation",
        "equation of Garcia & Gordon at {salinity}, {temperature}, {altitude}",
        amount("oxygen", full),
        "Garcia & Gordon 1992",
        salinity=amount("salinity", salinity),
        temperature=amount("temperature", temp_c),
        altitude=amount("altitude", altitude_m),
    )


def demand_steps(
    use: oxygen.Demand, volume_l: float, fish_kg: float, fish_mg_kg_h: float, feed_g_day: float
) -> tuple[Step, ...]:
    return (
        step(
            "Used by fish",
            "{fish} × {rate} ÷ {volume}",
            amount("oxygen_per_hour", use.fish),
            "common practice",
            fish=amount("mass_kg", fish_kg),
            rate=amount("respiration", fish_mg_kg_h),
            volume=amount("volume", volume_l),
        ),
        step(
            "Used in nitrifying",
            "0.092 × 0.45 × {feed} × {per_n} ÷ 24 × 1000 ÷ {volume}",
            amount("oxygen_per_hour", use.nitrification),
            "Timmons & Ebeling",
            feed=amount("mass_per_day", feed_g_day),
            per_n=amount("ratio", OXYGEN_G_PER_G_N),
            volume=amount("volume", volume_l),
        ),
        step(
            "Used in all",
            "{fish} + {nitrification} + {reef} + {carbon}",
            amount("oxygen_per_hour", use.total),
            "mass balance",
            fish=amount("oxygen_per_hour", use.fish),
            nitrification=amount("oxygen_per_hour", use.nitrification),
            reef=amount("oxygen_per_hour", use.reef),
            carbon=amount("oxygen_per_hour", use.carbon),
        ),
    )


def demand_chart(use: oxygen.Demand, volume_l: float) -> BarChart:
    parts = (("Fish", use.fish), ("Nitrification", use.nitrification), ("Corals, rock, sand", use.reef),
             ("Carbon dosed", use.carbon))  # fmt: skip
    bars = tuple((name, value * volume_l / 1000) for name, value in parts if value)
    return BarChart("Who uses the oxygen by night", "mass_per_hour", bars, "In all")
