"""The client of the road service, against a real HTTP server on this machine."""

import time

import pytest

from servicedesk.routes.travel_osrm import Block, RoadService, RoadServiceError, TooBigError
from tests.routes.road_server import road_server

HOME, PIER, QUAY = (36.16, -86.78), (36.26, -86.78), (36.16, -86.5)


def points(number: int) -> list[tuple[float, float]]:
    return [(round(36 + index / 100, 4), -86.0) for index in range(number)]


def joined(blocks: list[Block]) -> dict[tuple[object, object], object]:
    return {
        (start, end): cell
        for block in blocks
        for start, row in zip(block.starts, block.cells, strict=True)
        for end, cell in zip(block.ends, row, strict=True)
    }


def test_seconds_and_metres_come_back_row_to_column_in_the_order_asked() -> None:
    with road_server() as roads:
        (block,) = RoadService(roads.url).blocks([HOME, PIER], [QUAY, HOME])
    assert block.cells == (((1691, 28000), (0, 0)), ((2295, 38000), (604, 10000)))


def test_drive_without_a_road_is_none_and_the_others_are_told() -> None:
    with road_server(cut_off={QUAY}) as roads:
        (block,) = RoadService(roads.url).blocks([HOME], [PIER, QUAY])
    assert block.cells == (((604, 10000), None),)


def test_server_that_takes_fewer_coordinates_is_asked_in_smaller_pieces_and_nothing_is_lost() -> None:
    starts, ends = points(20), [(latitude, -85.0) for latitude, _longitude in points(20)]
    with road_server(most=9) as roads:
        cells = joined(list(RoadService(roads.url).blocks(starts, ends)))
        answered = [sum(size) for size in roads.asked if sum(size) <= 9]
        expected = {(start, end): roads.drive(start, end) for start in starts for end in ends}
    assert len(cells) == 400
    assert {pair: (round(cell[0]), round(cell[1])) for pair, cell in expected.items() if cell} == cells
    assert answered
    assert len(roads.asked) < 400


def test_server_that_takes_not_even_two_coordinates_is_an_error_not_a_loop() -> None:
    with road_server(most=1) as roads, pytest.raises(TooBigError):
        list(RoadService(roads.url).blocks([HOME], [PIER]))


def test_point_off_every_road_costs_only_its_own_drives() -> None:
    with road_server(off_road={PIER}) as roads:
        cells = joined(list(RoadService(roads.url).blocks([HOME, PIER, QUAY], [HOME, PIER, QUAY])))
    assert len(cells) == 9
    assert [pair for pair, cell in cells.items() if cell is None] == [
        pair for pair in cells if PIER in pair
    ]  # fmt: skip
    assert cells[HOME, QUAY] == (1691, 28000)


@pytest.mark.parametrize("fault", ["500", "hang up", "junk", "short"])
def test_fault_that_passes_is_asked_once_more(fault: str) -> None:
    with road_server(failing=[fault]) as roads:
        (block,) = RoadService(roads.url).blocks([HOME], [PIER, QUAY])
        assert len(roads.asked) == 2
    assert block.cells[0][0] == (604, 10000)


@pytest.mark.parametrize(
    ("fault", "kind"),
    [("500", "odd"), ("hang up", "silent"), ("junk", "odd"), ("short", "odd"), ("redirect", "refused")],
)
def test_fault_that_stays_is_told_by_its_kind(fault: str, kind: str) -> None:
    with road_server(failing=[fault] * 2) as roads, pytest.raises(RoadServiceError) as told:
        list(RoadService(roads.url).blocks([HOME], [PIER, QUAY]))
    assert told.value.kind == kind


def test_number_no_drive_can_have_is_refused() -> None:
    with road_server(failing=["negative"] * 2) as roads, pytest.raises(RoadServiceError) as told:
        list(RoadService(roads.url).blocks([HOME], [PIER]))
    assert told.value.kind == "odd"


@pytest.mark.parametrize("fault", ["slow", "drip"])
def test_slow_answer_is_given_up_in_time(fault: str) -> None:
    began = time.monotonic()
    with road_server(failing=[fault] * 2) as roads, pytest.raises(RoadServiceError) as told:
        list(RoadService(roads.url, timeout_s=0.3).blocks([HOME], [PIER]))
    assert told.value.kind == "silent"
    assert time.monotonic() - began < 3


def test_nobody_listening_is_silence() -> None:
    with road_server() as roads:
        url = roads.url
    with pytest.raises(RoadServiceError) as told:
        list(RoadService(url, timeout_s=0.5).blocks([HOME], [PIER]))
    assert told.value.kind == "silent"
