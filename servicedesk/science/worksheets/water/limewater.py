"""Worksheets of limewater: its share of the use, and its hours of the day."""

from servicedesk.science.guard import ScienceError
from servicedesk.science.water import molar
from servicedesk.science.water.day import Course, Day, settled_day
from servicedesk.science.water.limewater import (
    best_timetable,
    greatest_delivery_meq_day,
    limewater_meq_l,
    windows,
)
from servicedesk.science.water.ph_effects import room_pco2_uatm
from servicedesk.science.water.ph_scales import above_total
from servicedesk.science.water.seawater import density_kg_l, umol_kg_from_meq_l
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    LIMEWATER,
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Listing,
    Output,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import (
    ALKALINITY,
    DEMAND,
    EVAPORATION,
    LIGHTS_OFF,
    LIGHTS_ON,
    PH_SCALE,
    ROOM_CO2,
    SALINITY,
    TEMP,
    VOLUME,
)

SUBJECT = "Limewater and the day's pH"
BAND = (8.2, 8.4)
EFFICIENCY = Input(
    "efficiency_pct", "Strength of saturated limewater reached", "percent", 10, 100, default=85, detail=True,
    help="Common practice 75 to 95 %: air and settling weaken it; a titration of the clear water tells.",
)  # fmt: skip
LIME_TEMP = Input("lime_temp_c", "Temperature of the limewater", "temperature", 5, 35, default=22, detail=True)
REST = Choice(
    "rest",
    "The rest of the alkalinity comes as",
    (("bicarbonate", "bicarbonate or reactor"), ("carbonate", "sodium carbonate"), ("hydroxide", "hydroxide")),
    "bicarbonate",
    detail=True,
)
REACTOR_CO2 = Input(
    "reactor_co2_g_day", "Unused CO₂ from the reactor", "mass_per_day", 0, 20_000, default=0, detail=True,
    help="The sheet of the reactor's CO₂ tells it.",
)  # fmt: skip
PHOTOSYNTHESIS = Input(
    "photosynthesis_umol_kg_day", "Photosynthesis", "substance_per_day", 0, 3000, default=400, detail=True,
    help="Common practice 200 to 800; the sheet that fits readings finds it.", recall="fitted.photosynthesis",
)  # fmt: skip
RESPIRATION = Input(
    "respiration_umol_kg_day", "Respiration", "substance_per_day", 0, 3000, default=400, detail=True,
    recall="fitted.respiration",
)  # fmt: skip
EXCHANGE = Input(
    "exchange_per_h", "Gas exchange", "per_hour", 0.05, 10, default=0.5, detail=True,
    help="Common practice 0.2 to 1.0 an hour; the sheet that fits readings finds it.", recall="fitted.exchange",
)  # fmt: skip


def share(
    *, volume_l: float, evaporation_l_day: float, demand_meq_l_day: float, lime_temp_c: float, efficiency_pct: float
) -> Answer:
    strength = limewater_meq_l(lime_temp_c, efficiency_pct / 100)
    most = greatest_delivery_meq_day(evaporation_l_day, strength)
    needed = demand_meq_l_day * volume_l
    covered = min(most / needed, 1.0) if needed else 1.0
    litres = min(evaporation_l_day, needed / strength)
    powder = litres * strength * 74.092 / 2 / 1000
    return Answer(
        values={
            "covered_pct": covered * 100,
            "litres_l_day": litres,
            "delivered_meq_day": litres * strength,
            "left_meq_day": max(needed - most, 0.0),
            "powder_g_day": powder / (efficiency_pct / 100),
        },
        do=_share_words(litres, covered, max(needed - most, 0.0)),
        steps=(
            step(
                "Strength of the limewater",
                "saturated at {temp} × {efficiency}",
                amount("equivalents", strength),
                "Bates 1956",
                temp=amount("temperature", lime_temp_c),
                efficiency=amount("percent", efficiency_pct),
            ),
            step(
                "Most it can bring",
                "{top_off} × {strength}",
                amount("equivalents_per_day", most),
                "mass balance",
                top_off=amount("volume_per_day", evaporation_l_day),
                strength=amount("equivalents", strength),
            ),
            step(
                "Needed",
                "{demand} × {volume}",
                amount("equivalents_per_day", needed),
                "mass balance",
                demand=amount("alkalinity_per_day", demand_meq_l_day),
                volume=amount("volume", volume_l),
            ),
            step(
                "Limewater",
                "the smaller of {top_off} and {needed} ÷ {strength}",
                amount("volume_per_day", litres),
                "mass balance",
                top_off=amount("volume_per_day", evaporation_l_day),
                needed=amount("equivalents_per_day", needed),
                strength=amount("equivalents", strength),
            ),
            step(
                "Calcium hydroxide used up, what air and sediment take counted",
                "{limewater} × {strength} × 37.05 ÷ 1000 g/meq ÷ ({efficiency} ÷ 100)",
                amount("mass_per_day", powder / (efficiency_pct / 100)),
                "stoichiometry",
                limewater=amount("volume_per_day", litres),
                strength=amount("equivalents", strength),
                efficiency=amount("percent", efficiency_pct),
            ),
        ),
        flags=(say("Room CO₂ may set a lower limit than evaporation: see the sheet of the hours."),) if litres else (),
    )


def _share_words(litres: float, covered: float, left_meq_day: float) -> tuple[Say, ...]:
    if not litres:
        return (say("Give no limewater: nothing is topped off, or no alkalinity is used."),)
    first = say(
        "Let {litres} of the top-off go through the lime stirrer, at night; it covers {covered} of the use.",
        litres=amount("volume_per_day", litres),
        covered=amount("percent", covered * 100),
    )
    if not left_meq_day:
        return (first, say("Let the rest of the top-off run as plain RO water; the reactor and the dosers may rest."))
    return (
        first,
        say("Leave {rest} to the reactor or the dosers.", rest=amount("equivalents_per_day", left_meq_day)),
    )


def day_of(
    *,
    volume_l: float,
    alkalinity_meq_l: float,
    demand_meq_l_day: float,
    salinity: float,
    temp_c: float,
    room_co2_ppm: float,
    lights_on: float,
    lights_off: float,
    rest: str,
    lime_temp_c: float,
    efficiency_pct: float,
    photosynthesis_umol_kg_day: float = 400.0,
    respiration_umol_kg_day: float = 400.0,
    exchange_per_h: float = 0.5,
    reactor_co2_g_day: float = 0.0,
) -> Day:
    mass_kg = volume_l * density_kg_l(salinity, temp_c)
    return Day(
        mass_kg=mass_kg,
        salinity=salinity,
        temp_c=temp_c,
        alkalinity_umol_kg=umol_kg_from_meq_l(alkalinity_meq_l, salinity, temp_c),
        photosynthesis_umol_kg_day=photosynthesis_umol_kg_day,
        respiration_umol_kg_day=respiration_umol_kg_day,
        calcification_umol_kg_day=umol_kg_from_meq_l(demand_meq_l_day, salinity, temp_c) / 2,
        light_on_h=lights_on,
        light_off_h=lights_off,
        exchange_per_h=exchange_per_h,
        room_pco2_uatm=room_pco2_uatm(room_co2_ppm, salinity, temp_c),
        limewater_mol_l=limewater_meq_l(lime_temp_c, efficiency_pct / 100) / 2000,
        rest=rest,
        reactor_dic_umol_kg_day=reactor_co2_g_day / molar.CO2 * 1e6 / mass_kg,
    )


def ph_curve(name: str, course: Course, difference: float) -> Curve:
    return Curve(name, list(course.hours), [ph + difference for ph in course.ph_total])


def ph_chart(title: str, curves: tuple[Curve, ...], low: float, high: float) -> LineChart:
    return LineChart(
        title, "Time of day", "clock", "pH on the meter", "ph", curves, (("band from", low), ("band to", high))
    )


def hours(
    *, litres_l_day: float, pump_l_h: float, band_low: float, band_high: float, ph_scale: str, **of_day: float | str
) -> Answer:
    day = day_of(**of_day)  # type: ignore[arg-type]
    difference = above_total(ph_scale, day.salinity, day.temp_c)
    if band_low >= band_high:
        raise ScienceError("The band must end above where it begins.", "band_high")
    band = (band_low - difference, band_high - difference)
    used_l = day.calcification_umol_kg_day * day.mass_kg / 1e6 / day.limewater_mol_l
    offered_l = min(litres_l_day, used_l, 24 * pump_l_h)
    found = best_timetable(day, litres_day=offered_l, pump_l_h=pump_l_h, band=band, use_all=False)
    even = settled_day(
        Day(**{**{name: getattr(day, name) for name in day.__slots__}, "limewater_l": (found.total_l / 24,) * 24})
    )
    spans = windows(found.litres)
    low_at, low_ph = found.course.lowest
    high_at, high_ph = found.course.highest
    flags: list[Say] = []
    if found.total_l < 0.98 * litres_l_day:
        flags.append(_less_lime(found.total_l, litres_l_day, used_l=used_l, pump_l=24 * pump_l_h, offered_l=offered_l))
    if found.outside(band) > 0.01:
        flags.append(say("No timetable keeps this tank inside the band: look at the room air and the aeration."))
    return Answer(
        values={
            "litres_used_l_day": found.total_l,
            "lowest_ph": low_ph + difference,
            "lowest_at_h": low_at,
            "highest_ph": high_ph + difference,
            "swing": found.swing,
            "swing_even": even.highest[1] - even.lowest[1],
        },
        do=(
            *(_span_words(start, end, rate) for start, end, rate in spans),
            say(
                "The pH then runs from {low} at {low_at} to {high} at {high_at} on the meter.",
                low=amount("ph", low_ph + difference),
                low_at=amount("clock", low_at),
                high=amount("ph", high_ph + difference),
                high_at=amount("clock", high_at),
            ),
        )
        if spans
        else (
            say("Give no limewater: the pH lies high enough without.")
            if offered_l
            else say("No limewater is to be given: this is the pH of the day without."),
        ),
        steps=(
            step(
                "Swing of the pH when the same litres run evenly",
                "highest − lowest of the settled day",
                amount("ph", even.highest[1] - even.lowest[1]),
                "mass balance",
            ),
            step(
                "Swing with these hours",
                "{high} − {low}, by linear programme over 24 hours",
                amount("ph", found.swing),
                "mass balance",
                high=amount("ph", high_ph + difference),
                low=amount("ph", low_ph + difference),
            ),
            step(
                "Meter above total scale",
                "at {salinity} and {temp}",
                amount("ph", difference),
                "Takahashi 1982",
                salinity=amount("salinity", day.salinity),
                temp=amount("temperature", day.temp_c),
            ),
        ),
        flags=tuple(flags),
        charts=(
            ph_chart(
                "pH over the settled day",
                (ph_curve("these hours", found.course, difference), ph_curve("evenly", even, difference)),
                band_low,
                band_high,
            ),
        ),
        listings=(
            Listing(
                "Hours",
                ("From", "To", "An hour"),
                tuple(
                    (amount("clock", start), amount("clock", end), amount("volume", rate)) for start, end, rate in spans
                ),
            ),
        ),
    )


def _span_words(start: float, end: float, rate: float) -> Say:
    length = (end - start) % 24 or 24.0
    words = (
        "Give {rate} an hour of limewater all day round, {whole} in all."
        if length == 24
        else "From {start} to {end} give {rate} an hour of limewater, {whole} in all."
    )
    return say(words, start=amount("clock", start), end=amount("clock", end), rate=amount("volume", rate),
               whole=amount("volume", rate * length))  # fmt: skip


def _less_lime(total_l: float, wanted_l: float, *, used_l: float, pump_l: float, offered_l: float) -> Say:
    """Why fewer litres are given than were offered: the use, the pump, or the band."""
    told = {"litres": amount("volume_per_day", total_l), "wanted": amount("volume_per_day", wanted_l)}
    if total_l < 0.98 * offered_l:
        return say("Only {litres} of {wanted} are given: more lifts the pH beyond the band, or by more than 0.05 in an hour.",
                   **told)  # fmt: skip
    if used_l <= pump_l:
        return say("Only {litres} of {wanted} are given: they bring all the alkalinity that is used; more would raise it from "
                   "day to day.", **told)  # fmt: skip
    return say("Only {litres} of {wanted} are given: the pump carries no more in 24 hours.", **told)


def day_inputs(*without: str) -> tuple[Input | Choice, ...]:
    every: tuple[Input | Choice, ...] = (
        VOLUME, ALKALINITY, DEMAND, LIGHTS_ON, LIGHTS_OFF, ROOM_CO2, SALINITY, TEMP, PH_SCALE, REST, REACTOR_CO2,
        LIME_TEMP, EFFICIENCY, PHOTOSYNTHESIS, RESPIRATION, EXCHANGE,
    )  # fmt: skip
    return tuple(item for item in every if item.key not in without)


DAY_VALID = (
    "Salinity 19 to 43, 5 to 34 °C; light as half a sine; the day repeats itself (settled). One mixed volume; gas "
    "exchange in one coefficient for surface, weir and skimmer."
)
DAY_SOURCES = ("mass balance", "Lueker 2000", "Weiss 1974", "Bates 1956", "Takahashi 1982", "common practice")
SHEETS = (
    Worksheet(
        name="limewater-share",
        title="What limewater can cover",
        subject=SUBJECT,
        purpose="How much of the alkalinity used the top-off can carry as limewater.",
        inputs=(VOLUME, EVAPORATION, DEMAND, LIME_TEMP, EFFICIENCY),
        outputs=(
            Output("covered_pct", "Covers of the use", "percent", main=True),
            Output("litres_l_day", "Limewater", "volume_per_day", main=True),
            Output("delivered_meq_day", "It brings", "equivalents_per_day"),
            Output("left_meq_day", "Left to reactor and dosers", "equivalents_per_day"),
            Output("powder_g_day", "Calcium hydroxide used up", "mass_per_day"),
        ),
        compute=share,
        sources=("Bates 1956", "mass balance", "stoichiometry", "common practice"),
        valid="Clear saturated limewater, 5 to 35 °C. Handbook columns are about 10 % too strong; these are not.",
        cautions=(LIMEWATER,),
    ),
    Worksheet(
        name="limewater-hours",
        title="Hours for the limewater",
        subject=SUBJECT,
        purpose="The timetable that keeps the day's pH flattest inside a band.",
        inputs=(
            Input("litres_l_day", "Limewater a day, at most", "volume_per_day", 0, 20_000, recall="evaporation"),
            Input("pump_l_h", "Greatest rate of the pump", "flow", 0.01, 5000, default=10),
            Input("band_low", "Band from", "ph", 7.5, 8.8, default=BAND[0], help="Common practice 8.2 to 8.4."),
            Input("band_high", "Band to", "ph", 7.6, 9.0, default=BAND[1]),
            *day_inputs(),
        ),
        outputs=(
            Output("litres_used_l_day", "Limewater to give", "volume_per_day", main=True),
            Output("swing", "Swing of the pH", "ph", main=True),
            Output("swing_even", "Swing when given evenly", "ph"),
            Output("lowest_ph", "Lowest pH", "ph"),
            Output("lowest_at_h", "Lowest at", "clock"),
            Output("highest_ph", "Highest pH", "ph"),
        ),
        compute=hours,
        sources=DAY_SOURCES,
        valid=DAY_VALID,
        cautions=(LIMEWATER,),
    ),
)  # fmt: skip
