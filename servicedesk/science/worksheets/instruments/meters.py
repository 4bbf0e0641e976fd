"""Worksheets of the pH meter and the CO2 cylinder."""

from math import inf, isfinite, sqrt

from servicedesk.science.guard import ScienceError
from servicedesk.science.instruments import cylinder, ph_meter
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import (
    CO2_GAS,
    LIFTING,
    Answer,
    Choice,
    Curve,
    Input,
    LineChart,
    Output,
    Step,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.inputs import SALINITY, TEMP

GOOD_SLOPE = (92.0, 102.0)
POOR_SLOPE = 85.0
MOST_OFFSET_MV = 30.0
TRIS_SALINITY = 35.0
ROUGH_SHARE = 0.25
BUFFER_OPTIONS = tuple((name, f"pH {name}") for name in ph_meter.BUFFERS)


def check_ph(
    *,
    first_buffer: str,
    first_mv: float,
    second_buffer: str,
    second_mv: float,
    buffer_c: float,
    ph: float | None,
    sample_mv: float | None,
    tris_reading: float | None,
    buffers_are: str,
    salinity: float,
    temp_c: float,
    resolution: float,
) -> Answer:
    cell = ph_meter.electrode(
        first_ph=ph_meter.buffer_ph(first_buffer, buffer_c),
        first_mv=first_mv,
        second_ph=ph_meter.buffer_ph(second_buffer, buffer_c),
        second_mv=second_mv,
        temp_c=buffer_c,
    )
    if sample_mv is not None and buffers_are == "total":
        raise ScienceError("Millivolts set against these two buffers give pH on the NBS scale: choose the usual buffers.",
                           "buffers_are")  # fmt: skip
    shown = ph if sample_mv is None else ph_meter.ph_from_mv(cell, sample_mv, temp_c)
    scale, shift = buffers_are, 0.0
    if tris_reading is not None:
        scale, shift = "total", ph_meter.tris_ph_total(TRIS_SALINITY, temp_c) - tris_reading
    found = None
    if shown is not None:
        found = ph_meter.measure(
            reading=shown + shift, scale=scale, salinity=salinity, temp_c=temp_c, resolution=resolution
        )
    return Answer(
        values={
            "slope_pct": cell.slope_pct,
            "offset_mv": cell.offset_mv,
            "ph_shown": shown,
            "ph_total": found.value if found else None,
            "sd": found.sd if found else None,
        },
        do=(
            _electrode_order(cell),
            *(
                (
                    say(
                        "The water is at pH {shown} {by}: {total} on the total scale, give or take {sd}.",
                        shown=amount("ph", shown),
                        by={"nbs": "on the NBS scale", "total": "on the total scale"}[buffers_are]
                        if tris_reading is None
                        else "on the meter",
                        total=amount("ph", found.value),
                        sd=amount("ph", found.sd),
                    ),
                )
                if found and shown is not None
                else ()
            ),
        ),
        steps=(
            step(
                "Slope",
                "({first} − ({second})) ÷ ({second_ph} − {first_ph})",
                amount("mv_slope", cell.slope_mv),
                "IUPAC 2002",
                first=amount("orp", first_mv),
                second=amount("orp", second_mv),
                first_ph=amount("ph", ph_meter.buffer_ph(first_buffer, buffer_c)),
                second_ph=amount("ph", ph_meter.buffer_ph(second_buffer, buffer_c)),
            ),
            step(
                "Of the ideal slope",
                "100 × {slope} ÷ {ideal}",
                amount("percent_fine", cell.slope_pct),
                "IUPAC 2002",
                slope=amount("mv_slope", cell.slope_mv),
                ideal=amount("mv_slope", ph_meter.ideal_slope_mv(buffer_c)),
            ),
            *(
                (
                    *_mv_step(cell, sample_mv, temp_c, shown),
                    _total_step(shown, found.value, scale, tris_reading, temp_c),
                )
                if found and shown is not None
                else ()
            ),
        ),
    )


def _mv_step(cell: ph_meter.Electrode, sample_mv: float | None, temp_c: float, shown: float) -> tuple[Step, ...]:
    if sample_mv is None:
        return ()
    slope = cell.slope_mv * ph_meter.ideal_slope_mv(temp_c) / ph_meter.ideal_slope_mv(cell.temp_c)
    return (
        step(
            "pH of the tank, the slope at its temperature",
            "7 + ({offset} − ({sample})) ÷ {slope}",
            amount("ph", shown),
            "IUPAC 2002",
            offset=amount("orp", cell.offset_mv),
            sample=amount("orp", sample_mv),
            slope=amount("mv_slope", slope),
        ),
    )


def _total_step(shown: float, total: float, scale: str, tris_reading: float | None, temp_c: float) -> Step:
    if tris_reading is not None:
        return step(
            "pH on the total scale, by the Tris buffer",
            "{shown} + {tris} − {tris_shown}",
            amount("ph", total),
            "Dickson 2007",
            shown=amount("ph", shown),
            tris=amount("ph", ph_meter.tris_ph_total(TRIS_SALINITY, temp_c)),
            tris_shown=amount("ph", tris_reading),
        )
    return step(
        "pH on the total scale",
        "{shown} − {difference}",
        amount("ph", total),
        "Takahashi 1982" if scale == "nbs" else "Dickson 2007",
        shown=amount("ph", shown),
        difference=amount("ph", shown - total),
    )


def _electrode_order(cell: ph_meter.Electrode) -> Say:
    told = {"slope": amount("percent_fine", cell.slope_pct), "offset": amount("orp", cell.offset_mv)}
    if cell.slope_pct < POOR_SLOPE or cell.slope_pct > 105 or abs(cell.offset_mv) > 2 * MOST_OFFSET_MV:
        return say(
            "Slope {slope}, offset {offset}: do not use this electrode. Check that the buffers are fresh and not "
            "swapped, clean and soak it, try once more, then replace it.",
            **told,
        )
    if not GOOD_SLOPE[0] <= cell.slope_pct <= GOOD_SLOPE[1] or abs(cell.offset_mv) > MOST_OFFSET_MV:
        return say(
            "Slope {slope}, offset {offset}: tired. Clean it, calibrate in fresh buffers 7 and 10 at the temperature of "
            "the tank, and order a new one.",
            **told,
        )
    return say("Slope {slope}, offset {offset}: good. Rinse, blot, do not wipe; store it wet in its solution.", **told)


def co2(
    *,
    gross_kg: float,
    tare_kg: float,
    earlier_kg: float | None,
    since_d: float,
    use_g_day: float | None,
    reserve_kg: float,
    volume_l: float,
    room_c: float,
) -> Answer:
    left = cylinder.content(gross_kg=gross_kg, tare_kg=tare_kg)
    use = use_g_day
    if earlier_kg is not None:
        use = cylinder.use_g_day(before_kg=earlier_kg, after_kg=gross_kg, days=since_d)
    if use is None:
        days = 0.0 if left.value <= reserve_kg else inf
    else:
        days = cylinder.days_left(content_kg=left.value, use_g_day=use, reserve_kg=reserve_kg) if use else inf
    gas_kg = cylinder.vapour_kg_l(room_c) * volume_l
    liquid = cylinder.liquid_left(content_kg=left.value, volume_l=volume_l, temp_c=room_c)
    gauge_kpa = cylinder.vapour_pressure_kpa(room_c) - 101.325
    shown = [float(day) for day in range(int(min(days, 400)) + 2)]
    return Answer(
        values={
            "left_kg": left.value,
            "sd_kg": left.sd,
            "use_g_day": use,
            "days_left": days if isfinite(days) else None,
        },
        do=(
            _cylinder_order(days, known=use is not None),
            say(
                "While liquid is left the gauge shows about {gauge} at {room}, full or nearly empty alike. The liquid is gone "
                "at {gas} of content; from there the gauge falls fast.",
                gauge=amount("pressure", gauge_kpa),
                room=amount("temperature", room_c),
                gas=amount("mass_kg", gas_kg),
            ),
        ),
        steps=(
            step(
                "Left in the cylinder",
                "{gross} − {tare}",
                amount("mass_kg", left.value),
                "mass balance",
                gross=amount("mass_kg", gross_kg),
                tare=amount("mass_kg", tare_kg),
            ),
            *(() if use is None else _use_steps(use, days, gross_kg, earlier_kg, since_d, left.value, reserve_kg)),
            step(
                "Content when the liquid is gone",
                "density of the vapour at {room} × {volume}",
                amount("mass_kg", gas_kg),
                "Span & Wagner 1996",
                room=amount("temperature", room_c),
                volume=amount("volume", volume_l),
            ),
        ),
        flags=(
            *(() if liquid else (say("The liquid is gone: what is left is gas. Change the cylinder now."),)),
            *_rough_use(use if earlier_kg is not None else None, left.sd, since_d),
        ),
        charts=(
            LineChart(
                "Weight of the gas left",
                "Days from now",
                "days",
                "Left",
                "mass_kg",
                (Curve("Left", shown, [max(left.value - use * day / 1000, 0.0) for day in shown]),),
                (("Reserve", reserve_kg),),
            ),
        )
        if use
        else (),
    )


def _use_steps(
    use: float,
    days: float,
    gross_kg: float,
    earlier_kg: float | None,
    since_d: float,
    left_kg: float,
    reserve_kg: float,
) -> tuple[Step, ...]:
    return (
        step(
            "Use",
            "1000 × ({before} − {now}) ÷ {days}" if earlier_kg is not None else "as typed: {use}",
            amount("mass_per_day", use),
            "mass balance",
            before=amount("mass_kg", earlier_kg or 0.0),
            now=amount("mass_kg", gross_kg),
            days=amount("days", since_d),
            use=amount("mass_per_day", use),
        ),
        step(
            "Days to the reserve",
            "1000 × ({left} − {reserve}) ÷ {use}, nothing when less",
            amount("days", days),
            "mass balance",
            left=amount("mass_kg", left_kg),
            reserve=amount("mass_kg", reserve_kg),
            use=amount("mass_per_day", use),
        ),
    )


def _rough_use(use: float | None, weight_sd_kg: float, since_d: float) -> tuple[Say, ...]:
    """Two weighings close together tell the use badly."""
    if use is None:
        return ()
    sd = 1000 * sqrt(2) * weight_sd_kg / since_d
    if sd <= ROUGH_SHARE * use:
        return ()
    return (say("The use is only sure to ± {sd}: weigh again when more is gone, or on a finer scale.",
                sd=amount("mass_per_day", sd)),)  # fmt: skip


def _cylinder_order(days: float, *, known: bool) -> Say:
    if not known and days > 0:
        return say(
            "Write the weight and the date on the cylinder's card: with the next weighing this sheet tells the days."
        )
    if not isfinite(days):
        return say("No gas was used between the weighings: check that the valve is open and bubbles run.")
    if days <= 0:
        return say("Change the cylinder today: the reserve is reached. Strap the new one upright before opening it.")
    return say("Change the cylinder within {days}: bring a full one on the last visit before that, strapped upright.",
               days=amount("days", days))  # fmt: skip


SHEETS = (
    Worksheet(
        name="ph-meter-check",
        title="Check of a pH meter",
        subject="Instruments",
        purpose="Slope and offset of the electrode from two buffers, and a reading on the total scale.",
        inputs=(
            Choice("first_buffer", "First buffer", BUFFER_OPTIONS, "7.00", recall="instrument.first_buffer"),
            Input("first_mv", "Millivolts in it", "orp", -500, 500),
            Choice("second_buffer", "Second buffer", BUFFER_OPTIONS, "10.01", recall="instrument.second_buffer"),
            Input("second_mv", "Millivolts in the second", "orp", -500, 500),
            Input("buffer_c", "Temperature of the buffers", "temperature", 10, 35, default=25),
            Input("ph", "pH shown in the tank after calibrating", "ph", 6.5, 9.5, optional=True),
            Input("sample_mv", "or millivolts in the tank", "orp", -500, 500, optional=True, detail=True),
            Input("tris_reading", "pH it shows in a Tris seawater buffer", "ph", 7, 9, optional=True,
                  help="Buffer of salinity 35 at the temperature of the tank; then no scale needs to be guessed.", detail=True),
            Choice("buffers_are", "Calibrated in", (("nbs", "The usual buffers (NBS scale)"),
                   ("total", "Tris seawater buffer (total scale)")), "nbs", recall="instrument.ph_scale", detail=True),
            SALINITY, TEMP,
            Input("resolution", "Last digit of the display", "ratio", 0, 0.5, default=0.01,
                  recall="instrument.resolution", detail=True),
        ),
        outputs=(
            Output("slope_pct", "Slope of the ideal", "percent_fine", main=True),
            Output("offset_mv", "Offset at pH 7", "orp"),
            Output("ph_shown", "pH as shown", "ph"),
            Output("ph_total", "pH, total scale", "ph"),
            Output("sd", "Standard error", "ph"),
        ),
        compute=check_ph,
        sources=("IUPAC 2002", "Takahashi 1982", "Dickson 2007", "common practice"),
        valid="Buffers 10 to 35 °C; scales for salinity 19 to 42. Slope 92 to 102 % is good by common practice. The junction "
        "between buffer and seawater leaves ± 0.05, a Tris seawater buffer ± 0.02.",
    ),
    Worksheet(
        name="co2-cylinder",
        title="What is left in the CO₂ cylinder",
        subject="Instruments",
        purpose="Content by weight, days left, and when the gauge begins to say anything.",
        inputs=(
            Input("gross_kg", "Weight now", "mass_kg", 0.2, 200, recall="check.reactor.cylinder_kg",
                  help="With the same fittings as in the tare."),
            Input("tare_kg", "Tare", "mass_kg", 0.1, 150, recall="instrument.tare_kg",
                  help="Stamped on the neck; add the regulator if it is on the scale."),
            Input("earlier_kg", "Earlier weight", "mass_kg", 0.2, 200, optional=True),
            Input("since_d", "Days between the weighings", "days", 1, 400, default=14),
            Input("use_g_day", "or use a day", "mass_per_day", 0.1, 20000, optional=True,
                  help="From the reactor sheets.", detail=True),
            Input("reserve_kg", "Change it with this left", "mass_kg", 0, 50, default=0.5, detail=True),
            Input("volume_l", "Water capacity of the cylinder", "volume", 0.3, 100, default=6.7,
                  recall="instrument.volume_l", help="Stamped on the neck: 2 kg about 2.7 L, 5 kg 6.7 L, 10 kg 13.4 L.",
                  detail=True),
            Input("room_c", "Temperature of the cylinder", "temperature", 0, 30, default=22, detail=True),
        ),
        outputs=(
            Output("days_left", "Days left", "days", main=True),
            Output("left_kg", "Left in it", "mass_kg"),
            Output("sd_kg", "Standard error", "mass_kg"),
            Output("use_g_day", "Use", "mass_per_day"),
        ),
        compute=co2,
        sources=("mass balance", "Span & Wagner 1996", "common practice"),
        valid="A cylinder without a dip tube, upright, 0 to 30 °C.",
        cautions=(CO2_GAS, LIFTING),
    ),
)  # fmt: skip
