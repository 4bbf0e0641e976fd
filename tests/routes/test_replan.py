"""Planned again from a moment on: somebody ill, a van down, a day that goes otherwise."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from servicedesk.people.models import Leave, WorkingHours
from servicedesk.routes.forms import ReplanForm
from servicedesk.routes.models import PlanRun, Round, RoundChange, Stop
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.queries.outs import outs_between
from servicedesk.routes.scope import Out, Scope, scope_from, scope_json
from servicedesk.routes.services.proposals import proposal_difference, proposal_take
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.runs import run_execute, run_request
from servicedesk.routes.services.undoing import change_undo
from servicedesk.routes.week_models import PlanProposal, ProposalNotice
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, MURFREESBORO, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
TEN = datetime(2026, 12, 7, 16, 0, tzinfo=UTC)  # Mon 7 Dec, 10:00 in Chicago
TUESDAY = date(2026, 12, 8)


@pytest.fixture(autouse=True)
def few_tries(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = WeekProblem.solve

    def solve(self: WeekProblem, seconds: float, seed: int, progress: Callable[[float, str], bool]) -> object:
        return whole(self, seconds, seed, progress, iterations=30)

    monkeypatch.setattr(WeekProblem, "solve", solve)


@pytest.fixture
def cast() -> Cast:
    """Published on Friday: on Monday Rob has One to Three, Ana has Four; on Tuesday Rob has Five.

    One was begun at nine and is done.
    """
    found = the_cast()
    rows = {name: a_visit(a_site(found, name)) for name in ("One", "Two", "Three", "Four", "Five")}
    with time_machine.travel(datetime(2026, 12, 4, 15, tzinfo=UTC)):
        a_round(found.rob, [rows["One"], rows["Two"], rows["Three"]])
        a_round(found.ana, [rows["Four"]])
        a_round(found.rob, [rows["Five"]], TUESDAY)
        week_publish(week=WEEK, version=1, actor=found.planner)
    nine = datetime(2026, 12, 7, 15, 0, tzinfo=UTC)
    Visit.objects.filter(pk=rows["One"].pk).update(
        state="signed", started_at=nine, ended_at=nine + timedelta(minutes=50), signed_at=nine + timedelta(minutes=50)
    )
    return found


def replan(cast: Cast, *out: Out) -> PlanProposal:
    scope = scope_json(Scope(timezone.now(), out))
    run = run_request(week=WEEK, version=a_plan().version, seconds=5, actor=cast.planner, scope=scope)
    run_execute(run.pk)
    run.refresh_from_db()
    assert run.state == PlanRun.State.DONE, run.message
    return PlanProposal.objects.get(run=run)


def take(cast: Cast, proposal: PlanProposal) -> None:
    proposal_take(
        week=WEEK, version=a_plan().version, proposal_id=proposal.pk, groups=None, actor=cast.planner
    )  # fmt: skip


def stops() -> dict[str, tuple[str, date]]:
    rows = Stop.objects.values_list("visit__site__name", "round__technician__user__name", "round__date")
    return {name: (who, day) for name, who, day in rows}


def test_scope_is_read_back_as_it_was_written() -> None:
    scope = Scope(TEN, (Out(3, TUESDAY, "ill", TEN),))
    assert scope_from(scope_json(scope)) == scope


@time_machine.travel(TEN)
def test_what_the_ill_technician_had_left_goes_to_others_and_what_was_done_stays(cast: Cast) -> None:
    take(cast, replan(cast, Out(cast.rob.pk, MONDAY, "ill", TEN)))
    found = stops()
    assert found["One"] == ("Rob Reef", MONDAY)
    assert all(found[name] != ("Rob Reef", MONDAY) for name in ("Two", "Three") if name in found)
    assert set(found) == {"One", "Two", "Three", "Four", "Five"}
    row = Round.objects.get(technician=cast.rob, date=MONDAY)
    (stop,) = row.stops.all()
    assert (stop.start_s, stop.leave_s) == (9 * 3600, 9 * 3600 + 50 * 60)
    assert row.return_s == stop.leave_s + row.travel_s - stop.travel_s


@time_machine.travel(TEN)
@pytest.mark.parametrize("out", [True, False])
def test_a_visit_begun_ahead_of_its_day_stays_on_its_round_and_the_plan_is_taken(cast: Cast, *, out: bool) -> None:
    Visit.objects.filter(site__name="Five").update(state="started", started_at=TEN)
    a_visit(a_site(cast, "Seven"), days=(MONDAY, MONDAY))
    before = Stop.objects.get(visit__site__name="Five").start_s
    proposal = replan(cast, *([Out(cast.rob.pk, TUESDAY, "ill", TEN)] if out else []))
    assert [row.words for row in proposal_difference(proposal).rows if row.visit.site.name == "Five"] == []
    take(cast, proposal)
    assert stops()["Five"] == ("Rob Reef", TUESDAY)
    assert Stop.objects.get(visit__site__name="Five").start_s == before


@time_machine.travel(TEN)
def test_a_round_driven_to_its_end_is_not_among_the_changes(cast: Cast) -> None:
    nine = datetime(2026, 12, 7, 15, 7, tzinfo=UTC)
    Visit.objects.filter(site__name="Four").update(
        state="signed", started_at=nine, ended_at=nine + timedelta(minutes=40), signed_at=nine + timedelta(minutes=40)
    )
    proposal = replan(cast, Out(cast.rob.pk, TUESDAY, "ill", TEN), Out(cast.ana.pk, MONDAY, "other", TEN))
    assert (cast.ana.pk, MONDAY) not in {key for group in proposal_difference(proposal).groups for key in group.keys}


@time_machine.travel(TEN)
def test_the_proposal_says_who_is_out_and_names_both_days_of_a_promise_broken(cast: Cast, client: Client) -> None:
    Visit.objects.filter(site__name="Two").update(promised_start=time(10, 20))
    proposal = replan(cast, Out(cast.rob.pk, TUESDAY, "ill", TEN), Out(cast.ana.pk, MONDAY, "other", TEN))
    rows = proposal_difference(proposal).rows
    (words,) = [row.words for row in rows if row.kind == "promise_broken" and row.visit.site.name == "Two"]
    assert words.startswith("Two: Mon 7 Dec at 10:20 was promised, the visit begins on ")
    client.force_login(cast.planner, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(f"/week/{WEEK.year}/{WEEK.number}/proposal/").content.decode()
    assert "out: Rob Reef, ill" in page


@time_machine.travel(TEN)
def test_all_that_is_wrong_with_who_is_out_is_said_at_once(cast: Cast) -> None:
    sent = {"version": 1, "seconds": 5, "technician": cast.rob.pk, "until": "2026-12-04"}
    form = ReplanForm(sent, technicians=[cast.rob])
    assert set(form.errors) == {"reason", "until"}
    assert ReplanForm({"version": 1, "seconds": 5}, technicians=[cast.rob]).is_valid()


@time_machine.travel(TEN)
def test_published_anew_the_ill_technician_is_not_asked(cast: Cast) -> None:
    take(cast, replan(cast, Out(cast.rob.pk, MONDAY, "ill", TEN)))
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    row = Round.objects.get(technician=cast.rob, date=MONDAY)
    names = Visit.objects.filter(pk__in=[stop["visit_id"] for stop in (row.published or {})["stops"]])
    assert [visit.site.name for visit in names] == ["One"]
    asked = RoundChange.objects.filter(state="asked").values_list("round__technician__user__name", "round__date")
    assert ("Rob Reef", MONDAY) not in asked
    assert ("Ana Algae", MONDAY) in asked


@time_machine.travel(TEN)
def test_who_is_out_gets_nothing_when_the_week_is_planned_again_later(cast: Cast) -> None:
    take(cast, replan(cast, Out(cast.rob.pk, MONDAY, "ill", TEN)))
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    a_visit(a_site(cast, "Six"), days=(MONDAY, MONDAY))
    take(cast, replan(cast))
    assert "Six" not in stops() or stops()["Six"] != ("Rob Reef", MONDAY)


@time_machine.travel(TEN)
def test_nothing_is_begun_in_the_past(cast: Cast) -> None:
    take(cast, replan(cast, Out(cast.rob.pk, MONDAY, "ill", TEN)))
    begun = Stop.objects.filter(round__date=MONDAY).exclude(visit__state="signed").values_list("start_s", flat=True)
    assert all(start_s >= 10 * 3600 for start_s in begun)


@time_machine.travel(TEN)
def test_ill_for_days_is_noted_as_leave_when_taken_and_later_days_are_given_away(cast: Cast) -> None:
    proposal = replan(cast, Out(cast.rob.pk, TUESDAY, "ill", TEN))
    assert not Leave.objects.exists()
    take(cast, proposal)
    leave = Leave.objects.get()
    assert (leave.technician, leave.first_day, leave.last_day) == (cast.rob, TUESDAY, TUESDAY)
    assert stops()["Five"][0] == "Ana Algae" or stops()["Five"][1] > TUESDAY


@time_machine.travel(TEN)
def test_clients_who_move_get_a_drafted_message_and_nothing_is_sent(cast: Cast) -> None:
    proposal = replan(cast, Out(cast.rob.pk, MONDAY, "van", TEN))
    rows = proposal_difference(proposal).rows
    assert {row.visit.site.name for row in rows} >= {"Two", "Three"}
    take(cast, proposal)
    told = {row.visit.site.name for row in ProposalNotice.objects.all()}
    assert told == {row.visit.site.name for row in rows if row.kind == "promise_broken"} | (
        {"Two", "Three"} - set(stops())
    )
    assert all(row.state == "draft" for row in ProposalNotice.objects.all())


@time_machine.travel(TEN)
def test_who_goes_at_noon_does_what_fits_before(cast: Cast) -> None:
    noon = datetime(2026, 12, 7, 18, 0, tzinfo=UTC)
    WorkingHours.objects.filter(technician=cast.ana).delete()
    proposal = replan(cast, Out(cast.rob.pk, MONDAY, "other", noon))
    take(cast, proposal)
    row = Round.objects.get(technician=cast.rob, date=MONDAY)
    assert next(stop.visit.site.name for stop in row.stops.all()) == "One"
    assert row.return_s is not None
    assert row.return_s <= 12 * 3600


@time_machine.travel(TEN)
def test_the_best_telephone_call_is_told(cast: Cast) -> None:
    far = a_visit(
        a_site(cast, "Far", MURFREESBORO), state="published", technician=cast.ana.user, planned_on=TUESDAY,
        planned_start=time(15), promised_start=time(15),
    )  # fmt: skip
    a_round(cast.ana, [far], TUESDAY, first_s=15 * 3600)
    near = a_visit(a_site(cast, "Near", MURFREESBORO))
    proposal = replan(cast, Out(cast.rob.pk, MONDAY, "ill", TEN))
    assert near.pk
    assert all({"visit", "words", "saving", "begin"} <= set(row) for row in proposal.calls)
    assert [row["saving"] for row in proposal.calls] == sorted((row["saving"] for row in proposal.calls), reverse=True)
    assert all(row["saving"] > 0 for row in proposal.calls)
    assert any("could take another hour" in row["words"] for row in proposal.calls)


@time_machine.travel(TEN, tick=True)
def test_undone_nobody_is_out_any_more(cast: Cast) -> None:
    take(cast, replan(cast, Out(cast.rob.pk, TUESDAY, "ill", timezone.now())))
    assert cast.rob.pk in outs_between(MONDAY, TUESDAY)
    assert Leave.objects.filter(technician=cast.rob).exists()
    change_undo(week=WEEK, version=a_plan().version, actor=cast.planner)
    assert outs_between(MONDAY, TUESDAY) == {}
    assert not Leave.objects.filter(technician=cast.rob).exists()
