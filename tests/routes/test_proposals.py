"""A plan proposed for a week already planned: what it changes, taken whole, in part, or refused."""

from datetime import date, time
from typing import Any

import pytest
from django.utils import timezone

from servicedesk.routes.models import PlanRun, Stop
from servicedesk.routes.planning import LeftOut, Solved
from servicedesk.routes.queries.problem import Key
from servicedesk.routes.queries.round import StopTimes
from servicedesk.routes.services import proposals
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.solving import solved_store
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.routes.timed import Timed
from servicedesk.routes.week_models import PlanProposal, ProposalNotice
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)


def timed(*visits: Visit, first_s: int = 9 * 3600) -> Timed:
    stops = [
        StopTimes(str(visit.pk), 1200, 10_000, first_s + 4800 * n, first_s + 4800 * n, first_s + 4800 * n + 3600)
        for n, visit in enumerate(visits)
    ]
    if not stops:
        return Timed()
    return Timed(stops, first_s - 1200, stops[-1].leave_s + 1200, 1200 * (len(stops) + 1), 10_000 * (len(stops) + 1))


def propose(cast: Cast, rounds: dict[Key, Timed], left: list[LeftOut] | None = None) -> PlanProposal:
    run = PlanRun.objects.create(plan=a_plan(), state="running", requested_by=cast.planner)
    people = {row.pk: row for row in (cast.rob, cast.ana)}
    solved = Solved(rounds, left or [], 10)
    solved_store(run=run, week=WEEK, seen_version=a_plan().version, technicians=people, solved=solved)
    return PlanProposal.objects.get(run=run)


def take(cast: Cast, proposal: PlanProposal, *groups: str, version: int | None = None) -> PlanProposal:
    return proposals.proposal_take(
        week=WEEK, version=version or a_plan().version, proposal_id=proposal.pk, groups=groups or None,
        actor=cast.planner,
    )  # fmt: skip


def where() -> dict[str, tuple[int, date]]:
    rows = Stop.objects.values_list("visit__site__name", "round__technician", "round__date")
    return {name: (who, day) for name, who, day in rows}


@pytest.fixture
def scene() -> tuple[Cast, dict[str, Visit], PlanProposal]:
    """Rob has One and Two on Monday, Ana Three on Monday and Four on Tuesday; Five waits.

    Proposed: One and Three change places, Four is dropped for Five.
    """
    cast = the_cast()
    visits = {name: a_visit(a_site(cast, name)) for name in ("One", "Two", "Three", "Four", "Five")}
    a_round(cast.rob, [visits["One"], visits["Two"]])
    a_round(cast.ana, [visits["Three"]])
    a_round(cast.ana, [visits["Four"]], TUESDAY)
    rounds: dict[Key, Timed] = {
        (cast.rob.pk, MONDAY): timed(visits["Three"], visits["Two"]),
        (cast.ana.pk, MONDAY): timed(visits["One"]),
        (cast.ana.pk, TUESDAY): timed(visits["Five"]),
    }
    left = [LeftOut(str(visits["Four"].pk), cannot=False, reason="Costs more.", cost=90.0)]
    return cast, visits, propose(cast, rounds, left)


Scene = tuple[Cast, dict[str, Visit], PlanProposal]


def test_nothing_moves_until_it_is_taken(scene: Scene) -> None:
    cast, _visits, proposal = scene
    assert where()["One"] == (cast.rob.pk, MONDAY)
    assert (a_plan().version, a_plan().left_out, proposal.state) == (1, [], "open")
    assert proposal.score["km"] == 70.0  # three and two and two drives of ten kilometres


def test_changes_are_told_by_rounds_that_hang_together(scene: Scene) -> None:
    _cast, _visits, proposal = scene
    found = proposals.proposal_difference(proposal)
    assert [group.names for group in found.groups] == [
        ["Ana Algae, Mon 7 Dec", "Rob Reef, Mon 7 Dec"],
        ["Ana Algae, Tue 8 Dec"],
    ]
    words = {row.words for row in found.rows}
    assert "One and Three change places: Ana Algae on Mon 7 Dec instead of Rob Reef on Mon 7 Dec." in words
    assert "Four is on no round any more; it was with Ana Algae on Tue 8 Dec." in words
    assert "Five is planned now: Ana Algae on Tue 8 Dec at 09:00." in words
    assert found.summary == "1 dropped, 1 pair swapped, 1 newly placed"


def test_taken_whole(scene: Scene) -> None:
    cast, visits, proposal = scene
    take(cast, proposal)
    assert where() == {
        "One": (cast.ana.pk, MONDAY), "Two": (cast.rob.pk, MONDAY), "Three": (cast.rob.pk, MONDAY),
        "Five": (cast.ana.pk, TUESDAY),
    }  # fmt: skip
    assert [row["visit"] for row in a_plan().left_out] == [str(visits["Four"].pk)]
    with pytest.raises(RuleBrokenError, match="decided already"):
        take(cast, proposal)


def test_taken_for_one_group_of_rounds_only(scene: Scene) -> None:
    cast, _visits, proposal = scene
    group = proposals.proposal_difference(proposal).groups[0]
    assert take(cast, proposal, group.id).state == "part"
    assert where()["One"] == (cast.ana.pk, MONDAY)
    assert where()["Four"] == (cast.ana.pk, TUESDAY)
    assert "Five" not in where()


def test_refused_leaves_the_plan(scene: Scene) -> None:
    cast, _visits, proposal = scene
    before = where()
    proposals.proposal_refuse(week=WEEK, proposal_id=proposal.pk, actor=cast.planner)
    proposal.refresh_from_db()
    assert (where(), proposal.state, a_plan().version) == (before, "refused", 1)


def test_round_changed_meanwhile_is_not_overwritten(scene: Scene) -> None:
    cast, visits, proposal = scene
    visit_move(
        week=WEEK, version=1, visit=visits["Four"], technician_id=cast.rob.pk, day=TUESDAY, position=None,
        actor=cast.office,
    )  # fmt: skip
    with pytest.raises(StaleWeekError):
        take(cast, proposal, version=1)
    with pytest.raises(RuleBrokenError, match="Ana Algae, Tue 8 Dec changed since"):
        take(cast, proposal)
    take(cast, proposal, proposals.proposal_difference(proposal).groups[0].id)
    assert where()["One"] == (cast.ana.pk, MONDAY)
    assert where()["Four"] == (cast.rob.pk, TUESDAY)


def test_broken_promise_is_counted_and_a_message_drafted() -> None:
    cast = the_cast()
    fields: dict[str, Any] = {
        "state": "published", "technician": cast.rob.user, "planned_on": MONDAY, "planned_start": time(9),
        "promised_start": time(9),
    }  # fmt: skip
    visit = a_visit(a_site(cast, "Pier", phone="555-0133"), **fields)
    a_round(cast.rob, [visit])
    proposal = propose(cast, {(cast.rob.pk, MONDAY): Timed(), (cast.ana.pk, MONDAY): timed(visit, first_s=11 * 3600)})
    (group,) = proposals.proposal_difference(proposal).groups
    assert group.promises_broken == 1
    take(cast, proposal)
    notice = ProposalNotice.objects.get()
    assert (notice.visit, notice.phone, notice.state) == (visit, "555-0133", "draft")
    assert "told you about 09:00" in notice.body
    assert "at about 11:00 instead" in notice.body


def test_newer_proposal_overtakes_the_older(scene: Scene) -> None:
    cast, visits, old = scene
    new = propose(cast, {(cast.ana.pk, TUESDAY): timed()})
    old.refresh_from_db()
    assert (old.state, new.state) == ("overtaken", "open")
    assert old.decided_at is not None
    assert old.decided_at <= timezone.now()
    assert visits["Four"].pk


def test_part_that_would_cut_the_nights_rest_is_refused() -> None:
    cast = the_cast()
    late, early = a_visit(a_site(cast, "Late")), a_visit(a_site(cast, "Early"))
    a_round(cast.rob, [early], TUESDAY, first_s=6 * 3600)
    proposal = propose(
        cast,
        {
            (cast.rob.pk, MONDAY): timed(late, first_s=21 * 3600),
            (cast.rob.pk, TUESDAY): timed(early, first_s=13 * 3600),
        },
    )
    first = proposals.proposal_difference(proposal).groups[0]
    with pytest.raises(RuleBrokenError, match="Rob Reef would have only 7 h 20 min of rest after Mon 7 Dec"):
        take(cast, proposal, first.id)
    assert set(where()) == {"Early"}
    take(cast, proposal)
    assert set(where()) == {"Early", "Late"}


def promised(cast: Cast, name: str, at: time) -> Visit:
    return a_visit(
        a_site(cast, name), state="published", technician=cast.rob.user, planned_on=MONDAY, planned_start=at,
        promised_start=at,
    )  # fmt: skip


def test_promises_are_counted_alike_in_figures_and_words() -> None:
    cast = the_cast()
    kept, moved, dropped = promised(cast, "Kept", time(9)), promised(cast, "Moved", time(9)), promised(
        cast, "Dropped", time(11, 40)
    )  # fmt: skip
    a_round(cast.rob, [kept, moved, dropped])
    proposal = propose(cast, {(cast.rob.pk, MONDAY): timed(moved, kept)})
    found = proposals.proposal_difference(proposal)
    # Kept is broken, Moved is kept again, Dropped is on no round: one before, two after.
    assert (proposal.score["before"]["promises_moved"], proposal.score["promises_moved"]) == (1, 2)
    assert found.summary.startswith("2 promises broken, 1 promise kept again, 1 dropped")
    assert sum(group.promises_broken for group in found.groups) == 2


def test_what_is_due_only_later_is_neither_dropped_nor_left_out() -> None:
    cast = the_cast()
    later = a_visit(a_site(cast, "Later"), due_on=date(2026, 12, 15), days=(MONDAY, date(2026, 12, 18)))
    a_round(cast.rob, [later])
    proposal = propose(cast, {(cast.rob.pk, MONDAY): Timed()})
    assert proposals.proposal_difference(proposal).summary == "1 due later left for its own week"
    assert proposal.score["left_out"] == proposal.score["before"]["left_out"] == 0
