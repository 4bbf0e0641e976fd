"""Better days for agreements: even weeks, neighbours together, nothing moved without gain."""

import math
import random
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from servicedesk.planner.cadence import Base, Call, Look, Option, Prices, Slot, areas_of, smooth
from servicedesk.planner.cadence_rounds import Driven, drive_day

WEEKS = 10
HOURS = 8 * 3600


def tables(points: list[tuple[float, float]]) -> tuple[list[list[int]], list[list[int]]]:
    """Drives in the plane: kilometres, at 50 km/h."""
    metres = [[round(1000 * math.dist(one, other)) for other in points] for one in points]
    return [[round(m * 3.6 / 50) for m in row] for row in metres], metres


def option(weekday: int, phase: int, every: int, closed: frozenset[int] = frozenset()) -> Option:
    days = [7 * week + weekday for week in range(WEEKS) if week % every == phase]
    return Option(Slot(weekday, phase), tuple(day + 1 if day in closed else day for day in days))


def call(name: str, place: int, weekday: int, phase: int = 0, every: int = 1, *, minutes: int = 60) -> Call:
    """A call that may sit on any weekday from Monday to Friday and in any week of its cycle."""
    slots = [(d, p) for d in range(5) for p in range(every) if (d, p) != (weekday, phase)]
    options = (option(weekday, phase, every), *(option(d, p, every) for d, p in slots))
    return Call(name, place, minutes * 60, options)


def fixed(row: Call) -> Call:
    return Call(row.id, row.place, row.service_s, row.options[:1])


def base(name: str, place: int, off: frozenset[int] = frozenset()) -> Base:
    days = range(-14, WEEKS * 7 + 14)
    return Base(name, place, {day: HOURS for day in days if day % 7 < 5 and day not in off})


def look(calls: list[Call], bases: list[Base], points: list[tuple[float, float]], prices: Prices = Prices()) -> Look:  # noqa: B008
    return Look(WEEKS, tuple(calls), tuple(bases), *tables(points), prices)


def test_savings_method_joins_two_neighbours_into_one_round() -> None:
    seconds, metres = tables([(0, 0), (30, 0), (30, 1)])
    found = drive_day([(1, 3600), (2, 3600)], [(0, HOURS)], seconds, metres)
    assert found == Driven((30 * 72) + 72 + round(math.dist((0, 0), (30, 1)) * 72), 61_017, 1, 0)


def test_round_never_outgrows_the_working_day() -> None:
    seconds, metres = tables([(0, 0), (10, 0), (10, 1)])
    found = drive_day([(1, 5 * 3600), (2, 5 * 3600)], [(0, HOURS), (0, HOURS)], seconds, metres)
    assert (found.rounds, found.over_s) == (2, 0)


def test_work_on_a_day_off_is_all_beyond_the_hours() -> None:
    seconds, metres = tables([(0, 0), (10, 0)])
    assert drive_day([(1, 3600)], [(0, 0)], seconds, metres).over_s == 3600 + 2 * 720


def test_far_neighbours_on_different_days_come_together() -> None:
    far = [(0.0, 0.0), (60.0, 0.0), (60.5, 0.0)]
    found = smooth(look([call("one", 1, 0), call("two", 2, 3)], [base("rob", 0)], far))
    assert len(found.moves) == 1
    assert found.saved.metres > 9 * 119_000
    (move,) = found.moves
    assert move.slot.weekday == {"one": 3, "two": 0}[move.call]
    assert move.alone == move.within == found.saved


def test_fortnightly_neighbours_come_into_the_same_week() -> None:
    far = [(0.0, 0.0), (60.0, 0.0), (60.5, 0.0)]
    found = smooth(look([fixed(call("one", 1, 2, 0, 2)), call("two", 2, 2, 1, 2)], [base("rob", 0)], far))
    assert [(move.call, move.slot) for move in found.moves] == [("two", Slot(2, 0))]


def test_full_day_is_eased_into_an_empty_one() -> None:
    """Ten hours of work on Mondays and none on other days, at one place: nothing to drive, much to even out."""
    here = [(0.0, 0.0), (1.0, 0.0)]
    found = smooth(look([call(f"c{n}", 1, 0, minutes=150) for n in range(5)], [base("rob", 0)], here))
    assert len(found.moves) >= 3
    assert sum(week.proposed.over_s for week in found.weeks) == 0 < sum(week.now.over_s for week in found.weeks)


def test_day_on_which_the_only_person_is_away_is_left() -> None:
    mondays = frozenset(range(0, 70, 7))
    found = smooth(look([call("one", 1, 0)], [base("rob", 0, mondays)], [(0.0, 0.0), (20.0, 0.0)]))
    assert [move.slot.weekday != 0 for move in found.moves] == [True]


def test_what_sits_well_stays() -> None:
    points = [(0.0, 0.0), (30.0, 0.0), (30.5, 0.0), (0.0, 30.0), (0.0, 30.5)]
    calls = [call("a", 1, 0), call("b", 2, 0), call("c", 3, 1), call("d", 4, 1)]
    assert smooth(look(calls, [base("rob", 0)], points)).moves == ()


def test_gain_smaller_than_the_trouble_to_a_client_moves_nobody() -> None:
    far = [(0.0, 0.0), (60.0, 0.0), (60.5, 0.0)]
    dear = Prices(change=1e9)
    assert smooth(look([call("one", 1, 0), call("two", 2, 3)], [base("rob", 0)], far, dear)).moves == ()


def test_homes_within_an_hour_in_a_chain_share_an_area() -> None:
    points = [(0.0, 0.0), (40.0, 0.0), (80.0, 0.0), (300.0, 0.0)]
    bases = [base(str(n), n) for n in range(4)]
    assert areas_of(look([], bases, points)) == [0, 0, 0, 3]


def test_nobody_at_work_or_nothing_to_do_proposes_nothing() -> None:
    assert smooth(look([call("one", 0, 0)], [], [(0.0, 0.0)])).moves == ()
    assert smooth(look([], [base("rob", 0)], [(0.0, 0.0)])).moves == ()


def test_asked_to_stop_it_answers_with_what_it_has() -> None:
    far = [(0.0, 0.0), (60.0, 0.0), (60.5, 0.0)]
    found = smooth(look([call("one", 1, 0), call("two", 2, 3)], [base("rob", 0)], far), lambda _share: True)
    assert (found.stopped, found.moves) == (True, ())


def test_progress_never_goes_back_within_a_pass_and_stays_below_one() -> None:
    told: list[float] = []
    far = [(0.0, 0.0), (60.0, 0.0), (60.5, 0.0)]

    def tell(share: float) -> bool:
        told.append(share)
        return False

    smooth(look([call("one", 1, 0), call("two", 2, 3)], [base("rob", 0)], far), tell)
    assert told
    assert all(a <= b for a, b in pairwise(told))
    assert max(told) < 1


@st.composite
def looks(draw: st.DrawFn) -> Look:
    number = draw(st.integers(2, 8))
    where = st.tuples(st.integers(0, 80), st.integers(0, 80))
    points: list[tuple[float, float]] = [(40.0, 40.0), (45.0, 40.0)]
    calls = []
    for index in range(number):
        points.append(draw(where))
        every = draw(st.sampled_from([1, 2]))
        row = call(
            f"c{index}", index + 2, draw(st.integers(0, 4)), draw(st.integers(0, every - 1)), every,
            minutes=draw(st.integers(20, 240)),
        )  # fmt: skip
        calls.append(fixed(row) if draw(st.booleans()) else row)
    off = frozenset(draw(st.lists(st.integers(0, 69), max_size=12)))
    return look(calls, [base("ana", 0, off), base("rob", 1)], points)


def money(driven: Driven, prices: Prices = Prices()) -> float:  # noqa: B008
    over = driven.over_s * prices.hour * prices.over_factor / 3600
    return driven.seconds * prices.hour / 3600 + driven.metres * prices.km / 1000 + over


@given(looks())
@settings(max_examples=40, deadline=None)
def test_moves_are_only_to_slots_that_were_offered_and_no_visit_is_lost(case: Look) -> None:
    found = smooth(case)
    by_id = {row.id: row for row in case.calls}
    for move in found.moves:
        row = by_id[move.call]
        assert move.slot in [option.slot for option in row.options[1:]]
    assert sum(week.service_now_s for week in found.weeks) == sum(week.service_proposed_s for week in found.weeks)
    assert len({move.call for move in found.moves}) == len(found.moves)


@given(looks(), st.randoms(use_true_random=False))
@settings(max_examples=25, deadline=None)
def test_order_in_which_a_look_is_written_changes_nothing(case: Look, chance: random.Random) -> None:
    calls, bases = list(case.calls), list(case.bases)
    chance.shuffle(calls)
    chance.shuffle(bases)
    again = Look(case.weeks, tuple(calls), tuple(bases), case.seconds, case.metres, case.prices)
    assert smooth(again) == smooth(case)


@given(looks())
@settings(max_examples=25, deadline=None)
def test_figures_of_the_weeks_are_the_rounds_of_their_days_reckoned_anew(case: Look) -> None:
    """The rounds of each day, reckoned here from the slots alone, add up to what the weeks are told to be."""
    found = smooth(case)
    slots = {move.call: move.slot for move in found.moves}
    total = Driven()
    for day in range(WEEKS * 7):
        stops = [
            (row.place, row.service_s)
            for row in case.calls
            for option in row.options
            if option.slot == slots.get(row.id, row.options[0].slot) and day in option.days
        ]
        homes = [(row.place, row.hours.get(day, 0)) for row in sorted(case.bases, key=lambda row: row.id)]
        total += drive_day(stops, homes, case.seconds, case.metres)
    proposed = [week.proposed for week in found.weeks]
    assert sum(row.metres for row in proposed) == total.metres
    assert sum(row.over_s for row in proposed) == total.over_s


@given(looks())
@settings(max_examples=25, deadline=None)
def test_smoothing_what_was_smoothed_costs_no_more(case: Look) -> None:
    """Without evenness and trouble in the price, the proposal is never dearer than what there was."""
    plain = Look(case.weeks, case.calls, case.bases, case.seconds, case.metres, Prices(uneven=0, change=0))
    found = smooth(plain)
    before, after = (sum(money(getattr(week, side)) for week in found.weeks) for side in ("now", "proposed"))
    assert after <= before + 1e-6
