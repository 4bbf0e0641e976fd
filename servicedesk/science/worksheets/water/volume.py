"""Worksheets of the net volume: from sizes, by a tracer, by a change of salinity."""

from servicedesk.science.guard import ScienceError
from servicedesk.science.plant.pipes import plumbing_volume_l
from servicedesk.science.water import molar, volume
from servicedesk.science.water.volume import Estimate
from servicedesk.science.words import Say, say
from servicedesk.science.worksheets.declare import Answer, Choice, Input, Output, Rows, Step, Worksheet, amount, step

SUBJECT = "Net volume"
SHAPES = (("box", "Box"), ("bow", "Bow front"), ("cylinder", "Cylinder"), ("hexagon", "Regular hexagon"))
DAILY_RISE_MEQ_L = 0.5
NAHCO3_G_PER_L = 60.0  # dissolves readily; saturated at 96
DOSE_ERROR = 0.01
ROUGH_SHARE = 0.2


def net_volume_from_sizes(
    *,
    shape: str,
    length_m: float,
    width_m: float | None,
    bow_mm: float,
    depth_m: float,
    sump_length_m: float | None,
    sump_width_m: float | None,
    sump_depth_m: float | None,
    further_l: float,
    pipes: tuple[tuple[float, float], ...],
    rock_kg: float,
    sand_kg: float,
    equipment_l: float,
    rock_density_kg_l: float,
) -> Answer:
    display_l, display_step = _display(shape, length_m, width_m, bow_mm, depth_m)
    sump_l = _sump_l(sump_length_m, sump_width_m, sump_depth_m)
    plumbing_l = plumbing_volume_l(pipes)
    rock, sand = volume.rock_l(rock_kg, rock_density_kg_l), volume.sand_l(sand_kg)
    displaced = rock + sand + equipment_l
    net = volume.net_volume_l(vessels_l=(display_l, sump_l, further_l), plumbing_l=plumbing_l, displaced_l=displaced)
    gross = net + displaced
    return Answer(
        values={"net_volume_l": net, "display_l": display_l, "sump_l": sump_l, "gross_l": gross,
                "displaced_l": displaced},
        do=(say("Work with a net volume of {net} until a tracer gives a better one: every dose and every setting "
                "scales with it.", net=amount("volume", net)),),
        steps=(
            display_step,
            step("Sump, running", "{length} × {width} × {depth} × 1000", amount("volume", sump_l), "geometry",
                 length=amount("size", sump_length_m or 0), width=amount("size", sump_width_m or 0),
                 depth=amount("size", sump_depth_m or 0)),
            step("Plumbing", "Σ π ÷ 4 × (bore ÷ 1000)² × length × 1000", amount("volume", plumbing_l), "geometry"),
            step("Displaced", "{rock} ÷ {rock_kg_a_litre} + {sand} ÷ 2.7 + {equipment}", amount("volume", displaced),
                 "common practice", rock=amount("mass_kg", rock_kg), sand=amount("mass_kg", sand_kg),
                 rock_kg_a_litre=amount("mass_per_volume", rock_density_kg_l), equipment=amount("volume", equipment_l)),
            step("Net volume", "{display} + {sump} + {further} + {plumbing} − {displaced}", amount("volume", net),
                 "geometry", display=amount("volume", display_l), sump=amount("volume", sump_l),
                 further=amount("volume", further_l), plumbing=amount("volume", plumbing_l),
                 displaced=amount("volume", displaced)),
        ),
        flags=() if rock_kg else (say("No rock is counted: a reef commonly loses 5 to 15 % of its volume to rock."),),
    )  # fmt: skip


def _display(shape: str, length_m: float, width_m: float | None, bow_mm: float, depth_m: float) -> tuple[float, Step]:
    """The display's water and the step that tells it."""
    length, depth = amount("size", length_m), amount("size", depth_m)
    if shape == "cylinder":
        litres = volume.cylinder_l(diameter_m=length_m, depth_m=depth_m)
        formula, terms = "π ÷ 4 × ({diameter})² × {depth} × 1000", {"diameter": length, "depth": depth}
    elif shape == "hexagon":
        litres = volume.hexagon_l(side_m=length_m, depth_m=depth_m)
        formula, terms = "1.5 × √3 × ({side})² × {depth} × 1000", {"side": length, "depth": depth}
    else:
        if width_m is None:
            raise ScienceError("Type the width of the display, front to back.", "width_m")
        width = amount("size", width_m)
        if shape == "bow":
            litres = volume.bow_front_l(length_m=length_m, width_m=width_m, bow_m=bow_mm / 1000, depth_m=depth_m)
            bow = volume.segment_m2(chord_m=length_m, rise_m=bow_mm / 1000)
            formula = "({length} × {width} + {bow_area}) × {depth} × 1000"
            terms = {"length": length, "width": width, "bow_area": amount("area", bow), "depth": depth}
        else:
            litres = volume.box_l(length_m=length_m, width_m=width_m, depth_m=depth_m)
            formula = "{length} × {width} × {depth} × 1000"
            terms = {"length": length, "width": width, "depth": depth}
    return litres, step("Display", formula, amount("volume", litres), "geometry", **terms)


def _sump_l(length_m: float | None, width_m: float | None, depth_m: float | None) -> float:
    sizes = (length_m, width_m, depth_m)
    if all(size is None for size in sizes):
        return 0.0
    if length_m is None or width_m is None or depth_m is None:
        raise ScienceError("Type length, width and running depth of the sump, or none of them.", "sump_length_m")
    return volume.box_l(length_m=length_m, width_m=width_m, depth_m=depth_m)


def net_volume_by_tracer(
    *,
    volume_l: float,
    volume_error_pct: float,
    mass_g: float | None,
    alkalinity_meq_l: float,
    after_meq_l: float | None,
    repeats: float,
    between_h: float,
    use_meq_l_day: float,
    reading_error_meq_l: float,
    purity_pct: float,
    wanted_pct: float,
) -> Answer:
    times = int(repeats)
    dose_meq = volume.tracer_dose(
        volume_l=volume_l, reading_error=reading_error_meq_l, repeats=times, wanted_share=wanted_pct / 100
    )
    grams_per_meq = molar.NAHCO3 / 1000 / (purity_pct / 100)
    planned_g, planned_rise = dose_meq * grams_per_meq, dose_meq / volume_l
    if mass_g is None or after_meq_l is None:
        plan_steps = (
            step("Rise for the error wanted", "√(2 ÷ {repeats}) × {reading_error} ÷ ({wanted} ÷ 100)",
                 amount("alkalinity", planned_rise), "JCGM 100", repeats=amount("count", times),
                 reading_error=amount("alkalinity", reading_error_meq_l), wanted=amount("percent", wanted_pct)),
            step("Sodium bicarbonate", "{rise} × {volume} × 84.01 ÷ 1000 ÷ ({purity} ÷ 100)",
                 amount("mass", planned_g), "stoichiometry", rise=amount("alkalinity", planned_rise),
                 volume=amount("volume", volume_l), purity=amount("percent", purity_pct)),
        )  # fmt: skip
        return _plan(planned_g, planned_rise, times, alkalinity_meq_l, plan_steps)
    given_meq = mass_g / grams_per_meq
    found = volume.tracer_volume(
        dose=given_meq, before=alkalinity_meq_l, after=after_meq_l, reading_error=reading_error_meq_l,
        repeats=times, loss_per_day=use_meq_l_day, days=between_h / 24, dose_error_share=DOSE_ERROR,
    )  # fmt: skip
    combined, flags = _combined(found, Estimate(volume_l, volume_l * volume_error_pct / 100))
    flags.extend(_too_rough(found))
    rise = after_meq_l - alkalinity_meq_l + use_meq_l_day * between_h / 24
    return Answer(
        values={"volume_found_l": found.volume_l, "error_l": found.error_l, "combined_l": combined.volume_l,
                "combined_error_l": combined.error_l, "dose_g": planned_g},
        do=(
            _set_or_repeat(found, Estimate(volume_l, volume_l * volume_error_pct / 100), combined),
            say("For ± {wanted} by the tracer alone repeat with {dose} of sodium bicarbonate.",
                wanted=amount("percent", wanted_pct), dose=amount("mass", planned_g)),
        ),
        steps=(
            step("Alkalinity dosed", "{mass} ÷ 84.01 × {purity} ÷ 100 × 1000",
                 amount("equivalents_amount", given_meq), "stoichiometry", mass=amount("mass", mass_g),
                 purity=amount("percent", purity_pct)),
            step("Rise, what was used meanwhile added", "{after} − {before} + {used} × {hours} ÷ 24",
                 amount("alkalinity", rise), "mass balance", after=amount("alkalinity", after_meq_l),
                 before=amount("alkalinity", alkalinity_meq_l), used=amount("alkalinity_per_day", use_meq_l_day),
                 hours=amount("hours", between_h)),
            step("Volume", "{dosed} ÷ {rise}", amount("volume", found.volume_l), "mass balance",
                 dosed=amount("equivalents_amount", given_meq), rise=amount("alkalinity", rise)),
            step("Its error", "{volume} × √(0.01² + 2 × ({reading_error})² ÷ ({repeats} × ({rise})²))",
                 amount("volume", found.error_l), "JCGM 100", volume=amount("volume", found.volume_l),
                 reading_error=amount("alkalinity", reading_error_meq_l), repeats=amount("count", times),
                 rise=amount("alkalinity", rise)),
            step("Combined with the volume so far", "mean of {tracer} and {so_far}, each over its error squared",
                 amount("volume", combined.volume_l), "JCGM 100", tracer=amount("volume", found.volume_l),
                 so_far=amount("volume", volume_l)),
        ),
        flags=tuple(flags),
    )  # fmt: skip


def _plan(planned_g: float, rise: float, times: int, alkalinity_meq_l: float, steps: tuple[Step, ...]) -> Answer:
    """What to weigh before the test; nothing is found yet."""
    flags = []
    if rise > DAILY_RISE_MEQ_L:
        flags.append(say("That raises alkalinity by {rise}, more than the usual {limit} a day: take more readings, or "
                         "accept a larger error.", rise=amount("alkalinity", rise),
                         limit=amount("alkalinity", DAILY_RISE_MEQ_L)))  # fmt: skip
    if alkalinity_meq_l + rise > 4.0:
        flags.append(say("Alkalinity would end near {end}: wait until it is lower.",
                         end=amount("alkalinity", alkalinity_meq_l + rise)))  # fmt: skip
    return Answer(
        values={"volume_found_l": None, "error_l": None, "combined_l": None, "combined_error_l": None,
                "dose_g": planned_g},
        do=(
            say("Stop alkalinity dosing, the reactor and limewater for the test. Read the alkalinity {times} times.",
                times=str(times)),
            say("Weigh {dose} of sodium bicarbonate, dissolve it in {water} of RO water and pour it slowly into the "
                "sump's fastest flow over half an hour.", dose=amount("mass", planned_g),
                water=amount("volume", planned_g / NAHCO3_G_PER_L)),
            say("Let the return turn the system over three times, at least two hours, read {times} times again and "
                "type the mean here.", times=str(times)),
        ),
        steps=steps,
        flags=tuple(flags),
    )  # fmt: skip


def _too_rough(found: Estimate) -> list[Say]:
    """A test whose change is hardly more than the error of reading."""
    if found.error_l <= ROUGH_SHARE * found.volume_l:
        return []
    return [say("The change is hardly more than the error of the readings: the test alone tells little. Repeat it with more, "
                "or with more readings.")]  # fmt: skip


def _set_or_repeat(found: Estimate, so_far: Estimate | None, combined: Estimate) -> Say:
    """What to do with the result: set it, or not where it contradicts the volume so far."""
    if so_far is not None and combined is found:
        return say("Set nothing yet: repeat the test, and look for what stands in the tank or was typed wrong.")
    return say("Set the net volume to {combined}, ± {error}.", combined=amount("volume", combined.volume_l),
               error=amount("volume", combined.error_l))  # fmt: skip


def _combined(found: Estimate, so_far: Estimate) -> tuple[Estimate, list[Say]]:
    """The weighed mean; when the two contradict, the measured one with a warning."""
    try:
        return volume.combine([found, so_far]), []
    except ScienceError:
        return found, [say("The test says {found}, the volume so far {so_far}: one of them is wrong. Repeat the test "
                           "before setting it.", found=amount("volume", found.volume_l),
                           so_far=amount("volume", so_far.volume_l))]  # fmt: skip


def net_volume_by_salinity(
    *,
    way: str,
    fresh_l: float,
    before: float,
    after: float,
    repeats: float,
    reading_error: float,
    volume_l: float | None,
    volume_error_pct: float,
) -> Answer:
    found = volume.salinity_volume(
        exchanged_l=fresh_l, before=before, after=after, reading_error=reading_error, repeats=int(repeats),
        replaced=way == "replaced",
    )  # fmt: skip
    combined, flags = (found, []) if volume_l is None else _combined(
        found, Estimate(volume_l, volume_l * volume_error_pct / 100)
    )  # fmt: skip
    flags = [*flags, *_too_rough(found)]
    top = "before" if way == "replaced" else "after"
    return Answer(
        values={"volume_found_l": found.volume_l, "error_l": found.error_l, "combined_l": combined.volume_l,
                "combined_error_l": combined.error_l},
        do=(
            _set_or_repeat(
                found, None if volume_l is None else Estimate(volume_l, volume_l * volume_error_pct / 100), combined
            ),
        ),
        steps=(
            step("Volume", "{fresh} × {" + top + "} ÷ ({before} − {after})", amount("volume", found.volume_l),
                 "mass balance", fresh=amount("volume", fresh_l), before=amount("salinity", before),
                 after=amount("salinity", after)),
            step("Its error", "{volume} × √(2 ÷ {repeats}) × {reading_error} ÷ ({before} − {after})",
                 amount("volume", found.error_l), "JCGM 100", volume=amount("volume", found.volume_l),
                 repeats=amount("count", repeats), reading_error=amount("ratio", reading_error),
                 before=amount("salinity", before), after=amount("salinity", after)),
        ),
        flags=tuple(flags),
    )  # fmt: skip


FOUND = (
    Output("volume_found_l", "Volume by this test", "volume", main=True),
    Output("error_l", "Its error, one in three is outside", "volume"),
    Output("combined_l", "With the volume so far", "volume", main=True),
    Output("combined_error_l", "Error of that", "volume"),
)
SO_FAR_ERROR = Input("volume_error_pct", "Error of the volume so far", "percent", 1, 50, 10, detail=True)

SHEETS = (
    Worksheet(
        name="net-volume-from-sizes",
        title="Net volume from sizes",
        subject=SUBJECT,
        purpose="The water really in the system, from the sizes of its tanks and what displaces it.",
        inputs=(
            Choice("shape", "Shape of the display", SHAPES, "box"),
            Input("length_m", "Length inside (diameter, or side of a hexagon)", "size", 0.1, 50),
            Input("width_m", "Width inside, front to back (bow front: at its ends)", "size", 0.1, 50, optional=True),
            Input("bow_mm", "Bulge of the bow in the middle", "bore", 0, 10000, 0),
            Input("depth_m", "Depth of the water, to the running level", "size", 0.05, 10,
                  help="From the bottom to the surface with the pumps on, not to the rim."),
            Input("sump_length_m", "Length of the sump", "size", 0.05, 50, optional=True),
            Input("sump_width_m", "Width of the sump", "size", 0.05, 50, optional=True),
            Input("sump_depth_m", "Running depth in the sump", "size", 0.02, 5, optional=True),
            Input("further_l", "Water in reactors, filters and further tanks", "volume", 0, 2e6, 0),
            Rows("pipes", "Pipes: true bore and length on each line",
                 (Input("bore_mm", "Bore", "bore", 4, 600), Input("run_m", "Length", "size", 0, 1000)), 0, 40,
                 help="E.g. “50 12” for 12 m of 50 mm; units may follow, “2in 30ft”.", detail=True),
            Input("rock_kg", "Rock, dry", "mass_kg", 0, 1e5, 0),
            Input("sand_kg", "Sand, dry", "mass_kg", 0, 1e5, 0),
            Input("equipment_l", "Displaced by overflow boxes and machines", "volume", 0, 1e5, 0, detail=True),
            Input("rock_density_kg_l", "Apparent density of the rock", "mass_per_volume", 1.2, 2.9, 2.1, detail=True,
                  help="Common practice 1.8 to 2.4 kg/L: a bucket, a scale and the water it drives out tell it."),
        ),
        outputs=(
            Output("net_volume_l", "Net volume", "volume", main=True),
            Output("display_l", "Display, gross", "volume"),
            Output("sump_l", "Sump, running", "volume"),
            Output("gross_l", "All together, gross", "volume"),
            Output("displaced_l", "Displaced", "volume"),
        ),
        compute=net_volume_from_sizes,
        sources=("geometry", "common practice"),
        valid="Upright tanks; a bow is an arc of a circle. Expect an error of 5 to 10 %, mostly the rock.",
    ),
    Worksheet(
        name="net-volume-by-tracer",
        title="Net volume by a weighed dose",
        subject=SUBJECT,
        purpose="Plans and reads a test with sodium bicarbonate: first leave mass and second reading empty.",
        inputs=(
            Input("volume_l", "Volume so far, or a guess", "volume", 50, 2e6, recall="net_volume"),
            Input("alkalinity_meq_l", "Alkalinity before, mean of the readings", "alkalinity", 0.5, 8),
            Input("mass_g", "Sodium bicarbonate given", "mass", 0.1, 1e6, optional=True),
            Input("after_meq_l", "Alkalinity after mixing, mean of the readings", "alkalinity", 0.5, 10, optional=True),
            Input("repeats", "Readings before, and as many after", "count", 1, 20, 4),
            Input("between_h", "Time between the readings", "hours", 0, 96, 4),
            Input("use_meq_l_day", "Alkalinity the system uses", "alkalinity_per_day", 0, 2, 0, recall="demand.alkalinity",
                  help="Its demand: it works on during the test."),
            Input("reading_error_meq_l", "Error of one reading", "alkalinity", 0.001, 0.5, 0.05, detail=True,
                  help="Common practice: 0.05 meq/L for a careful titration, 0.1 for a kit."),
            Input("purity_pct", "Purity of the bicarbonate", "percent", 80, 100, 99, detail=True),
            Input("wanted_pct", "Error wanted", "percent", 1, 30, 8, detail=True),
            SO_FAR_ERROR,
        ),
        outputs=(*FOUND, Output("dose_g", "Sodium bicarbonate for the error wanted", "mass", main=True)),
        compute=net_volume_by_tracer,
        sources=("mass balance", "stoichiometry", "JCGM 100", "common practice"),
        valid="Mixed three turnovers; dosing of alkalinity stopped. Nothing may precipitate: keep the rise small.",
    ),
    Worksheet(
        name="net-volume-by-salinity",
        title="Net volume by a change of salinity",
        subject=SUBJECT,
        purpose="The volume from fresh water that replaced tank water, or was added, and the fall of salinity.",
        inputs=(
            Choice("way", "The fresh water", (("replaced", "replaced as much tank water"),
                                              ("added", "was added")), "replaced"),
            Input("fresh_l", "Fresh water", "volume", 0.1, 1e5),
            Input("before", "Salinity before, mean of the readings", "salinity", 5, 45, recall="reading.salinity"),
            Input("after", "Salinity after mixing, mean of the readings", "salinity", 1, 45),
            Input("repeats", "Readings before, and as many after", "count", 1, 20, 3),
            Input("reading_error", "Error of one reading, PSS", "ratio", 0.005, 1, 0.1, detail=True,
                  help="Repeatability of one meter: about 0.1 by conductivity, 0.5 by hydrometer."),
            Input("volume_l", "Volume so far", "volume", 50, 2e6, optional=True, recall="net_volume"),
            SO_FAR_ERROR,
        ),
        outputs=FOUND,
        compute=net_volume_by_salinity,
        sources=("mass balance", "JCGM 100"),
        valid="Top-off stopped and evaporation small meanwhile; a fall of at most 1 PSS a day in a stocked tank.",
    ),
)  # fmt: skip
