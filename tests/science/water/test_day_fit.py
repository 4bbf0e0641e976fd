import pytest

from servicedesk.science.guard import ScienceError
from servicedesk.science.water.day import settled_day
from servicedesk.science.water.day_fit import fit_day
from tests.science.water.test_day import a_day

TRUE = {"photosynthesis_umol_kg_day": 560.0, "respiration_umol_kg_day": 570.0, "exchange_per_h": 0.8}


@pytest.mark.parametrize("hours", [(7.0, 19.0), (6.5, 13.0, 20.5), tuple(float(hour) for hour in range(0, 24, 2))])
def test_a_known_day_is_found_again_from_its_readings(hours: tuple[float, ...]) -> None:
    true = settled_day(a_day(**TRUE))
    fit = fit_day(a_day(), [(hour, true.ph_at(hour)) for hour in hours])
    assert fit.largest_residual < 0.01
    worst = max(abs(found - known) for found, known in zip(fit.course.ph_total, true.ph_total, strict=True))
    assert worst < max(2.5 * max(fit.ph_sd), 0.01)
    assert worst < 0.04


def test_more_readings_make_it_surer() -> None:
    true = settled_day(a_day(**TRUE))
    few = fit_day(a_day(), [(hour, true.ph_at(hour)) for hour in (7.0, 19.0)])
    many = fit_day(a_day(), [(float(hour), true.ph_at(float(hour))) for hour in range(24)])
    assert max(many.ph_sd) < max(few.ph_sd)
    assert many.exchange_error < few.exchange_error
    assert many.photosynthesis_error < few.photosynthesis_error


def test_a_meter_that_reads_high_all_day_is_not_taken_for_chemistry() -> None:
    true = settled_day(a_day())
    fit = fit_day(a_day(), [(float(hour), true.ph_at(float(hour)) + 0.05) for hour in range(0, 24, 2)])
    assert 0.0 < fit.offset < 0.06


@pytest.mark.parametrize("readings", [[], [(8.0, 8.1)], [(8.0, 8.1), (8.0, 8.2)], [(8.0, 8.1), (20.0, 82.0)]])
def test_readings_that_say_nothing_of_the_day_are_refused(readings: list[tuple[float, float]]) -> None:
    with pytest.raises(ScienceError):
        fit_day(a_day(), readings)
