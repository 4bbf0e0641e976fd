"""Worksheet that fits the pH over the day."""

from math import ceil

from servicedesk.science.water.day import Day
from servicedesk.science.water.day_fit import fit_day
from servicedesk.science.water.ph_scales import above_total
from servicedesk.science.words import say
from servicedesk.science.worksheets.declare import (
    LIMEWATER,
    Answer,
    Curve,
    Input,
    Output,
    Rows,
    Worksheet,
    amount,
    step,
)
from servicedesk.science.worksheets.water.limewater import (
    BAND,
    DAY_SOURCES,
    DAY_VALID,
    SUBJECT,
    day_inputs,
    day_of,
    ph_chart,
    ph_curve,
)

GREAT_OFFSET = 0.04  # of a meter, all day


def ph_day(*, readings: tuple[tuple[float, float], ...], ph_scale: str, lime: tuple[tuple[float, float, float], ...],
           **of_day: float | str) -> Answer:  # fmt: skip
    day = day_of(**of_day)  # type: ignore[arg-type]
    day = Day(**{**{name: getattr(day, name) for name in day.__slots__}, "limewater_l": _hourly(lime)})
    difference = above_total(ph_scale, day.salinity, day.temp_c)
    fit = fit_day(day, [(hour, ph - difference) for hour, ph in readings])
    low_at, low_ph = fit.course.lowest
    high_at, high_ph = fit.course.highest
    flags = []
    if fit.course.rest_umol_kg_day < 0:
        flags.append(say("The limewater typed brings more alkalinity than is typed as used: one of them is wrong."))
    if fit.largest_residual > 0.05:
        flags.append(say("The readings do not fit one day: check the meter, the times and the programme."))
    if abs(fit.offset) > GREAT_OFFSET:
        flags.append(
            say(
                "The meter seems to read {offset} {way} all day: calibrate it and read again before you set anything.",
                offset=amount("ph", abs(fit.offset)),
                way="low" if fit.offset < 0 else "high",
            )
        )
    points = Curve("readings", [hour for hour, _ in readings], [ph for _, ph in readings], points_only=True)
    upper = Curve("likely range", list(fit.course.hours),
                  [ph + difference + sd for ph, sd in zip(fit.course.ph_total, fit.ph_sd, strict=True)])  # fmt: skip
    lower = Curve("", list(fit.course.hours),
                  [ph + difference - sd for ph, sd in zip(fit.course.ph_total, fit.ph_sd, strict=True)])  # fmt: skip
    return Answer(
        values={
            "lowest_ph": low_ph + difference,
            "lowest_at_h": low_at,
            "highest_ph": high_ph + difference,
            "highest_at_h": high_at,
            "error": max(fit.ph_sd),
            "photosynthesis_umol_kg_day": fit.day.photosynthesis_umol_kg_day,
            "respiration_umol_kg_day": fit.day.respiration_umol_kg_day,
            "exchange_per_h": fit.day.exchange_per_h,
        },
        do=(
            say(
                "Over the day the pH runs from {low} at {low_at} to {high} at {high_at}, give or take {error}.",
                low=amount("ph", low_ph + difference),
                low_at=amount("clock", low_at),
                high=amount("ph", high_ph + difference),
                high_at=amount("clock", high_at),
                error=amount("ph", max(fit.ph_sd)),
            ),
            say(
                "Take these three rates to the sheet of the limewater hours. Readings at both ends of the night tell most."
            ),
        ),
        steps=(
            step(
                "Photosynthesis, fitted",
                "least squares over {count} readings, from 400 by common practice",
                amount("substance_per_day", fit.day.photosynthesis_umol_kg_day),
                "mass balance",
                count=str(len(readings)),
            ),
            step(
                "Gas exchange, fitted",
                "least squares over {count} readings, from 0.5 by common practice",
                amount("per_hour", fit.day.exchange_per_h),
                "mass balance",
                count=str(len(readings)),
            ),
            step(
                "Meter's offset, fitted",
                "the same for all readings, from 0 ± 0.05",
                amount("ph", fit.offset),
                "Takahashi 1982",
            ),
        ),
        flags=tuple(flags),
        charts=(
            ph_chart("pH over the day", (ph_curve("fitted day", fit.course, difference), points, upper, lower), *BAND),
        ),
    )


def _hourly(spans: tuple[tuple[float, float, float], ...]) -> tuple[float, ...]:
    """Litres in each hour of the day from (from, to, litres an hour) spans; equal times mean all day."""
    litres = [0.0] * 24
    for start, end, rate in spans:
        stop = start + ((end - start) % 24 or 24.0)
        for hour in range(int(start), ceil(stop)):
            litres[hour % 24] += rate * (min(hour + 1, stop) - max(hour, start))
    return tuple(litres)


SHEETS = (
    Worksheet(
        name="ph-over-the-day",
        title="pH over the day from a few readings",
        subject=SUBJECT,
        purpose="The 24-hour curve, and the rates of photosynthesis and gas exchange behind it.",
        inputs=(
            Rows("readings", "pH readings", (Input("time", "time", "clock", 0, 24), Input("ph", "pH", "ph", 6.8, 9.4)),
                 least=2, most=48, help="One a line: time and pH as read, such as 07:30 8.12. At least two times."),
            *day_inputs("photosynthesis_umol_kg_day", "respiration_umol_kg_day", "exchange_per_h"),
            Rows("lime", "Limewater given",
                 (Input("from", "from", "clock", 0, 24), Input("to", "to", "clock", 0, 24),
                  Input("rate", "litres an hour", "volume", 0, 5000)), least=0, detail=True,
                 help="One a line: from, to, litres an hour, such as 22:00 06:00 4."),
        ),
        outputs=(
            Output("lowest_ph", "Lowest pH", "ph", main=True),
            Output("highest_ph", "Highest pH", "ph", main=True),
            Output("lowest_at_h", "Lowest at", "clock"),
            Output("highest_at_h", "Highest at", "clock"),
            Output("error", "Give or take (1 sd)", "ph"),
            Output("photosynthesis_umol_kg_day", "Photosynthesis", "substance_per_day"),
            Output("respiration_umol_kg_day", "Respiration", "substance_per_day"),
            Output("exchange_per_h", "Gas exchange", "per_hour"),
        ),
        compute=ph_day,
        sources=DAY_SOURCES,
        valid=DAY_VALID,
        cautions=(LIMEWATER,),
    ),
)  # fmt: skip
