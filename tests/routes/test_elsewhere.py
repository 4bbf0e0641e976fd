"""A visit that another week took up meanwhile is refused in words, never by the database."""

from datetime import date

import pytest

from servicedesk.people.models import Van
from servicedesk.routes.models import PlanRun, Round, Stop
from servicedesk.routes.planning import Solved
from servicedesk.routes.queries.round import StopTimes
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.solving import solved_store
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_site, a_technician, a_visit, an_agreement, the_cast
from tests.routes.test_crews import move

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
NEXT = Week(2026, 51)
H = 3600


def on_a_round_of_next_week() -> tuple[Cast, Visit]:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"), days=(MONDAY, date(2026, 12, 18)))
    visit_move(
        week=NEXT, version=a_plan(NEXT).version, visit=visit, technician_id=cast.rob.pk, day=NEXT.monday,
        position=None, actor=cast.planner,
    )  # fmt: skip
    return cast, visit


def test_stale_page_cannot_move_it_here() -> None:
    cast, visit = on_a_round_of_next_week()
    with pytest.raises(RuleBrokenError, match="Pier is on a round of another week meanwhile"):
        move(cast, visit, cast.ana)
    assert Stop.objects.get().round.date == NEXT.monday


@pytest.mark.parametrize("planned", [False, True])
def test_search_that_took_it_up_stores_nothing_and_says_why(planned: bool) -> None:
    cast, visit = on_a_round_of_next_week()
    if planned:
        move(cast, a_visit(a_site(cast, "Quay")), cast.rob)
    run = PlanRun.objects.create(plan=a_plan(), state="running", requested_by=cast.planner)
    stop = StopTimes(str(visit.pk), 1200, 10_000, 9 * H, 9 * H, 10 * H)
    found = Solved({(cast.ana.pk, MONDAY): Timed([stop], 8 * H, 11 * H)}, [], 10)
    people = {cast.rob.pk: cast.rob, cast.ana.pk: cast.ana}
    solved_store(run=run, week=WEEK, seen_version=a_plan().version, technicians=people, solved=found)
    run.refresh_from_db()
    assert run.state == PlanRun.State.FAILED
    assert "Pier was put on a round of another week meanwhile" in run.message
    assert Stop.objects.get(visit=visit).round.date == NEXT.monday


def test_round_is_not_driven_by_a_van_that_was_put_away() -> None:
    cast = the_cast()
    Van.objects.filter(technician=cast.rob).update(archived_at="2026-11-01T00:00Z")
    move(cast, a_visit(a_site(cast, "Pier")), cast.rob)
    assert Round.objects.get().van is None


def test_who_is_preferred_stays_told_and_priced_when_the_round_changes_again() -> None:
    """Tom has no round among those that are read for the move."""
    cast = the_cast()
    tom = a_technician("Tom Tide", cast.rob.depot)
    site = a_site(cast, "Pier")
    first = move(cast, a_visit(site, agreement=an_agreement(site, preferred_technician=tom.user)), cast.ana)
    assert first.score is not None
    move(cast, a_visit(a_site(cast, "Quay")), cast.ana)
    words = [row["words"] for row in Round.objects.get().warnings]
    assert words == ["Pier would rather have Tom Tide."]
