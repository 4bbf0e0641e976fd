import pytest

from servicedesk.science.water.algae import no3_per_po4
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import short_name
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import (
    assert_same_in_us_units,
    number,
    sentences,
)
from tests.science.worksheets.typical import TYPICAL


@pytest.mark.parametrize("name", TYPICAL)
def test_short_names_are_unique(name: str) -> None:
    names = [short_name(item.key) for item in worksheet(name).inputs]
    assert len(set(names)) == len(names)


@pytest.mark.source("NIST SP 811: the same system typed in US units")
@pytest.mark.parametrize(
    ("name", "us"),
    [
        ("nitrate-balance", {"volume": "1320.86 gal", "nitrate": "3.1626 mg/L NO3-N", "feed": "1.41096 oz/day"}),
        ("phosphate-balance", {"volume": "1320.86 gal", "phosphate": "32.614 ppb P", "feed": "1.41096 oz/day"}),
        ("algae-harvest", {"volume": "1320.86 gal", "harvest": "1.98416 lb", "nitrate": "20", "phosphate": "0.1"}),
        ("ammonia-toxic-share", {"ammonia": "0.41121 mg/L N", "ph": "8.2", "temp": "77.9 F"}),
        ("biofilter", {"volume": "1320.86 gal", "feed": "2.11644 oz/day"}),
        ("feeding-plan", {"volume": "1320.86 gal", "fish": "17.637 lb", "coral_feed": "0.211644 oz"}),
    ],
)
def test_us_units(name: str, us: dict[str, str]) -> None:
    assert_same_in_us_units(worksheet(name), TYPICAL[name], us)


@pytest.mark.source("mass balance by hand: 40 g × 7.5 % N × 60 % × 4.427 = 7.97 g nitrate a day")
def test_nitrate_made_from_feed() -> None:
    assert number(run(worksheet("nitrate-balance"), TYPICAL["nitrate-balance"]), "load_g_day") == pytest.approx(
        7.97, abs=0.01
    )


@pytest.mark.source("mass balance: the feed the sheet allows holds the target when fed")
def test_the_feed_allowed_holds_the_target() -> None:
    sheet = worksheet("nitrate-balance")
    allowed = number(run(sheet, {**TYPICAL["nitrate-balance"], "target": "10"}), "feed_allowed_g_day")
    again = run(sheet, {**TYPICAL["nitrate-balance"], "target": "10", "feed": f"{allowed:.6f}"})
    assert again.values["settled_mg_l"] == pytest.approx(10, rel=1e-4)


@pytest.mark.source("mass balance: the ethanol told for the nitrate that is missing holds the target")
def test_the_export_told_holds_the_target() -> None:
    sheet = worksheet("nitrate-balance")
    first = run(sheet, TYPICAL["nitrate-balance"])
    ethanol = next(line.terms["ethanol"] for line in first.do if "ethanol" in line.terms)
    assert not isinstance(ethanol, str)
    again = run(sheet, {**TYPICAL["nitrate-balance"], "ethanol": f"{ethanol.value:.8f}"})
    assert again.values["settled_mg_l"] == pytest.approx(10, rel=1e-4)


@pytest.mark.source("mass balance: two readings give the loss, and the loss gives the second reading")
def test_an_earlier_reading_finds_the_loss() -> None:
    sheet = worksheet("nitrate-balance")
    found = run(sheet, {**TYPICAL["nitrate-balance"], "earlier": "12", "since": "14"})
    lost = number(found, "lost_per_day")
    assert 0 < lost < 0.3
    assert "assumed" not in sentences(found)
    with pytest.raises(BadInput, match="less than the readings show"):
        run(sheet, {**TYPICAL["nitrate-balance"], "nitrate": "200", "earlier": "1"})


def test_refuses_a_slip_of_units_in_the_feed() -> None:
    with pytest.raises(BadInput, match="check units") as refused:
        run(worksheet("nitrate-balance"), {"volume": "50", "nitrate": "10", "feed": "5 kg/day"})
    assert "feed_g_day" in refused.value.errors


@pytest.mark.source("Stoichiometry: ethanol at a yield of one half takes up 0.40 g nitrate a gram, with 1.04 g oxygen")
def test_carbon_dose() -> None:
    found = run(worksheet("carbon-dosing"), TYPICAL["carbon-dosing"])
    nitrate_g_day = 15 * 5 / 56
    assert found.values["mass_g_day"] == pytest.approx(nitrate_g_day / 0.404, rel=0.005)
    assert found.values["oxygen_g_day"] == pytest.approx(1.042 * number(found, "mass_g_day"), rel=0.002)
    assert found.values["first_ml_day"] == pytest.approx(number(found, "goal_ml_day") / 4)


@pytest.mark.source("common practice: the night's oxygen comes before the carbon")
def test_carbon_dose_looks_at_the_night_first() -> None:
    low = run(worksheet("carbon-dosing"), {**TYPICAL["carbon-dosing"], "lowest": "5.02", "load": "6"})
    assert "Do not go to the full dose" in sentences(low)
    assert "Phosphate runs out first" in sentences(low)
    high = run(worksheet("carbon-dosing"), {**TYPICAL["carbon-dosing"], "lowest": "6.5"})
    assert "enough" in sentences(high)


@pytest.mark.source("Atkinson & Smith 1983: N:P 30 of macroalgae")
def test_harvest_sheet_tells_which_runs_out() -> None:
    found = run(worksheet("algae-harvest"), TYPICAL["algae-harvest"])
    assert number(found, "nitrate_g") / number(found, "phosphate_g") == pytest.approx(no3_per_po4())
    assert "Phosphate runs out" in sentences(found)
    rich = run(worksheet("algae-harvest"), {**TYPICAL["algae-harvest"], "phosphate": "1"})
    assert "both last" in sentences(rich)


@pytest.mark.source(
    "Computed by two codes: a meter showing 8.20 (NBS) at S 35, 25 °C means a toxic share of about 6.1 %"
)
def test_ammonia_sheet_brings_the_meter_onto_the_total_scale() -> None:
    found = run(worksheet("ammonia-toxic-share"), {"ammonia": "0.5", "ph": "8.195", "temp": "25"})
    assert found.values["share_pct"] == pytest.approx(6.12, abs=0.15)
    assert "halve the feed" in sentences(found)
    alarm = run(worksheet("ammonia-toxic-share"), {"ammonia": "2", "ph": "8.2"})
    assert "harms animals" in sentences(alarm)


@pytest.mark.source("Timmons & Ebeling handbook (from memory): 0.092 × 60 g × 45 % protein; 4.57 g oxygen per g N")
def test_biofilter_sheet() -> None:
    found = run(worksheet("biofilter"), TYPICAL["biofilter"])
    assert found.values["ammonia_g_day"] == pytest.approx(2.484)
    assert found.values["oxygen_g_day"] == pytest.approx(2.484 * 4.57, rel=1e-3)
    assert found.values["area_m2"] == pytest.approx(8.28)


@pytest.mark.source("common practice: at least four metered feeds a day, corals after dark")
def test_feeding_sheet_lists_clock_times() -> None:
    found = run(worksheet("feeding-plan"), {**TYPICAL["feeding-plan"], "lights_on": "09:00", "lights_off": "21:00"})
    rows = found.listings[0].rows
    assert [row[1] for row in rows] == ["fish"] * 5 + ["corals"]
    hours = [row[0].value for row in rows if not isinstance(row[0], str)]
    assert hours == pytest.approx([10, 12.5, 15, 17.5, 20, 22])


@pytest.mark.source("mass balance: portions of the table add up to the ration")
def test_feeding_sheet_by_groups() -> None:
    groups = "planktivore 1; herbivore 2kg; predator 4lb 1.0"
    found = run(worksheet("feeding-plan"), {"volume": "5000", "groups": groups, "grams_per_turn": "2"})
    portions = [row[3].value for row in found.listings[0].rows if not isinstance(row[3], str)]
    assert sum(portions) == pytest.approx(number(found, "feed_g_day"))
    with pytest.raises(BadInput, match="Line 1"):
        run(worksheet("feeding-plan"), {"volume": "5000", "groups": "shark 5"})
    with pytest.raises(BadInput, match="not water"):
        run(worksheet("feeding-plan"), {"volume": "50", "fish": "200"})
