"""Worksheet of the heat balance of a tank and its room over a design day."""

from math import cos, pi
from typing import Any

from servicedesk.science.constants import ATM_PA, ZERO_C_K
from servicedesk.science.plant.air import MoistAir
from servicedesk.science.plant.design_day import (
    PERSON_LATENT_W,
    PERSON_SENSIBLE_W,
    Day,
    Equipment,
    Hour,
    design_day,
    on_share,
)
from servicedesk.science.plant.evaporation import FRESH_KG_L, evaporation_rate, latent_heat_kj_kg, seawater_vapour_pa
from servicedesk.science.plant.heat import LID_U_W_M2K, PSYCHROMETRIC_PA_K, Tank, heat_capacity_j_k, sun_heat_w
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    Answer,
    BarChart,
    Curve,
    Input,
    LineChart,
    Listing,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.plant import asked
from servicedesk.science.worksheets.telling import amount_text, number_text

WARMEST_H = 16  # a room follows the outdoors, warmest in the afternoon
MANY_BARS_W = 0.5


def heat_balance(
    *,
    volume_l: float,
    temp_c: float,
    room_c: float,
    room_night_c: float | None,
    room_humidity_pct: float,
    submerged_pump_w: float,
    external_pump_w: float,
    other_w: float,
    lamp_w: float,
    lights_on: float,
    lights_off: float,
    external_share_pct: float,
    lamp_share_pct: float,
    sunlit_m2: float,
    sun_w_m2: float,
    sun_gain_pct: float,
    sun_from: float,
    sun_to: float,
    people: float,
    people_from: float,
    people_to: float,
    top_off_c: float,
    change_l_day: float,
    new_water_c: float,
    altitude_m: float,
    **body: Any,
) -> Answer:
    tank = asked.tank_of(volume_l=volume_l, **body)
    night_c = room_c if room_night_c is None else room_night_c
    temps = [_room_c(hour, room_c, night_c) for hour in range(24)]
    equipment = Equipment(
        submerged_pump_w=submerged_pump_w,
        external_pump_w=external_pump_w,
        external_pump_share=external_share_pct / 100,
        other_w=other_w,
        lamp_w=lamp_w,
        lamp_share=lamp_share_pct / 100,
        lamps_from_h=lights_on,
        lamps_to_h=lights_off,
        sun_w=sun_heat_w(sunlit_m2, sun_w_m2, sun_gain_pct / 100),
        sun_from_h=sun_from,
        sun_to_h=sun_to,
        people=people,
        people_from_h=people_from,
        people_to_h=people_to,
        top_off_c=top_off_c,
        change_l_day=change_l_day,
        change_c=new_water_c,
    )
    day = design_day(
        tank,
        temp_c=temp_c,
        room=[asked.air_of(t, room_humidity_pct, altitude_m) for t in temps],
        equipment=equipment,
    )
    worst, room = day.worst, max(day.hours, key=lambda hour: hour.room_sensible_w + hour.room_latent_w)
    drift_k = worst.total_w * 3600 / heat_capacity_j_k(volume_l, temp_c, tank.salinity)
    return Answer(
        values={
            "worst_gain_w": worst.total_w,
            "worst_at": float(worst.hour),
            "humid_gain_w": max(_without_evaporation(hour) for hour in day.hours),
            "mean_gain_w": day.mean_w,
            "least_gain_w": day.coldest.total_w,
            "gain_kwh": day.gain_kwh,
            "loss_kwh": day.loss_kwh,
            "evaporation_l_day": day.evaporation_l,
            "drift_k": drift_k,
            "room_sensible_w": room.room_sensible_w,
            "room_latent_w": room.room_latent_w,
        },
        do=_do(day, room, drift_k),
        steps=_steps(
            day, room, equipment, tank, temp_c, asked.air_of(temps[worst.hour], room_humidity_pct, altitude_m)
        ),
        flags=(*_flags(day, worst, temps, temp_c), *asked.evaporation_flags(tank.air_m_s, room_humidity_pct)),
        charts=(_bars(worst), _lines(day)),
        listings=(_timetable(day, temps),),
    )


def _without_evaporation(hour: Hour) -> float:
    return hour.total_w - min(hour.parts["Evaporation"], 0.0)


def _room_c(hour: int, day_c: float, night_c: float) -> float:
    middle, half = (day_c + night_c) / 2, (day_c - night_c) / 2
    return middle + half * cos(2 * pi * (hour + 0.5 - WARMEST_H) / 24)


def _do(day: Day, room: Hour, drift_k: float) -> tuple[Say, ...]:
    worst, coldest = day.worst, day.coldest
    lines = []
    if worst.total_w > 0:
        lines.append(
            say(
                "Plan cooling of {gain} for the hour from {at}, before any margin, and {energy} of heat in the day; "
                "with no cooling the water would warm {drift} in that hour.",
                gain=amount("power", worst.total_w),
                at=amount("clock", worst.hour),
                energy=amount("energy", day.gain_kwh),
                drift=amount("temperature_difference", drift_k),
            )
        )
    if coldest.total_w < 0:
        lines.append(
            say(
                "Plan heating of {loss} for the hour from {at}, before any margin, and {energy} of heat in the day.",
                loss=amount("power", -coldest.total_w),
                at=amount("clock", coldest.hour),
                energy=amount("energy", day.loss_kwh),
            )
        )
    lines.append(
        say(
            "Give the building’s engineer this for the room, at its most about {at}: {sensible} of dry heat and "
            "{latent} of moisture (evaporation {evaporation}), the chiller’s condenser not counted.",
            at=amount("clock", room.hour),
            sensible=amount("power", room.room_sensible_w),
            latent=amount("power", room.room_latent_w),
            evaporation=amount("volume_per_day", max(day.evaporation_l, 0.0)),
        )
    )
    return tuple(lines)


def _flags(day: Day, worst: Hour, temps: list[float], temp_c: float) -> tuple[Say, ...]:
    flags = []
    humid_w = max(_without_evaporation(hour) for hour in day.hours)
    if humid_w > 0 and worst.parts["Evaporation"] < 0:
        flags.append(
            say(
                "Evaporation takes {evaporation} here. In a humid room it does not: size the chiller for {humid} "
                "unless the room is kept dry.",
                evaporation=amount("power", -worst.parts["Evaporation"]),
                humid=amount("power", humid_w),
            )
        )
    if any(hour.evaporation_kg_h < 0 for hour in day.hours):
        flags.append(say("The room is so humid that moisture condenses onto the water and warms it."))
    if any(hour.room_sensible_w < 0 for hour in day.hours):
        flags.append(say("A minus at the room’s dry heat: the water cools the room, which then needs heating."))
    if max(temps) > 35 or min(temps) < 6 or temp_c < 7:
        flags.append(
            say("Outside 6 to 35 °C of air Shah’s formula is not established: ASHRAE’s alone is used for those hours.")
        )
    return tuple(flags)


def _steps(day: Day, room_hour: Hour, e: Equipment, tank: Tank, temp_c: float, air: MoistAir) -> tuple[Step, ...]:
    """The sums of the worst hour."""
    worst = day.worst
    parts = {key: amount("power", value) for key, value in worst.parts.items()}
    rate = evaporation_rate(
        temp_c=temp_c, air=air, air_m_s=tank.air_m_s, activity=tank.activity, salinity=tank.salinity
    )
    opened = amount("area", tank.surface_m2 * tank.open_share)
    room, water = asked.exact(air.temp_c), asked.exact(temp_c)
    return (
        step("Pumps", "{submerged} + {outside} × {share}", parts["Pumps"], "common practice",
             submerged=amount("power", e.submerged_pump_w), outside=amount("power", e.external_pump_w),
             share=amount("percent", e.external_pump_share * 100)),
        step("Lamps in this hour", "{lamps} × {share_of_the_hour} × {share_to_the_water}", parts["Lamps"],
             "common practice", lamps=amount("power", e.lamp_w),
             share_of_the_hour=amount("percent", 100 * on_share(worst.hour, e.lamps_from_h, e.lamps_to_h)),
             share_to_the_water=amount("percent", e.lamp_share * 100)),
        step("Water evaporating", "{rate} kg/m²h × {open_surface} × {factor} × 1000",
             amount("mass_per_hour", worst.evaporation_kg_h * 1000), rate.source, rate=number_text(rate.kg_m2h),
             open_surface=opened, factor=amount("ratio", tank.evaporation_factor)),
        step("Evaporation", "−({rate} × {latent_heat} kJ/kg ÷ 3600)", parts["Evaporation"], "IAPWS-IF97",
             rate=amount("mass_per_hour", worst.evaporation_kg_h * 1000),
             latent_heat=f"{latent_heat_kj_kg(temp_c):.0f}"),
        step("Air over the water",
             "{evaporation} × {bowen} Pa/K × ({water} − {room}) ÷ ({vapour_water} − {vapour_room}) Pa",
             parts["Air over the water"], "Bowen 1926", evaporation=parts["Evaporation"],
             bowen=f"{PSYCHROMETRIC_PA_K * air.pressure_pa / ATM_PA:.1f}", water=water, room=room,
             vapour_water=f"{seawater_vapour_pa(temp_c, tank.salinity):.0f}", vapour_room=f"{air.vapour_pa:.0f}"),
        *_sun_step(worst, e),
        step("Radiation", "0.95 × 5.67 × 10⁻⁸ × {open_surface} × (({room})⁴ − ({water})⁴)", parts["Radiation"],
             "Incropera", open_surface=opened, room=f"{air.temp_c + ZERO_C_K:.2f} K", water=f"{temp_c + ZERO_C_K:.2f} K"),
        step("Walls and lids", "({u} × {walls} + {u_lids} × {under_lids}) × ({room} − {water})",
             parts["Walls and lids"], "energy balance", u=amount("u_value", tank.wall_u_w_m2k),
             walls=amount("area", tank.wall_m2), u_lids=amount("u_value", LID_U_W_M2K),
             under_lids=amount("area", tank.surface_m2 * (1 - tank.open_share)), room=room, water=water),
        *_feed_steps(worst, e, tank, temp_c),
        step(f"Water, hour from {worst.hour:02}:00",
             "{pumps} + {lamps} + {other} + {sun} + {walls} + {evaporation} + {air} + {radiation} + {feed}",
             amount("power", worst.total_w), "energy balance",
             pumps=parts["Pumps"], lamps=parts["Lamps"], other=parts["Ultraviolet and other"], sun=parts["Sun"],
             walls=parts["Walls and lids"], evaporation=parts["Evaporation"], air=parts["Air over the water"],
             radiation=parts["Radiation"], feed=parts["Top-off and new water"]),
        *_room_steps(room_hour, e),
    )  # fmt: skip


def _sun_step(worst: Hour, e: Equipment) -> tuple[Step, ...]:
    if not worst.parts["Sun"]:
        return ()
    return (
        step("Sun", "{highest} × sin(π × ({middle} − {sun_from}) ÷ ({sun_to} − {sun_from}))",
             amount("power", worst.parts["Sun"]), "energy balance", highest=amount("power", e.sun_w),
             middle=f"{worst.hour + 0.5:g}", sun_from=f"{e.sun_from_h:.4g}", sun_to=f"{e.sun_to_h:.4g}"),
    )  # fmt: skip


def _feed_steps(worst: Hour, e: Equipment, tank: Tank, temp_c: float) -> tuple[Step, ...]:
    top_off_l_day = max(worst.evaporation_kg_h, 0.0) * 24 / FRESH_KG_L
    if not top_off_l_day and not e.change_l_day:
        return ()
    return (
        step("Top-off and new water",
             "{top_off} × {fresh_heat} J/L·°C × ({top_off_at} − {water}) ÷ 86400 + "
             "{new_water} × {salt_heat} J/L·°C × ({new_at} − {water}) ÷ 86400",
             amount("power", worst.parts["Top-off and new water"]), "TEOS-10",
             top_off=amount("volume_per_day", top_off_l_day), fresh_heat=_heat_j_l_k(e.top_off_c, temp_c, 0.0),
             top_off_at=asked.exact(e.top_off_c), water=asked.exact(temp_c),
             new_water=amount("volume_per_day", e.change_l_day),
             salt_heat=_heat_j_l_k(e.change_c, temp_c, tank.salinity), new_at=asked.exact(e.change_c)),
    )  # fmt: skip


def _heat_j_l_k(feed_c: float, temp_c: float, salinity: float) -> str:
    """Heat capacity of a litre half-way between feed and tank."""
    return f"{heat_capacity_j_k(1, (feed_c + temp_c) / 2, salinity):.0f}"


def _room_steps(hour: Hour, e: Equipment) -> tuple[Step, ...]:
    """The room's sums in its own worst hour."""
    people = e.people * on_share(hour.hour, e.people_from_h, e.people_to_h)
    lamps_w = e.lamp_w * on_share(hour.hour, e.lamps_from_h, e.lamps_to_h)
    from_room_w = sum(hour.parts[name] for name in ("Walls and lids", "Air over the water", "Radiation"))
    return (
        step(f"Room, dry heat, hour from {hour.hour:02}:00",
             "{outside_pumps} × (1 − {share_of_pumps}) + {lamps} × (1 − {share_of_lamps}) + {people} × "
             f"{PERSON_SENSIBLE_W:.0f} W − {{to_water}}",
             amount("power", hour.room_sensible_w), "ASHRAE Fundamentals", outside_pumps=amount("power", e.external_pump_w),
             share_of_pumps=amount("percent", 100 * e.external_pump_share), lamps=amount("power", lamps_w),
             share_of_lamps=amount("percent", 100 * e.lamp_share), people=f"{people:g}",
             to_water=f"({amount_text('power', from_room_w)})"),
        step(f"Room, moisture, hour from {hour.hour:02}:00", f"{{people}} × {PERSON_LATENT_W:.0f} W + {{evaporation}}",
             amount("power", hour.room_latent_w), "ASHRAE Fundamentals", people=f"{people:g}",
             evaporation=amount("power", -hour.parts["Evaporation"])),
    )  # fmt: skip


def _bars(worst: Hour) -> BarChart:
    return BarChart(
        title=f"Heat into the water, hour from {worst.hour:02}:00",
        quantity="power",
        bars=tuple((name, value) for name, value in worst.parts.items() if abs(value) >= MANY_BARS_W),
        total="Net",
    )


def _lines(day: Day) -> LineChart:
    hours = tuple(hour.hour + 0.5 for hour in day.hours)
    return LineChart(
        title="Heat over the design day",
        x_label="Time of day",
        x_quantity="clock",
        y_label="Heat",
        y_quantity="power",
        curves=(
            Curve("Water, net", hours, tuple(hour.total_w for hour in day.hours)),
            Curve("Room, dry heat", hours, tuple(hour.room_sensible_w for hour in day.hours)),
            Curve("Room, moisture", hours, tuple(hour.room_latent_w for hour in day.hours)),
        ),
        limits=(("balance", 0.0),),
    )


def _timetable(day: Day, temps: list[float]) -> Listing:
    return Listing(
        "The design day",
        ("From", "Room", "Water, net", "Room, dry heat", "Room, moisture"),
        tuple(
            (
                amount("clock", hour.hour),
                amount("temperature", temp_c),
                amount("power", hour.total_w),
                amount("power", hour.room_sensible_w),
                amount("power", hour.room_latent_w),
            )
            for hour, temp_c in zip(day.hours, temps, strict=True)
        ),
    )


def _power(key: str, label: str, most: float = 2e5, **more: Any) -> Input:
    return Input(key, label, "power", 0, most, default=0, **more)


SHEETS = (
    Worksheet(
        name="heat-balance",
        title="Heat of the tank and its room over a day",
        subject="Heating and cooling",
        purpose="What warms and cools the water hour by hour, and what the room’s air-conditioning must take.",
        inputs=(
            asked.VOLUME,
            asked.WATER,
            asked.ROOM,
            Input("room_night_c", "Room at night", "temperature", 5, 45, optional=True, detail=True,
                  help="Empty: the same day and night. Coldest about 04:00, warmest about 16:00."),
            asked.HUMIDITY,
            _power("submerged_pump_w", "Pumps under water", recall="plant.flow_pump.power"),
            _power("external_pump_w", "Pumps outside the water", recall="plant.return_pump.power"),
            _power("other_w", "Ultraviolet and other power in the water", recall="plant.uv.power"),
            _power("lamp_w", "Lamps", recall="plant.light.power"),
            asked.LIGHTS_ON,
            asked.LIGHTS_OFF,
            *asked.BODY,
            Input("external_share_pct", "Share of the outside pumps’ power into the water", "percent", 0, 100,
                  default=60, detail=True, help="Common practice 50 to 75 %; with a fan-cooled motor the less."),
            asked.LAMP_SHARE,
            Input("sunlit_m2", "Water or panel in the sun", "area", 0, 500, default=0, detail=True),
            Input("sun_w_m2", "Sun on it at its highest", "irradiance", 0, 1200, default=500, detail=True),
            Input("sun_gain_pct", "Share of the sun that passes the window", "percent", 0, 100, default=60,
                  detail=True),
            Input("sun_from", "Sun from", "clock", 0, 24, default=9, detail=True),
            Input("sun_to", "Sun until", "clock", 0, 24, default=17, detail=True),
            Input("people", "People in the room", "count", 0, 2000, default=0, detail=True),
            Input("people_from", "People from", "clock", 0, 24, default=9, detail=True),
            Input("people_to", "People until", "clock", 0, 24, default=18, detail=True),
            Input("top_off_c", "Top-off water", "temperature", 1, 40, default=20, detail=True),
            Input("change_l_day", "New salt water a day", "volume_per_day", 0, 1e5, default=0, detail=True),
            Input("new_water_c", "New salt water comes at", "temperature", 1, 40, default=25.0, detail=True),
        ),
        outputs=(
            Output("worst_gain_w", "Gain of the worst hour", "power", main=True),
            Output("worst_at", "The worst hour begins", "clock"),
            Output("humid_gain_w", "The worst hour without evaporation", "power"),
            Output("mean_gain_w", "Mean of the day", "power"),
            Output("least_gain_w", "The coldest hour", "power"),
            Output("gain_kwh", "Heat to take out in the day", "energy"),
            Output("loss_kwh", "Heat to put in in the day", "energy"),
            Output("evaporation_l_day", "Evaporation", "volume_per_day"),
            Output("drift_k", "Warming in the worst hour, uncooled", "temperature_difference"),
            Output("room_sensible_w", "Room, dry heat at its most", "power"),
            Output("room_latent_w", "Room, moisture at its most", "power"),
        ),
        compute=heat_balance,
        sources=("energy balance", "Shah 2014", "ASHRAE Natatoriums", "Witting 1908", "Bowen 1926", "TEOS-10",
                 "IAPWS-IF97", "Incropera", "common practice"),
        valid="Water 8 to 35 °C held at its set point; room 6 to 35 °C for Shah’s formula, ASHRAE’s alone beyond; air "
        "over the water up to 3 m/s, established to 0.15 m/s. The metered top-off beats the calculated one. The room’s load holds what this tank brings, not "
        "windows, walls, outdoor air or other machines.",
    ),
)  # fmt: skip
