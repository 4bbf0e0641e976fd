"""Worksheets of evaporation and the dehumidifier."""

from servicedesk.science.plant import evaporation as science
from servicedesk.science.plant.air import MoistAir, moist_air, saturation_pressure_pa
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    MAINS,
    Answer,
    Curve,
    Input,
    LineChart,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.plant import asked
from servicedesk.science.worksheets.telling import number_text

FAN_M_S = 1.0
PINT_L = 0.473176473
KG_KWH = 1.8  # water taken per kWh by a refrigerant dehumidifier, common practice


def evaporation(
    *,
    temp_c: float,
    room_c: float,
    room_humidity_pct: float,
    surface_m2: float,
    lid_pct: float,
    metered_l_day: float | None,
    air_m_s: float,
    water_state: str,
    salinity: float,
    altitude_m: float,
) -> Answer:
    air = asked.air_of(room_c, room_humidity_pct, altitude_m)
    activity = asked.ACTIVITY[water_state]
    rate = science.evaporation_rate(temp_c=temp_c, air=air, air_m_s=air_m_s, activity=activity, salinity=salinity)
    opened = surface_m2 * (1 - lid_pct / 100)
    calculated = science.litres_a_day(rate.kg_m2h, opened)
    factor = None
    if metered_l_day is not None and calculated > 0:
        factor = science.fitted_factor(metered_l_day, calculated)
    used = calculated if metered_l_day is None else metered_l_day
    latent_w = used * science.FRESH_KG_L / science.DAY_H / 3.6 * science.latent_heat_kj_kg(temp_c)
    return Answer(
        values={
            "evaporation_l_day": used,
            "calculated_l_day": calculated,
            "factor": factor,
            "latent_w": latent_w,
            "dew_point_c": air.dew_point_c,
            "humidity_ratio_g_kg": 1000 * air.humidity_ratio,
        },
        do=_evaporation_do(used, calculated, factor, latent_w),
        steps=(
            step("Vapour pressure at the water", "{over_pure_water} × (1 − 0.000537 × {salinity})",
                 amount("pressure", science.seawater_vapour_pa(temp_c, salinity) / 1000), "Witting 1908",
                 over_pure_water=amount("pressure", saturation_pressure_pa(temp_c) / 1000),
                 salinity=amount("salinity", salinity)),
            step("Vapour pressure of the room", "{saturated} × {humidity}",
                 amount("pressure", air.vapour_pa / 1000), "ASHRAE Fundamentals",
                 saturated=amount("pressure", saturation_pressure_pa(room_c) / 1000),
                 humidity=amount("percent", room_humidity_pct)),
            *_shah_steps(rate, temp_c, air, salinity),
            step("ASHRAE pool formula", "{difference} × (0.089 + 0.0782 × {speed}) ÷ {latent} kJ/kg × {activity} × 3.6 × 10⁶,"
                 " g/h on 1 m²", amount("mass_per_hour", 1000 * rate.ashrae_kg_m2h), "ASHRAE Natatoriums",
                 difference=amount("pressure", (science.seawater_vapour_pa(temp_c, salinity) - air.vapour_pa) / 1000),
                 speed=amount("velocity", air_m_s), latent=f"{science.latent_heat_kj_kg(temp_c):.0f}",
                 activity=amount("ratio", activity)),
            step("A day, the largest of these", "{rate} × {open_surface} × 24 ÷ 997",
                 amount("volume_per_day", calculated), rate.source,
                 rate=amount("mass_per_hour", 1000 * rate.kg_m2h), open_surface=amount("area", opened)),
            step("Heat it takes", "{evaporation} × 0.997 × {latent} kJ/kg ÷ 86.4", amount("power", latent_w),
                 "IAPWS-IF97", evaporation=amount("volume_per_day", used),
                 latent=f"{science.latent_heat_kj_kg(temp_c):.0f}"),
        ),
        flags=_evaporation_flags(rate, factor, air, air_m_s, room_humidity_pct),
        charts=(_humidity_chart(temp_c, air, opened, activity, salinity, factor or 1.0),),
    )  # fmt: skip


def _shah_steps(rate: science.Rate, temp_c: float, air: MoistAir, salinity: float) -> tuple[Step, ...]:
    """Both parts of Shah's formula with their numbers; nothing outside its range."""
    if rate.shah_kg_m2h is None:
        return ()
    terms = science.shah_terms(temp_c=temp_c, air=air, salinity=salinity)
    difference = science.seawater_vapour_pa(temp_c, salinity) - air.vapour_pa
    return (
        step("Shah, the air that rises", "35000 × {air_at_water} × ({air_of_room} − {air_at_water})^⅓ × ({moist_at_water} − "
             "{moist_in_room}), g/h on 1 m²", amount("mass_per_hour", 1000 * terms.natural_kg_m2h), "Shah 2014",
             air_at_water=f"{terms.water_kg_m3:.4f} kg/m³", air_of_room=f"{terms.room_kg_m3:.4f} kg/m³",
             moist_at_water=f"{terms.water_ratio:.5f} kg/kg", moist_in_room=f"{terms.room_ratio:.5f} kg/kg"),
        step("Shah, the least draught", "0.05 × {difference}, g/h on 1 m²",
             amount("mass_per_hour", 1000 * terms.forced_kg_m2h), "Shah 2014", difference=f"{difference:.0f} Pa"),
    )  # fmt: skip


def _evaporation_do(used: float, calculated: float, factor: float | None, latent_w: float) -> tuple[Say, ...]:
    if used < 0:
        return (
            say("The room is so humid that {water} condenses onto the water: expect the level to rise, no top-off.",
                water=amount("volume_per_day", -used)),
        )  # fmt: skip
    lines = [
        say(
            "Plan {evaporation} of top-off and {latent} of cooling by it; a reservoir for a week holds {week}.",
            evaporation=amount("volume_per_day", used),
            latent=amount("power", latent_w),
            week=amount("volume", 7 * used),
        )
    ]
    if factor is not None:
        lines.append(
            say(
                "The meter wins over the formula ({calculated}): type the factor {factor} in the other sheets.",
                calculated=amount("volume_per_day", calculated),
                factor=amount("ratio", factor),
            )
        )
    else:
        lines.append(say("Check it against a week of metered top-off: weirs, skimmer and sump add to the formula."))
    return tuple(lines)


def _evaporation_flags(
    rate: science.Rate, factor: float | None, air: MoistAir, air_m_s: float, humidity: float
) -> tuple[Say, ...]:
    flags = []
    if rate.shah_kg_m2h is None:
        flags.append(say("Outside Shah’s range (water from 7 °C, air 6 to 35 °C, air drier than the water’s surface): "
                         "ASHRAE’s formula alone is used."))  # fmt: skip
    flags += asked.evaporation_flags(air_m_s, humidity)
    if factor is not None and not 0.5 <= factor <= 3:
        flags.append(say("Metered and calculated differ by {factor} times: look for a leak, a sticking valve, a wrong "
                         "surface or a second top-off.", factor=amount("ratio", factor)))  # fmt: skip
    if air.humidity_pct > 65:
        flags.append(say("Above 65 % of humidity mould grows in the room: see the dehumidifier."))
    return tuple(flags)


def _humidity_chart(
    temp_c: float, air: MoistAir, opened: float, activity: float, salinity: float, factor: float
) -> LineChart:
    humidities = tuple(float(pct) for pct in range(20, 95, 5))

    def litres(speed: float) -> tuple[float, ...]:
        rates = [
            science.evaporation_rate(
                temp_c=temp_c,
                air=moist_air(temp_c=air.temp_c, humidity_pct=pct, pressure_pa=air.pressure_pa),
                air_m_s=speed,
                activity=activity,
                salinity=salinity,
            )
            for pct in humidities
        ]
        return tuple(science.litres_a_day(rate.kg_m2h, opened, factor) for rate in rates)

    return LineChart(
        title="Evaporation against the humidity of the room",
        x_label="Humidity",
        x_quantity="percent",
        y_label="Evaporation",
        y_quantity="volume_per_day",
        curves=(Curve("still air", humidities, litres(0.1)), Curve("fan, 1 m/s", humidities, litres(FAN_M_S))),
    )


def dehumidifier(
    *,
    temp_c: float,
    room_c: float,
    room_humidity_pct: float,
    surface_m2: float,
    lid_pct: float,
    evaporation_l_day: float | None,
    person_hours: float,
    fresh_m3_h: float,
    outdoor_c: float,
    outdoor_humidity_pct: float,
    margin_pct: float,
    nameplate_share_pct: float,
    air_m_s: float,
    water_state: str,
    salinity: float,
    altitude_m: float,
) -> Answer:
    inside = asked.air_of(room_c, room_humidity_pct, altitude_m)
    outside = asked.air_of(outdoor_c, outdoor_humidity_pct, altitude_m)
    activity, opened = asked.ACTIVITY[water_state], surface_m2 * (1 - lid_pct / 100)
    rate = science.evaporation_rate(temp_c=temp_c, air=inside, air_m_s=air_m_s, activity=activity, salinity=salinity)
    calculated = max(science.litres_a_day(rate.kg_m2h, opened), 0.0)
    evaporated = calculated if evaporation_l_day is None else evaporation_l_day
    people_kg = person_hours * science.PERSON_KG_H
    vented_kg = science.air_change_kg_day(inside=inside, outside=outside, flow_m3_h=fresh_m3_h)
    surplus_l = science.dehumidifier_l_day(
        evaporation_l_day=evaporated, people_kg_day=people_kg, air_change_kg_day=vented_kg
    )
    nameplate = surplus_l * (1 + margin_pct / 100) / (nameplate_share_pct / 100)
    alone_pct = science.humidity_left_alone_pct(
        temp_c=temp_c,
        room_c=room_c,
        area_m2=opened,
        people_kg_day=people_kg,
        outside=outside,
        flow_m3_h=fresh_m3_h,
        air_m_s=air_m_s,
        activity=activity,
        factor=max(evaporated / calculated, 0.01) if calculated > 0 else 1.0,
        salinity=salinity,
    )
    moist = evaporated > 0 or people_kg > 0 or fresh_m3_h > 0
    power_w = surplus_l / KG_KWH / science.DAY_H * 1000
    back_w = surplus_l / science.DAY_H / 3.6 * science.latent_heat_kj_kg(room_c) + power_w
    return Answer(
        values={
            "nameplate_l_day": nameplate,
            "surplus_l_day": surplus_l,
            "evaporation_l_day": evaporated,
            "vented_l_day": vented_kg / science.FRESH_KG_L,
            "alone_pct": alone_pct if moist else None,
            "heat_back_w": back_w,
            "energy_kwh": power_w * 24 / 1000,
        },
        do=_dehumidifier_do(nameplate, room_humidity_pct, alone_pct, back_w) if moist else (_nothing_moistens(),),
        steps=(
            step("Evaporation", "{rate} × {open_surface} × 24 ÷ 997" if evaporation_l_day is None else "metered",
                 amount("volume_per_day", evaporated), rate.source if evaporation_l_day is None else "mass balance",
                 **({"rate": amount("mass_per_hour", 1000 * rate.kg_m2h), "open_surface": amount("area", opened)}
                    if evaporation_l_day is None else {})),
            step("People", "{hours} person-hours × 80 g", amount("mass_per_day", people_kg * 1000),
                 "ASHRAE Fundamentals", hours=amount("count", person_hours)),
            step("Taken by fresh air", "{flow} × {density} kg/m³ × 24 × ({inside} − {outside})",
                 amount("mass_per_day", vented_kg * 1000), "ASHRAE Fundamentals", flow=amount("air_flow", fresh_m3_h),
                 density=number_text(outside.dry_air_kg_m3),
                 inside=amount("humidity_ratio", 1000 * inside.humidity_ratio),
                 outside=amount("humidity_ratio", 1000 * outside.humidity_ratio)),
            step("Water to take out", "{evaporation} + ({people} − {vented}) ÷ 0.997",
                 amount("volume_per_day", surplus_l), "mass balance",
                 evaporation=amount("volume_per_day", evaporated), people=amount("mass_per_day", people_kg * 1000),
                 vented=amount("mass_per_day", vented_kg * 1000)),
            step("Nameplate", "{water} × (1 + {margin}) ÷ {share}", amount("volume_per_day", nameplate),
                 "common practice", water=amount("volume_per_day", surplus_l), margin=amount("percent", margin_pct),
                 share=amount("percent", nameplate_share_pct)),
        ),
        flags=(
            *(_dehumidifier_flags(vented_kg, alone_pct, inside) if moist else ()),
            *(asked.evaporation_flags(air_m_s, room_humidity_pct) if evaporation_l_day is None else ()),
        ),
        charts=(),
    )  # fmt: skip


def _nothing_moistens() -> Say:
    return say("Nothing that is typed moistens the room, so no dehumidifier is needed: check the evaporation.")


def _dehumidifier_do(nameplate: float, humidity: float, alone: float, back_w: float) -> tuple[Say, ...]:
    if nameplate == 0:
        return (
            say("No dehumidifier is needed in this season: fresh air holds the room at {alone} or less, below {humidity}.",
                alone=amount("percent", alone), humidity=amount("percent", humidity)),
        )  # fmt: skip
    return (
        say(
            "Choose a dehumidifier of {size} ({pints} US pints a day) on its nameplate, set it to {humidity}, and lead its "
            "water to a drain, never back to the tank.",
            size=amount("volume_per_day", nameplate),
            pints=amount("ratio", nameplate / PINT_L),
            humidity=amount("percent", humidity),
        ),
        say(
            "It gives {heat} back to the room as dry heat: tell whoever sizes the air-conditioning.",
            heat=amount("power", back_w),
        ),
    )


def _dehumidifier_flags(vented_kg: float, alone: float, inside: MoistAir) -> tuple[Say, ...]:
    flags = []
    if alone >= 100:
        flags.append(say("Without a dehumidifier the room would run wet: water on walls, windows and machines."))
    elif alone > inside.humidity_pct:
        flags.append(say("Without a dehumidifier the room settles at {alone}.", alone=amount("percent", alone)))
    if vented_kg < 0:
        flags.append(
            say(
                "The outdoor air brings moisture in: a larger machine, or less fresh air on such days, but never less than the "
                "code asks for people, nor where CO₂ is used."
            )
        )
    if inside.temp_c < 18:
        flags.append(
            say("Below about 18 °C refrigerant dehumidifiers ice up: choose one that defrosts, or a desiccant one.")
        )
    return tuple(flags)


SHEETS = (
    Worksheet(
        name="evaporation",
        title="Evaporation of the tank",
        subject="Air and evaporation",
        purpose="Top-off a day, the cooling that comes with it, and how air and humidity change it.",
        inputs=(
            asked.WATER,
            asked.ROOM,
            asked.HUMIDITY,
            asked.SURFACE,
            asked.LIDS,
            Input("metered_l_day", "Metered top-off", "volume_per_day", 0, 1e5, optional=True, recall="evaporation",
                  help="Mean of a week; it wins over the formula."),
            asked.AIR_SPEED,
            asked.SURFACE_STATE,
            asked.SALINITY,
            asked.ALTITUDE,
        ),
        outputs=(
            Output("evaporation_l_day", "Evaporation", "volume_per_day", main=True),
            Output("calculated_l_day", "By the formula", "volume_per_day"),
            Output("factor", "Metered ÷ formula", "ratio"),
            Output("latent_w", "Heat it takes from the water", "power"),
            Output("dew_point_c", "Dew point of the room", "temperature"),
            Output("humidity_ratio_g_kg", "Moisture of the room’s air", "humidity_ratio"),
        ),
        compute=evaporation,
        sources=("Shah 2014", "ASHRAE Natatoriums", "ASHRAE Fundamentals", "Witting 1908", "IAPWS-IF97"),
        valid="Shah: water from 7 °C, air 6 to 35 °C, 28 to 98 %; ASHRAE: stated for 0.05 to 0.15 m/s, used to 3 m/s.",
    ),
    Worksheet(
        name="dehumidifier",
        title="Dehumidifier for the room",
        subject="Air and evaporation",
        purpose="Litres a day to take out of the room’s air, and what the room does without.",
        inputs=(
            asked.WATER,
            asked.ROOM,
            Input("room_humidity_pct", "Humidity to hold", "percent", 20, 90, default=50, usual=(40, 60),
                  help="Common practice 45 to 55 %."),
            asked.SURFACE,
            asked.LIDS,
            Input("evaporation_l_day", "Metered top-off", "volume_per_day", 0, 1e5, optional=True,
                  recall="evaporation", help="Empty: by the formula at the humidity to hold."),
            Input("fresh_m3_h", "Fresh outdoor air", "air_flow", 0, 1e6, default=0,
                  help="Ventilation and leaks; a tight room changes a tenth to half of its air an hour."),
            Input("outdoor_c", "Outdoors", "temperature", -30, 45, default=25.0,
                  help="Take the most humid season, when fresh air helps least."),
            Input("outdoor_humidity_pct", "Humidity outdoors", "percent", 5, 100, default=70),
            Input("person_hours", "People × hours in the day", "count", 0, 20000, default=0, detail=True),
            Input("margin_pct", "Margin", "percent", 0, 100, default=25, detail=True),
            Input("nameplate_share_pct", "Share of the nameplate given at the room’s state", "percent", 20, 100,
                  default=60, detail=True, help="Common practice 50 to 70 % at 22 °C and 50 %; from the maker."),
            asked.AIR_SPEED,
            asked.SURFACE_STATE,
            asked.SALINITY,
            asked.ALTITUDE,
        ),
        outputs=(
            Output("nameplate_l_day", "Dehumidifier, nameplate", "volume_per_day", main=True),
            Output("surplus_l_day", "Water to take out", "volume_per_day"),
            Output("evaporation_l_day", "Evaporation", "volume_per_day"),
            Output("vented_l_day", "Taken out by fresh air", "volume_per_day"),
            Output("alone_pct", "Humidity without a dehumidifier", "percent"),
            Output("heat_back_w", "Heat it gives the room", "power"),
            Output("energy_kwh", "Electricity a day", "energy"),
        ),
        compute=dehumidifier,
        sources=("mass balance", "Shah 2014", "ASHRAE Natatoriums", "ASHRAE Fundamentals", "common practice"),
        valid="Room at rest and well mixed, walls that neither take nor give moisture; formulas as in evaporation.",
        cautions=(MAINS,),
    ),
)  # fmt: skip
