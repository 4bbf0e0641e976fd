"""What people type: units after the number, commas, rows, slips."""

import pytest

from servicedesk.science.worksheets.declare import Choice, Input, Rows
from servicedesk.science.worksheets.typed import parse_input, parse_quantity

ALKALINITY = Input("alkalinity_meq_l", "Alkalinity", "alkalinity", 0.3, 12, usual=(1.8, 5.0))
GRAVITY = Input("gravity", "Specific gravity", "specific_gravity", 0.99, 1.05)
CHANGES = Rows(
    "changes",
    "Water changes",
    (
        Input("day", "day", "days", 0, 120),
        Input("level", "level", "alkalinity", 0, 12),
        Choice("kind", "kind", (("new", "new water"), ("fresh", "fresh water")), "new"),
    ),
    least=0,
)


@pytest.mark.parametrize(
    ("quantity", "typed", "value"),
    [
        ("volume", "6000gal", 22_712.47), ("volume", "6 000 gal", 22_712.47), ("temperature", "78 °F", 25.556),
        ("drip_flow", "60 mL/min", 60), ("alkalinity_per_day", "0.3 dKH", 0.107), ("area", "10 ft²", 0.929),
        ("mass", "4 lbs", 1814.4), ("clock", "7:30", 7.5), ("clock", "19", 19.0), ("power", "2 tons", 7033.7),
    ],
)  # fmt: skip
def test_a_unit_may_follow_the_number(quantity: str, typed: str, value: float) -> None:
    assert parse_quantity(quantity, typed) == pytest.approx(value, rel=2e-3)


def test_a_bare_number_is_in_the_unit_chosen_and_a_typed_unit_wins() -> None:
    assert parse_input(ALKALINITY, "8.3", "dKH") == pytest.approx(2.96, abs=0.01)
    assert parse_input(ALKALINITY, "2.9 meq/L", "dKH") == 2.9


def test_a_comma_that_can_only_be_a_decimal_is_read_as_one() -> None:
    assert parse_input(GRAVITY, "1,026") == 1.026
    assert parse_quantity("volume", "1,250") == 1250


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [
        ("71", "dKH", "Did you mean 7.1"),
        ("0.71", "dKH", "Did you mean 7.1"),
        ("130", "meq_l", "Did you mean ppm CaCO₃"),
    ],
)
def test_a_slip_is_asked_about(typed: str, unit: str, words: str) -> None:
    with pytest.raises(ValueError, match="outside") as refused:
        parse_input(ALKALINITY, typed, unit)
    assert words in str(refused.value).replace("7.10", "7.1")


def test_rows_take_units_with_and_without_a_space_and_leave_out_what_has_a_default() -> None:
    rows = parse_input(CHANGES, "1 8.5dKH\n3 8,5 dKH fresh; 5 2.9 new")
    assert [row[0] for row in rows] == [1, 3, 5]
    assert rows[0][1] == rows[1][1] == pytest.approx(3.03, abs=0.01)
    assert [row[2] for row in rows] == ["new", "fresh", "new"]


@pytest.mark.parametrize("typed", ["1", "1 2 3 4", "one 2", "1 99", "1 2 old"])
def test_a_bad_row_names_its_line(typed: str) -> None:
    with pytest.raises(ValueError, match="Line 2"):
        parse_input(CHANGES, f"1 2.9\n{typed}")
