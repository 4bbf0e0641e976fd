"""Worksheets of the salinity instruments: conductivity meter, refractometer, hydrometer."""

from servicedesk.science.instruments import conductivity, hydrometer, refractometer
from servicedesk.science.instruments.measured import Measured
from servicedesk.science.water import seawater
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Choice, Input, Output, Worksheet, amount, step

SUBJECT = "Instruments"


def by_conductivity(
    *,
    reading_ms_cm: float,
    temp_c: float,
    compensation: str,
    reference_c: float,
    coefficient_pct: float,
    standard_shown_ms_cm: float | None,
    standard_ms_cm: float,
    resolution_ms_cm: float,
    accuracy_pct: float,
) -> Answer:
    factor = 1.0
    if standard_shown_ms_cm is not None:
        factor = conductivity.cell_factor(shown_ms_cm=standard_shown_ms_cm, standard_ms_cm=standard_ms_cm)
    found = conductivity.measure(
        reading_ms_cm=reading_ms_cm,
        temp_c=temp_c,
        compensation=compensation,
        reference_c=reference_c,
        coefficient_pct=coefficient_pct,
        factor=factor,
        resolution_ms_cm=resolution_ms_cm,
        accuracy_pct=accuracy_pct,
    )
    raw = conductivity.raw_ms_cm(
        reading_ms_cm=reading_ms_cm * factor,
        temp_c=temp_c,
        compensation=compensation,
        reference_c=reference_c,
        coefficient_pct=coefficient_pct,
    )
    undone = {
        "raw": "{shown} × {factor}",
        "linear": "{shown} × {factor} × (1 + {share} ÷ 100 × ({sample} − {reference}))",
        "seawater": "{shown} × {factor} taken from {reference} to {sample} by the curve of seawater",
    }[compensation]
    return Answer(
        values={"salinity": found.value, "sd": found.sd, "raw_ms_cm": raw},
        do=(_write_down(found), *_factor_order(factor)),
        steps=(
            step(
                "Conductivity at the water’s own temperature",
                undone,
                amount("conductivity", raw),
                "UNESCO 44" if compensation == "seawater" else "mass balance",
                shown=amount("conductivity", reading_ms_cm),
                factor=amount("ratio", factor),
                share=amount("percent_fine", coefficient_pct),
                sample=amount("temperature", temp_c),
                reference=amount("temperature", reference_c),
            ),
            step(
                "Practical salinity",
                "PSS-78 of {conductivity} ÷ 42.914 mS/cm at {temperature}",
                amount("salinity", found.value),
                "UNESCO 44",
                conductivity=amount("conductivity", raw),
                temperature=amount("temperature", temp_c),
            ),
        ),
        flags=(*_factor_flag(factor), *_no_reef(found)),
    )


def _factor_order(factor: float) -> tuple[Say, ...]:
    if abs(factor - 1) < 0.005:
        return ()
    return (
        say(
            "The meter is off by a factor {factor} in the standard: clean the cell, set it with fresh standard at the "
            "temperature of the water, and write the date on its card.",
            factor=amount("ratio", factor),
        ),
    )


def _factor_flag(factor: float) -> tuple[Say, ...]:
    if 0.9 <= factor <= 1.1:
        return ()
    return (
        say("A factor of {factor} is too far off: the cell is dirty or broken, or the standard is another.",
            factor=amount("ratio", factor)),
    )  # fmt: skip


def by_refractometer(
    *,
    reading: float,
    scale: str,
    compensates: str,
    temp_c: float,
    standard_reading: float | None,
    standard: float,
    resolution: float,
) -> Answer:
    at = refractometer.SCALE_C if compensates == "yes" else temp_c
    step_size = resolution if scale != "index" else min(resolution, 0.0005)
    eye = 0.3 if scale != "index" else 0.00005
    found = refractometer.measure(
        reading=reading,
        scale=scale,
        temp_c=at,
        standard=None if standard_reading is None else standard,
        standard_reading=standard_reading,
        resolution=step_size,
        reading_sd=eye,
        temp_sd_c=1.0 if compensates == "yes" else 0.5,
    )
    index = refractometer.index_of_reading(reading, scale)
    shift = 0.0
    if standard_reading is not None:
        shift = refractometer.refractive_index(standard, at) - refractometer.index_of_reading(standard_reading, scale)
    return Answer(
        values={"salinity": found.value, "sd": found.sd, "index": index + shift},
        do=(_write_down(found), *_refractometer_orders(scale, standard_reading)),
        steps=(
            step(
                "Refractive index shown",
                {
                    "seawater": "index of seawater of {reading} at 20 °C",
                    "brine": "1.33300 + 0.0001757 × {reading}",
                    "index": "{reading}",
                }[scale],
                amount("refractive_index", index),
                "CRC Handbook" if scale == "brine" else "Quan & Fry 1995",
                reading=_scale_text(reading, scale),
            ),
            step(
                "Set right by the standard",
                "{index} + ({shift})",
                amount("refractive_index", index + shift),
                "Quan & Fry 1995",
                index=amount("refractive_index", index),
                shift=amount("refractive_index", shift),
            ),
            step(
                "Salinity",
                "Quan & Fry of {index} at {temperature}",
                amount("salinity", found.value),
                "Quan & Fry 1995",
                index=amount("refractive_index", index + shift),
                temperature=amount("temperature", at),
            ),
        ),
        flags=(
            *(
                (say("The equation is fitted to salinity 35 and straight beyond; here it is used up to 42."),)
                if found.value > 35.5
                else ()
            ),
            *_no_reef(found),
        ),
    )


def _scale_text(reading: float, scale: str) -> str:
    return f"{reading:.5f}" if scale == "index" else f"{reading:g}"


def _refractometer_orders(scale: str, standard_reading: float | None) -> tuple[Say, ...]:
    if standard_reading is not None:
        return ()
    if scale == "brine":
        return (
            say(
                "The scale is for kitchen salt and reads seawater about 1.5 too high: the figure above is corrected. Set "
                "the instrument with a seawater standard of 35, not with pure water."
            ),
        )
    return (say("Set it with a seawater standard of 35 before the next round: pure water shows only the other end."),)


def by_hydrometer(
    *,
    reading: float,
    sample_c: float,
    marked: str,
    calibration_c: float,
    water_c: float,
    material: str,
    resolution: float,
) -> Answer:
    known = MARKINGS.get(marked)
    calibrated, water = known if known else (calibration_c, water_c)
    expansion = hydrometer.GLASS_PER_K if material == "glass" else hydrometer.PLASTIC_PER_K
    found = hydrometer.measure(
        reading=reading,
        sample_c=sample_c,
        calibration_c=calibrated,
        water_c=water,
        expansion_per_k=expansion,
        resolution=resolution,
        reading_sd=0.0002 if material == "glass" else 0.001,
    )
    density = hydrometer.density_kg_l(
        reading=reading, sample_c=sample_c, calibration_c=calibrated, water_c=water, expansion_per_k=expansion
    )
    return Answer(
        values={
            "salinity": found.value,
            "sd": found.sd,
            "sg_25": seawater.specific_gravity(found.value, 25, 25),
            "density_kg_l": density,
        },
        do=(
            _write_down(found),
            *(
                (say("A swing-arm or plastic hydrometer is for orientation only: take a glass one or a meter."),)
                if material == "plastic"
                else ()
            ),
        ),
        steps=(
            step(
                "Density of the sample",
                "{reading} × {water} × (1 − {swelling} × ({sample} − {marked}))",
                amount("density", density),
                "TEOS-10",
                reading=amount("specific_gravity", reading),
                water=amount("density", seawater.density_kg_l(0.0, water)),
                swelling=f"{expansion:.6f}".rstrip("0"),
                sample=amount("temperature", sample_c),
                marked=amount("temperature", calibrated),
            ),
            step(
                "Salinity of that density",
                "TEOS-10 at {density} and {sample}",
                amount("salinity", found.value),
                "TEOS-10",
                density=amount("density", density),
                sample=amount("temperature", sample_c),
            ),
        ),
        flags=(
            *(
                (
                    say("Read straight as 25/25 °C it would be {naive}: the two temperatures on the stem matter.",
                        naive=amount("salinity", _naive(reading))),
                )
                if abs(_naive(reading) - found.value) > 0.7
                else ()
            ),
            *_no_reef(found),
        ),
    )  # fmt: skip


USUAL_SALINITY = (28.0, 40.0)
MARKINGS = {  # printed on the stem: sample temperature / water temperature
    "25/25": (25.0, 25.0),
    "60F/60F": (15.5556, 15.5556),
    "77F/60F": (25.0, 15.5556),
    "20/4": (20.0, 4.0),
    "20/20": (20.0, 20.0),
}


def _naive(reading: float) -> float:
    """Salinity when the reading is taken for 25/25 °C, kept within what can be."""
    low, high = (seawater.specific_gravity(s, 25, 25) for s in (0.0, 42.0))
    return seawater.salinity_from_specific_gravity(min(max(reading, low), high), 25, 25)


def _no_reef(found: Measured) -> tuple[Say, ...]:
    """A salinity no reef is kept at is mostly a wrong unit, scale or standard."""
    if USUAL_SALINITY[0] <= found.value <= USUAL_SALINITY[1]:
        return ()
    return (say("Salinity {value} is no reef's: check the unit, the scale and the standard before correcting the water.",
                value=amount("salinity", found.value)),)  # fmt: skip


def _write_down(found: Measured) -> Say:
    return say(
        "Write down salinity {value}, give or take {sd}.",
        value=amount("salinity", found.value),
        sd=amount("salinity_difference", found.sd),
    )


SALINITY_OUT = (
    Output("salinity", "Salinity", "salinity", main=True),
    Output("sd", "Standard error", "salinity_difference"),
)
SAMPLE = "Temperature of the water as measured"

SHEETS = (
    Worksheet(
        name="conductivity-reading",
        title="Salinity from a conductivity meter",
        subject=SUBJECT,
        purpose="Practical salinity from what the meter shows, raw or compensated.",
        inputs=(
            Input("reading_ms_cm", "The meter shows", "conductivity", 2, 100),
            Input("temp_c", SAMPLE, "temperature", 0, 35, recall="reading.temperature"),
            Choice("compensation", "The meter", (("seawater", "compensates by the curve of seawater"),
                   ("linear", "compensates by a fixed share per degree"), ("raw", "does not compensate")), "linear",
                   recall="instrument.compensation", help="In its manual; most hand meters compensate by a share."),
            Input("reference_c", "Reference temperature of the meter", "temperature", 15, 30, default=25,
                  recall="instrument.reference_c", detail=True),
            Input("coefficient_pct", "Compensation per °C", "percent_fine", 0, 4, default=2.0,
                  recall="instrument.coefficient_pct", help="Usually 1.9 to 2.1 %.", usual=(1.8, 2.3), detail=True),
            Input("standard_shown_ms_cm", "It shows in the standard", "conductivity", 1, 120, optional=True,
                  recall="instrument.standard_shown", detail=True),
            Input("standard_ms_cm", "The standard is", "conductivity", 1, 120, default=53.07,
                  recall="instrument.standard", help="Seawater S 35 at 25 °C: 53.07 mS/cm.", detail=True),
            Input("resolution_ms_cm", "Last digit", "conductivity", 0, 5, default=0.1, recall="instrument.resolution",
                  detail=True),
            Input("accuracy_pct", "Accuracy of the meter", "percent_fine", 0, 10, default=0.5,
                  recall="instrument.accuracy_pct", detail=True),
        ),
        outputs=(*SALINITY_OUT, Output("raw_ms_cm", "Conductivity, uncompensated", "conductivity")),
        compute=by_conductivity,
        sources=("UNESCO 44", "Culkin & Smith 1980", "mass balance"),
        valid="Salinity 2 to 42, 0 to 35 °C (PSS-78), water of seawater’s composition.",
    ),
    Worksheet(
        name="refractometer-reading",
        title="Salinity from a refractometer",
        subject=SUBJECT,
        purpose="A reading set right for the scale, the temperature and the standard.",
        inputs=(
            Input("reading", "Reading on the scale", "ratio", 0, 100),
            Choice("scale", "Scale", (("seawater", "Seawater, ppt"), ("brine", "Salt (sodium chloride), ppt"),
                   ("index", "Refractive index")), "brine", recall="instrument.scale",
                   help="Unless it says seawater it is a salt scale."),
            Input("standard_reading", "It reads in the seawater standard", "ratio", 0, 100, optional=True,
                  recall="instrument.standard_reading"),
            Input("standard", "Salinity of the standard", "salinity", 20, 42, default=35,
                  recall="instrument.standard", detail=True),
            Choice("compensates", "Compensates for temperature", (("yes", "Yes"), ("no", "No")), "yes",
                   recall="instrument.compensates", detail=True),
            Input("temp_c", "Temperature of the prism", "temperature", 1, 30, default=22,
                  help="Used when it does not compensate.", detail=True),
            Input("resolution", "Division of the scale", "ratio", 0, 10, default=1, recall="instrument.resolution",
                  detail=True),
        ),
        outputs=(*SALINITY_OUT, Output("index", "Refractive index", "refractive_index")),
        compute=by_refractometer,
        sources=("Quan & Fry 1995", "CRC Handbook"),
        valid="Salinity 0 to 35 as fitted (straight to 42), 1 to 30 °C, sodium light; the salt scale to ± 1 %.",
    ),
    Worksheet(
        name="hydrometer-reading",
        title="Salinity from a hydrometer",
        subject=SUBJECT,
        purpose="Salinity from a specific gravity, with the two temperatures of the hydrometer and the swelling of glass.",
        inputs=(
            Input("reading", "The hydrometer shows", "specific_gravity", 0.99, 1.05, usual=(1.018, 1.032)),
            Input("sample_c", SAMPLE, "temperature", 5, 35, recall="reading.temperature"),
            Choice("marked", "Marked on the stem", (("25/25", "25/25 °C"), ("60F/60F", "60/60 °F"),
                   ("77F/60F", "77/60 °F"), ("20/4", "20/4 °C"), ("20/20", "20/20 °C"), ("other", "other")), "25/25",
                   recall="instrument.marked", help="Temperature of the sample / of the water compared with."),
            Input("calibration_c", "Other: temperature of the sample", "temperature", 0, 40, default=25,
                  recall="instrument.calibration_c", detail=True),
            Input("water_c", "Other: temperature of the water", "temperature", 0, 40, default=25,
                  recall="instrument.water_c", detail=True),
            Choice("material", "Made of", (("glass", "Glass"), ("plastic", "Plastic")), "glass",
                   recall="instrument.material", detail=True),
            Input("resolution", "Division of the scale", "ratio", 0, 0.01, default=0.0005,
                  recall="instrument.resolution", detail=True),
        ),
        outputs=(
            *SALINITY_OUT,
            Output("sg_25", "Specific gravity 25/25 °C", "specific_gravity"),
            Output("density_kg_l", "Density of the sample", "density"),
        ),
        compute=by_hydrometer,
        sources=("TEOS-10", "Millero 2008"),
        valid="Salinity 0 to 42, 5 to 35 °C; glass swells 2.5e-5 per °C.",
    ),
)  # fmt: skip
