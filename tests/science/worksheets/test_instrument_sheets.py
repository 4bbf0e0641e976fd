import pytest

from servicedesk.science.words import Amount
from servicedesk.science.worksheets.catalogue import worksheet
from servicedesk.science.worksheets.declare import Answer, short_name
from servicedesk.science.worksheets.run import run
from servicedesk.science.worksheets.typed import BadInput
from tests.science.published import published
from tests.science.worksheets.trying import (
    assert_same_in_us_units,
    number,
    sentences,
)
from tests.science.worksheets.typical import TYPICAL


def amount_of(found: Answer, key: str) -> Amount:
    value = found.values[key]
    assert isinstance(value, Amount)
    return value


@pytest.mark.parametrize("name", TYPICAL)
def test_short_names_are_unique(name: str) -> None:
    names = [short_name(item.key) for item in worksheet(name).inputs]
    assert len(set(names)) == len(names)


@pytest.mark.source("NIST SP 811: the same readings typed in US units")
def test_us_units() -> None:
    assert_same_in_us_units(
        worksheet("conductivity-reading"), TYPICAL["conductivity-reading"], {"reading": "53100 uS/cm", "temp": "77.9 F"}
    )
    assert_same_in_us_units(
        worksheet("hydrometer-reading"),
        TYPICAL["hydrometer-reading"],
        {"reading": "1.0245", "sample": "77.9 F", "marked": "77F/60F"},
    )
    assert_same_in_us_units(
        worksheet("co2-cylinder"),
        TYPICAL["co2-cylinder"],
        {"gross": "22.9281 lb", "tare": "17.6370 lb", "earlier": "24.2508 lb"},
    )


@pytest.mark.source("UNESCO 44: 53.07 mS/cm at 25 °C is S 35")
@pytest.mark.parametrize("compensation", ["raw", "linear", "seawater"])
def test_every_meter_agrees_at_its_reference_temperature(compensation: str) -> None:
    found = run(worksheet("conductivity-reading"), {"reading": "53.07", "temp": "25", "compensation": compensation})
    assert found.values["salinity"] == pytest.approx(35.0, abs=0.005)


@pytest.mark.source("EOS-80 and TEOS-10: SG of S 35 at 77/60 °F is 1.02435")
def test_hydrometer_by_its_marking() -> None:
    value = published("sg-5")
    found = run(
        worksheet("hydrometer-reading"), {"reading": f"{value['expected']:.5f}", "sample": "25", "marked": "77F/60F"}
    )
    assert found.values["salinity"] == pytest.approx(35, abs=0.02)
    assert found.values["sg_25"] == pytest.approx(published("sg-1")["expected"], abs=2e-5)
    assert "two temperatures" in sentences(found)


@pytest.mark.source("common practice: natural seawater reads about 36.5 on a sodium chloride refractometer")
def test_refractometer_with_a_salt_scale() -> None:
    found = run(worksheet("refractometer-reading"), TYPICAL["refractometer-reading"])
    assert found.values["salinity"] == pytest.approx(35, abs=0.2)
    assert "kitchen salt" in sentences(found)


@pytest.mark.source("common practice: slope 92 to 102 % is good, under 85 % the electrode is done")
@pytest.mark.parametrize(("second_mv", "words"), [("-172", "good"), ("-158", "tired"), ("-130", "do not use")])
def test_judges_the_electrode(second_mv: str, words: str) -> None:
    assert words in sentences(run(worksheet("ph-meter-check"), {"first_mv": "3", "second_mv": second_mv}))


@pytest.mark.source("Takahashi et al. 1982: NBS lies 0.1355 above the total scale at S 35, 25 °C")
def test_ph_on_the_total_scale() -> None:
    value = published("pH-nbs-total")
    found = run(worksheet("ph-meter-check"), {**TYPICAL["ph-meter-check"], "temp": "25"})
    assert 8.20 - number(found, "ph_total") == pytest.approx(value["expected"], abs=value["tolerance"])


def test_swapped_buffers_are_told_beside_the_field() -> None:
    with pytest.raises(BadInput) as refused:
        run(worksheet("ph-meter-check"), {"first_mv": "-168", "second_mv": "5"})
    assert "second_mv" in refused.value.errors


@pytest.mark.source("mass balance by hand: 0.6 kg in 14 days, 1.9 kg to the reserve: 44.3 days")
def test_cylinder_days() -> None:
    found = run(worksheet("co2-cylinder"), TYPICAL["co2-cylinder"])
    assert found.values["days_left"] == pytest.approx(44.3, abs=0.1)
    with pytest.raises(BadInput, match="tare"):
        run(worksheet("co2-cylinder"), {"gross": "7", "tare": "8", "use": "20"})


@pytest.mark.source("CoolProp: 6.7 L at 22 °C hold 1.41 kg of vapour, so 1 kg is gas alone")
def test_cylinder_without_liquid() -> None:
    assert "liquid is gone:" in sentences(run(worksheet("co2-cylinder"), {"gross": "9", "tare": "8", "use": "20"}))
    full = sentences(run(worksheet("co2-cylinder"), {"gross": "12", "tare": "8", "use": "20"}))
    assert "liquid is gone:" not in full


@pytest.mark.source("Ratio of molar masses (molmass): NO3 per NO3-N")
def test_a_kit_that_reads_nitrogen() -> None:
    found = run(
        worksheet("kit-reading"), {"reads": "nitrate mg_L_N", "reading": "2.1", "blank": "0.1", "dilution": "2"}
    )
    assert amount_of(found, "value").quantity == "nitrate"
    assert amount_of(found, "value").value == pytest.approx(4 * published("no3-n")["expected"], rel=1e-4)


@pytest.mark.source("common practice: below detection is kept as a bound")
def test_a_kit_that_shows_nothing() -> None:
    found = run(worksheet("kit-reading"), {"reads": "phosphate mg_L", "reading": "0.02", "sign": "below"})
    assert amount_of(found, "value").value == pytest.approx(0.02)
    assert "a bound" in str(found.values["kept_as"])
    assert "<" in sentences(found)


@pytest.mark.source("Standard Methods 2320 B (from memory): 1.45 mL of 0.1 N acid on 50 mL is 2.9 meq/L")
def test_titration_sheet() -> None:
    found = run(worksheet("titration-reading"), TYPICAL["titration-reading"])
    assert amount_of(found, "value").quantity == "alkalinity"
    assert amount_of(found, "value").value == pytest.approx(2.9)
