"""Somebody who is out is told what goes off their round and asked nothing; those who receive it are asked."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
import time_machine

from servicedesk.people.models import Leave
from servicedesk.routes.models import PlanRun, Round, RoundChange, Stop
from servicedesk.routes.queries.absence import asks_of
from servicedesk.routes.queries.shifts import shifts_between
from servicedesk.routes.scope import Out, Scope, scope_json
from servicedesk.routes.services.changes import change_answer, change_take_back
from servicedesk.routes.services.outs import out_end
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed
from servicedesk.routes.week_models import PlanProposal
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
HOUR = 3600
TEN = datetime(2026, 12, 7, 16, 0, tzinfo=UTC)  # Mon 7 Dec, 10:00 in Chicago
TUESDAY = date(2026, 12, 8)


@pytest.fixture
def cast() -> Cast:
    """Published on Friday: on Monday Rob has Pier, Quay and Reach from 9:00 on, Ana has Dock."""
    found = the_cast()
    rows = {name: a_visit(a_site(found, name)) for name in ("Pier", "Quay", "Reach", "Dock")}
    with time_machine.travel(datetime(2026, 12, 4, 15, tzinfo=UTC)):
        a_round(found.rob, [rows["Pier"], rows["Quay"], rows["Reach"]])
        a_round(found.ana, [rows["Dock"]])
        publish(found)
    return found


def publish(cast: Cast) -> None:
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)


def said_out(cast: Cast, technician: Any, since: datetime, until: date = MONDAY, reason: str = "ill") -> None:
    """The planner said that somebody is out, and took the plan found without them."""
    scope = scope_json(Scope(TEN, (Out(technician.pk, until, reason, since),)))
    run = PlanRun.objects.create(plan=a_plan(), state="done", requested_by=cast.planner, scope=scope)
    PlanProposal.objects.create(plan=a_plan(), run=run, based_on=1, state="taken")


def give(cast: Cast, name: str, to: Any, at_s: int, position: int) -> None:
    Stop.objects.filter(visit__site__name=name).update(
        round=Round.objects.get(technician=to, date=MONDAY), position=position, arrive_s=at_s, start_s=at_s,
        leave_s=at_s + HOUR,
    )  # fmt: skip


def quay_and_reach_to_ana(cast: Cast) -> None:
    give(cast, "Quay", cast.ana, 12 * HOUR, 2)
    give(cast, "Reach", cast.ana, 14 * HOUR, 3)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)


def visit(name: str) -> Visit:
    return Visit.objects.get(site__name=name)


def on_round(technician: Any) -> list[str]:
    row = Round.objects.get(technician=technician, date=MONDAY)
    ids = [stop["visit_id"] for stop in (row.published or {"stops": []})["stops"]]
    names = {str(pk): name for pk, name in Visit.objects.values_list("pk", "site__name")}
    return [names[pk] for pk in ids]


def asked(technician: Any) -> list[RoundChange]:
    return list(RoundChange.objects.filter(round__technician=technician, state="asked"))


@time_machine.travel(TEN)
def test_ill_from_now_is_told_at_once_and_only_the_colleague_is_asked(cast: Cast) -> None:
    begun = datetime(2026, 12, 7, 15, tzinfo=UTC)
    Visit.objects.filter(site__name="Pier").update(
        state="signed", started_at=begun, ended_at=begun + timedelta(minutes=50), signed_at=TEN
    )
    said_out(cast, cast.rob, TEN)
    quay_and_reach_to_ana(cast)
    assert (asked(cast.rob), on_round(cast.rob)) == ([], ["Pier"])
    told = RoundChange.objects.get(round__technician=cast.rob)
    assert (told.is_told, told.words[:2]) == (True, ["Quay is taken off this day.", "Reach is taken off this day."])
    (question,) = asked(cast.ana)
    assert question.words[0] == "Quay comes to you from Rob Reef: 12:00."
    assert (question.why, on_round(cast.ana)) == ("Out: Rob Reef.", ["Dock"])


@time_machine.travel(TEN)
def test_the_hour_told_to_the_client_stands_until_the_colleague_accepts(cast: Cast) -> None:
    promised = visit("Quay").promised_start
    said_out(cast, cast.rob, TEN)
    quay_and_reach_to_ana(cast)
    quay = visit("Quay")
    assert (quay.state, quay.technician, quay.planned_on, quay.promised_start) == ("due", None, MONDAY, promised)
    change_answer(change_id=asked(cast.ana)[0].pk, accept=True, reason="", actor=cast.ana.user)
    quay.refresh_from_db()
    assert (quay.state, quay.technician, quay.planned_start) == ("published", cast.ana.user, time(12))
    assert on_round(cast.ana) == ["Dock", "Quay", "Reach"]


@time_machine.travel(TEN)
def test_refusal_of_one_colleague_does_not_hold_up_another(cast: Cast) -> None:
    bo = a_visit(a_site(cast, "Bay"))
    a_round(cast.rob, [bo], TUESDAY)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    said_out(cast, cast.rob, TEN, TUESDAY)
    ana_tuesday = a_round(cast.ana, [a_visit(a_site(cast, "Cove"))], TUESDAY)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    Stop.objects.filter(visit=bo).update(round=ana_tuesday, position=2)
    quay_and_reach_to_ana(cast)
    monday, tuesday = sorted(asked(cast.ana), key=lambda row: row.round.date)
    assert monday.together != tuesday.together
    change_answer(change_id=monday.pk, accept=False, reason="School run", actor=cast.ana.user)
    change_answer(change_id=tuesday.pk, accept=True, reason="", actor=cast.ana.user)
    bo.refresh_from_db()
    assert (bo.technician, bo.planned_on) == (cast.ana.user, TUESDAY)
    assert visit("Quay").technician is None


@time_machine.travel(TEN)
def test_refused_visits_of_the_ill_go_to_the_tray_when_the_change_is_given_up(cast: Cast) -> None:
    said_out(cast, cast.rob, TEN)
    quay_and_reach_to_ana(cast)
    refused = change_answer(change_id=asked(cast.ana)[0].pk, accept=False, reason="No", actor=cast.ana.user)
    change_take_back(change_id=refused.pk, version=a_plan().version, actor=cast.planner)
    assert not Stop.objects.filter(visit__site__name__in=["Quay", "Reach"]).exists()
    left = {row["visit"]: row["reason"] for row in a_plan().left_out}
    assert left[str(visit("Quay").pk)] == "The change that would have brought it to somebody was given up."


@time_machine.travel(TEN)
def test_who_goes_at_noon_is_asked_about_the_morning_and_told_about_the_rest(cast: Cast) -> None:
    said_out(cast, cast.rob, datetime(2026, 12, 7, 18, 0, tzinfo=UTC), reason="other")
    give(cast, "Quay", cast.rob, 10 * HOUR + 1800, 2)  # at 10:20 until now: home before noon either way
    give(cast, "Reach", cast.ana, 14 * HOUR, 2)  # at 11:40 until now: not to be done by noon
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    assert asks_of(a_plan()).told == ["Rob Reef"]
    publish(cast)
    assert on_round(cast.rob) == ["Pier", "Quay"]
    told = RoundChange.objects.get(round__technician=cast.rob, state="accepted")
    assert told.words[0] == "Reach is taken off this day."
    (question,) = asked(cast.rob)
    assert question.words[0] == "Quay moves from 10:20 to 10:30."
    row = Round.objects.get(technician=cast.rob, date=MONDAY)
    assert (row.published or {})["return_s"] == 11 * HOUR + 20 * 60  # as the sites stand at Rob's own door
    assert visit("Reach").technician is None


@time_machine.travel(TEN)
def test_who_goes_at_noon_is_asked_before_a_morning_visit_is_taken_away(cast: Cast) -> None:
    said_out(cast, cast.rob, datetime(2026, 12, 7, 18, 0, tzinfo=UTC), reason="other")
    give(cast, "Pier", cast.ana, 14 * HOUR, 2)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    assert asked(cast.rob)[0].words[0] == "Pier goes to Ana Algae."
    assert on_round(cast.rob) == ["Pier", "Quay", "Reach"]


@time_machine.travel(TEN)
@pytest.mark.parametrize(
    ("part", "told"),
    [("day", ["Pier", "Quay", "Reach"]), ("afternoon", ["Quay", "Reach"]), ("morning", ["Pier", "Quay"])],
)
def test_leave_noted_after_the_week_was_published_counts_alike(cast: Cast, part: str, told: list[str]) -> None:
    """Tuesday: Pier from 9:00, Quay from 11:20 to 12:20, Reach from 13:00."""
    Stop.objects.all().update(start_s=9 * HOUR, arrive_s=9 * HOUR, leave_s=10 * HOUR)
    for position, name, at_s in ((2, "Quay", 11 * HOUR + 1200), (3, "Reach", 13 * HOUR)):
        give(cast, name, cast.rob, at_s, position)
    Round.objects.filter(technician=cast.rob).update(date=TUESDAY)
    with time_machine.travel(datetime(2026, 12, 4, 15, tzinfo=UTC)):
        Round.objects.update(published=None)
        plan_changed(a_plan(), actor=cast.planner, words="Changed")
        publish(cast)
    Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=TUESDAY, part=part)
    Stop.objects.filter(round__technician=cast.rob).delete()
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    row = RoundChange.objects.exclude(in_force_at=None).get(round__technician=cast.rob)
    assert [words.split(maxsplit=1)[0] for words in row.words if "taken off" in words] == told


@time_machine.travel(TEN)
def test_a_visit_that_was_not_begun_at_its_hour_is_taken_off_unasked_too(cast: Cast) -> None:
    """Ill at home since before nine, said at ten: Pier was to be over by then and nobody was there."""
    said_out(cast, cast.rob, TEN)
    give(cast, "Pier", cast.ana, 11 * HOUR, 4)
    quay_and_reach_to_ana(cast)
    assert (asked(cast.rob), on_round(cast.rob)) == ([], [])
    assert {name for name in ("Pier", "Quay", "Reach") if visit(name).technician is None} == {"Pier", "Quay", "Reach"}


@time_machine.travel(TEN)
def test_what_was_done_at_another_hour_is_not_asked_about(cast: Cast) -> None:
    begun = datetime(2026, 12, 7, 15, 20, tzinfo=UTC)
    Visit.objects.filter(site__name="Pier").update(state="started", started_at=begun)
    give(cast, "Pier", cast.rob, 9 * HOUR + 1200, 1)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    assert not RoundChange.objects.exists()


@time_machine.travel(TEN)
def test_publishing_twice_tells_once(cast: Cast) -> None:
    said_out(cast, cast.rob, TEN)
    quay_and_reach_to_ana(cast)
    plan_changed(a_plan(), actor=cast.planner, words="Changed")
    publish(cast)
    assert RoundChange.objects.filter(round__technician=cast.rob).count() == 1
    assert len(asked(cast.ana)) == 1


@time_machine.travel(TEN)
def test_nothing_more_is_planned_for_somebody_who_is_out(cast: Cast) -> None:
    said_out(cast, cast.rob, TEN, TUESDAY, "van")
    shifts = shifts_between([cast.rob, cast.ana], MONDAY, date(2026, 12, 9))
    monday, tuesday = shifts[cast.rob.pk, MONDAY], shifts[cast.rob.pk, TUESDAY]
    assert (monday.hours, monday.goes_early) == ((8 * HOUR, 10 * HOUR), True)
    assert (tuesday.hours, tuesday.why_off) == (None, "van down")
    assert shifts[cast.rob.pk, date(2026, 12, 9)].hours == (8 * HOUR, 16 * HOUR + 1800)
    assert shifts[cast.ana.pk, MONDAY].hours == (8 * HOUR, 16 * HOUR + 1800)


def test_who_is_back_may_be_planned_again_and_the_leave_noted_ahead_ends(cast: Cast) -> None:
    wednesday = date(2026, 12, 9)
    with time_machine.travel(TEN):
        said_out(cast, cast.rob, TEN, wednesday)
        Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=wednesday, reason="ill")
    with time_machine.travel(TEN + timedelta(days=1)):
        out_end(week=WEEK, version=a_plan().version, technician=cast.rob, actor=cast.planner)
        shifts = shifts_between([cast.rob], MONDAY, wednesday)
        assert shifts[cast.rob.pk, TUESDAY].hours == (10 * HOUR, 16 * HOUR + 1800)
        assert shifts[cast.rob.pk, wednesday].hours == (8 * HOUR, 16 * HOUR + 1800)
        assert (a_plan().change, Leave.objects.count()) == ("Rob Reef is back.", 0)
        with pytest.raises(RuleBrokenError, match="is not out"):
            out_end(week=WEEK, version=a_plan().version, technician=cast.rob, actor=cast.planner)


@time_machine.travel(TEN)
def test_the_planner_reads_who_is_out_and_notes_that_they_are_back(cast: Cast, signed_in: SignedIn) -> None:
    said_out(cast, cast.rob, TEN)
    browser, url = signed_in(user=cast.planner), f"/week/{WEEK.year}/{WEEK.number}"
    assert "Is back" in browser.get(f"{url}/replan/").content.decode()
    answer = browser.post(f"{url}/back/", {"version": a_plan().version, "technician": cast.rob.pk})
    assert answer.status_code == 302
    assert "Is back" not in browser.get(f"{url}/replan/").content.decode()


@time_machine.travel(TEN)
def test_my_round_tells_what_was_taken_off(cast: Cast, signed_in: SignedIn) -> None:
    said_out(cast, cast.rob, TEN)
    quay_and_reach_to_ana(cast)
    page = signed_in(user=cast.rob.user).get(f"/round/{MONDAY}/").content.decode()
    assert "Quay is taken off this day." in page
    assert "You are out: nothing is asked of you." in page
    assert "do you agree?" not in page
