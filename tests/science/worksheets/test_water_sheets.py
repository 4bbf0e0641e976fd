"""Worksheets of dosing, consumption, reactor, limewater, pH and salinity, as typed at the tank."""

import pytest

from servicedesk.science.words import Amount
from servicedesk.science.worksheets import catalogue, run
from servicedesk.science.worksheets.declare import Answer
from servicedesk.science.worksheets.typed import BadInput
from tests.science.worksheets.trying import number, sentences
from tests.science.worksheets.typical import TYPICAL


def worked(name: str, **over: str) -> Answer:
    return run.run(catalogue.worksheet(name), {**TYPICAL[name], **over})


@pytest.mark.source("stoichiometry: 420 g of soda raise 10 000 L by 0.5 meq/L")
def test_the_dose_on_the_sheet_is_that_of_the_handbook() -> None:
    answer = worked("raise-alkalinity", volume="10000", alkalinity="2.4", target="2.9")
    assert number(answer, "mass") == pytest.approx(420.0, abs=0.1)


def test_a_dose_is_an_instruction_with_mass_water_place_and_times() -> None:
    words = sentences(worked("raise-alkalinity"))
    for part in ("sodium bicarbonate", "09:00", "of RO water", "sump", "817 g", "calcium and alkalinity"):
        assert part in words


def test_us_and_metric_typing_give_the_same_dose() -> None:
    us = worked("raise-alkalinity")
    metric = worked("raise-alkalinity", volume="22712.47", alkalinity="2.4964", target="2.9243")
    assert number(us, "mass") == pytest.approx(number(metric, "mass"), rel=1e-3)


def test_nothing_is_dosed_at_or_above_the_target() -> None:
    answer = worked("raise-calcium", calcium="450")
    assert number(answer, "mass") == 0
    assert "Nothing to raise" in sentences(answer)
    assert "change water" in sentences(answer)


def test_no_portion_goes_beyond_the_greatest_safe_change() -> None:
    answer = worked("raise-alkalinity", alkalinity="2.0 meq/L", target="4.0 meq/L")
    assert number(answer, "days_d") >= 4
    assert number(answer, "change") <= 0.5


def test_a_label_is_read_as_it_stands() -> None:
    """“10 mL in 100 L raise by 0.1 dKH”: 1.2 dKH in 22 712 L are 27.3 L."""
    assert number(worked("raise-alkalinity-by-label"), "mass") == pytest.approx(27_255, rel=1e-3)


def test_a_jug_beyond_what_dissolves_is_refused_beside_the_sheet() -> None:
    with pytest.raises(BadInput, match="dissolve"):
        worked("stock-solution", product="nahco3", strength="200")
    found = worked("stock-solution").values["rise"]
    assert isinstance(found, Amount)
    assert found.quantity == "calcium"
    assert found.value == pytest.approx(40 / 147.01 * 40.078, rel=1e-3)


@pytest.mark.source("stoichiometry: 0.1 meq/L a day of two-part dosing leaves 2.1 g/L of salt a year")
def test_two_part_dosing_creeps_by_two_of_salinity_a_year() -> None:
    assert number(worked("two-part-residue", demand="0.1"), "creep") == pytest.approx(2.1, abs=0.1)


def test_consumption_counts_what_was_put_in() -> None:
    """8.5 to 7.8 dKH in 7 days with 900 meq/day into 10 000 L: 0.0357 + 0.09 meq/L a day."""
    answer = worked("alkalinity-demand")
    assert number(answer, "used_meq_l_day") == pytest.approx(0.0357 + 0.09, abs=0.0005)
    assert "Raise the steady supply" in sentences(answer)


def test_a_change_within_the_error_changes_nothing() -> None:
    assert "Leave the supply" in sentences(worked("alkalinity-demand", second="8.4 dKH"))


def test_a_rise_beyond_what_was_put_in_is_flagged() -> None:
    assert "rose by more" in sentences(worked("alkalinity-demand", second="12 dKH"))


@pytest.mark.source("mass balance: effluent 25 dKH, tank 8 dKH, 60 mL/min deliver 523.8 meq a day")
def test_the_reactor_of_the_worked_example() -> None:
    assert number(worked("reactor-delivery"), "delivered_meq_day") == pytest.approx(523.8, abs=0.3)


def test_the_setting_covers_the_use() -> None:
    flow = number(worked("reactor-setting"), "flow_ml_min")
    back = worked("reactor-delivery", flow=f"{flow} mL/min")
    assert number(back, "alkalinity_rise_meq_l_day") == pytest.approx(0.1, rel=1e-6)


def test_a_spent_reactor_is_said_beside_the_field() -> None:
    with pytest.raises(BadInput) as refused:
        worked("reactor-setting", effluent_alkalinity="8 dKH")
    assert "effluent_alkalinity_meq_l" in refused.value.errors


def test_an_effluent_like_the_tank_means_no_gas() -> None:
    answer = worked("reactor-effluent", effluent_alkalinity="8.3 dKH", effluent_ph="7.6")
    assert answer.values["verdict"] == "starved of CO₂"
    assert "Weigh the cylinder" in sentences(answer)


@pytest.mark.source("Bates, Bower & Smith 1956: 50 L of limewater at 25 °C and full strength bring 2030 meq")
def test_limewater_brings_no_more_than_the_top_off_carries() -> None:
    answer = worked("limewater-share", lime_temp="25", efficiency="100", demand="1")
    assert number(answer, "delivered_meq_day") == pytest.approx(2030, rel=0.01)
    assert number(answer, "left_meq_day") == pytest.approx(8000, rel=0.01)


def test_the_limewater_hours_narrow_the_swing_inside_the_band() -> None:
    answer = worked("limewater-hours")
    assert number(answer, "swing") < 0.8 * number(answer, "swing_even")
    assert number(answer, "highest_ph") < 8.42
    hours = answer.listings[0].rows
    litres = sum(
        ((end.value - start.value) % 24 or 24) * rate.value
        for start, end, rate in hours
        if isinstance(start, Amount) and isinstance(end, Amount) and isinstance(rate, Amount)
    )
    assert litres == pytest.approx(number(answer, "litres_used_l_day"), rel=0.03)


def test_two_readings_give_the_day() -> None:
    answer = worked("ph-over-the-day", lime="")
    assert number(answer, "lowest_ph") < 8.13
    assert number(answer, "highest_ph") == pytest.approx(8.36, abs=0.05)
    with pytest.raises(BadInput, match="2 to 48 lines"):
        worked("ph-over-the-day", readings="07:30 8.12")


@pytest.mark.source("science of the scales: an NBS reading taken raw overstates saturation by about a quarter")
def test_the_scale_of_the_meter_decides_the_saturation() -> None:
    nbs, total = worked("carbonate-system"), worked("carbonate-system", ph_scale="total")
    assert number(total, "omega_aragonite") / number(nbs, "omega_aragonite") == pytest.approx(1.27, abs=0.03)


def test_a_big_hydroxide_dose_is_called_off_and_the_safe_one_told() -> None:
    answer = worked("ph-after-a-dose")
    assert "lime precipitates" in sentences(answer)
    assert "at most" in sentences(answer)
    safe = worked("ph-after-a-dose", rise=f"{number(answer, 'greatest_meq_l')} meq/L")
    assert number(safe, "omega_after") == pytest.approx(5.0, abs=0.02)


@pytest.mark.source("density × absolute salinity: 35.986 kg of dry salt in 1000 L at 35, 25 °C")
def test_the_salt_of_a_batch() -> None:
    assert number(worked("salt-batch"), "salt_g") == pytest.approx(35_986, abs=10)


def test_lowering_the_salinity_is_an_exchange_told_in_days() -> None:
    answer = worked("salinity-correction", salinity="36.5")
    assert number(answer, "salt_g") == 0
    assert number(answer, "days_d") == 2
    assert "take out" in sentences(answer)


@pytest.mark.source("EOS-80 and TEOS-10: specific gravity 25/25 °C of salinity 35 is 1.02637")
def test_the_hydrometer_of_the_handbook() -> None:
    assert number(worked("density", water_temp="25"), "gravity") == pytest.approx(1.02637, abs=2e-5)
