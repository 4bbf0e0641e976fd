"""A day is over by the clock of whoever drives it, wherever the planner reads the week."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.utils import timezone

from servicedesk.routes.planning import week_problem
from servicedesk.routes.queries.nights import Evening
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.services.swapping import rounds_swap
from servicedesk.routes.services.undoing import change_undo
from servicedesk.routes.services.versions import RuleBrokenError
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_site, a_visit, the_cast
from tests.routes.test_crews import for_two, helps, move

pytestmark = pytest.mark.django_db
TUESDAY = date(2026, 12, 8)
SUNDAY = datetime(2026, 12, 6, 15, tzinfo=UTC)
# Tue 8 Dec, 05:30 in UTC: half past eleven in the evening of Monday in Chicago, where the technicians are.
LATE_ON_MONDAY = datetime(2026, 12, 8, 5, 30, tzinfo=UTC)
EARLY_ON_TUESDAY = datetime(2026, 12, 8, 6, 30, tzinfo=UTC)


@pytest.fixture
def cast() -> Cast:
    """On Sunday: Rob has Pier for two on Monday."""
    found = the_cast()
    with time_machine.travel(SUNDAY):
        move(found, for_two(found), found.rob, MONDAY)
    return found


def refused(act: object) -> str:
    try:
        act()  # type: ignore[operator]
    except RuleBrokenError as broken:
        return str(broken)
    return ""


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/Los_Angeles"])
@pytest.mark.parametrize(("now", "is_over"), [(LATE_ON_MONDAY, False), (EARLY_ON_TUESDAY, True)])
@pytest.mark.parametrize("what", ["move", "swap", "help", "undo", "night"])
def test_day_is_over_at_the_technicians_midnight(
    cast: Cast, zone: str, now: datetime, *, is_over: bool, what: str
) -> None:
    pier = for_two(cast, "Quay")
    acts = {
        "move": lambda: move(cast, pier, cast.ana, MONDAY),
        "swap": lambda: rounds_swap(
            week=WEEK, version=a_plan().version, one=(cast.rob.pk, MONDAY), other=(cast.ana.pk, MONDAY),
            actor=cast.planner,
        ),
        "help": lambda: helps(cast, cast.rob.rounds.get().stops.get().visit, cast.ana),
        "undo": lambda: change_undo(week=WEEK, version=a_plan().version, actor=cast.planner),
    }  # fmt: skip
    with time_machine.travel(now), timezone.override(zone):
        if what == "night":
            words = " ".join(Evening(WEEK, a_plan(), cast.rob, MONDAY).refused())
        else:
            words = refused(acts[what])
    assert ("Mon 7 Dec is over" in words) == is_over


@pytest.mark.parametrize("zone", ["Asia/Tokyo", "America/Los_Angeles"])
@pytest.mark.parametrize(("now", "is_over"), [(LATE_ON_MONDAY, False), (EARLY_ON_TUESDAY, True)])
def test_search_keeps_what_is_over_for_its_technician(cast: Cast, zone: str, now: datetime, *, is_over: bool) -> None:
    people = {row.pk: row for row in technicians_between(WEEK.monday, WEEK.sunday)}
    a_visit(a_site(cast, "Dock"))
    with time_machine.travel(now), timezone.override(zone):
        data = week_problem(WEEK, a_plan(), people).data
    assert ((cast.rob.pk, MONDAY) in data.kept) == is_over
    assert ((cast.ana.pk, MONDAY) not in data.shifts) == is_over
    assert (cast.ana.pk, TUESDAY) in data.shifts
