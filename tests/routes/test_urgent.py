"""Urgent calls: from letters to the site, who could go and what it breaks; one person's day is written anew."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
import time_machine
from django.db.backends.postgresql.psycopg_any import DateRange

from servicedesk.common.ids import new_id
from servicedesk.common.models import MailMessage
from servicedesk.consumables.models import LoanMachine, LoanReservation, LoanStay
from servicedesk.installations.models import Installation, Placement
from servicedesk.routes.models import MoveNotice, Round, RoundChange, Stop, UrgentCall, WeekPlan
from servicedesk.routes.queries.round import times_kept, times_planned
from servicedesk.routes.queries.urgent import Answer, Asked, Choice, answer, hits
from servicedesk.routes.services.notices import notice_send
from servicedesk.routes.services.urgent import call_assign
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.routes.services.withdrawing import call_withdraw
from servicedesk.visits.models import HandOn, Visit
from tests.conftest import SignedIn
from tests.routes.cast import (
    MONDAY,
    MURFREESBORO,
    NASHVILLE,
    Cast,
    a_badge,
    a_plan,
    a_round,
    a_site,
    a_visit,
    holds,
    the_cast,
)  # fmt: skip

pytestmark = pytest.mark.django_db
HOUR = 3600
EARLY = datetime(2026, 12, 7, 12, tzinfo=UTC)  # six in the morning in Nashville, before anybody has left


@pytest.fixture(autouse=True)
def _monday_morning() -> Any:
    with time_machine.travel(EARLY, tick=False):
        yield


def asked(site: Any, **over: Any) -> Asked:
    return Asked(**({"site": site, "what": "Chiller is dead", "duration_min": 60, "days": 1} | over))


def of(found: Answer, who: object) -> list[Choice]:
    return [row for row in found.choices if row.technician == who]


def promised(cast: Cast, name: str, hour: time, **over: Any) -> Visit:
    return a_visit(
        a_site(cast, name, **over), state="published", technician=cast.rob.user, planned_on=MONDAY, planned_start=hour,
        promised_start=hour,
    )  # fmt: skip


def choose(cast: Cast, found: Choice, **over: Any) -> UrgentCall:
    fields: dict[str, Any] = {"visit_id": new_id(), "asked": found.asked, "key": found.key, "version": found.version}
    return call_assign(**(fields | {"now": EARLY, "actor": cast.planner} | over))


def test_letters_of_site_client_street_and_system_find_the_site() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier lobby", street="9 Saddletree Road")
    a_site(cast, "Elsewhere")
    reef = Installation.objects.create(code="NB-77", name="Atrium reef", kind="reef_stony", display_l=900)
    Placement.objects.create(installation=reef, site=site, valid=DateRange(date(2024, 1, 1), None))
    for letters in ("pie", "saddle", "nb-77", "atrium", "pier harb"):
        assert [hit.site for hit in hits(letters)] == [site], letters
    assert hits("pie")[0].installations == [reef]
    assert hits("zzz") == []


def test_each_who_may_go_is_offered_and_the_others_are_told_why() -> None:
    cast, badge = the_cast(), a_badge()
    site = a_site(cast, "Pier")
    site.needed_permissions.add(badge)
    holds(cast.rob.user, badge, date(2026, 1, 1), MONDAY + timedelta(days=3))
    found = answer(asked(site), EARLY)
    assert {choice.technician for choice in found.choices} == {cast.rob}
    assert found.choices[0].held[0].ends_soon
    [refusal] = found.refusals
    assert refusal.technician == cast.ana
    assert "needs Harbour badge, which Ana Algae does not hold" in refusal.why


def test_soonest_breaks_a_promise_and_another_breaks_nothing_side_by_side() -> None:
    cast = the_cast()
    visits = [promised(cast, f"Stop {hour}", time(hour), at=MURFREESBORO) for hour in (9, 10, 11)]
    a_round(cast.rob, visits)
    cast.ana.working_hours.all().update(starts=time(13), ends=time(17))
    found = answer(asked(a_site(cast, "Pier")), EARLY)
    soonest, least = found.best[0], min(found.choices, key=lambda row: row.weight)
    assert soonest.technician == cast.rob
    assert soonest.way.promises_broken > 0
    assert (least.technician, least.way.promises_broken) == (cast.ana, 0)
    assert soonest.way.begins < least.way.begins


def test_no_way_has_more_overtime_than_is_allowed() -> None:
    cast = the_cast()
    visits = [a_visit(a_site(cast, f"Long {n}", MURFREESBORO), duration_min=110) for n in range(4)]
    a_round(cast.rob, visits)
    for choice in answer(asked(a_site(cast, "Pier"), duration_min=120, any_hour=True, days=2), EARLY).choices:
        assert choice.way.overtime_all_s <= choice.technician.max_overtime_min * 60


def test_only_that_persons_day_is_rewritten_and_who_moves_gets_a_draft() -> None:
    cast = the_cast()
    mine = [promised(cast, f"Stop {hour}", time(hour), at=MURFREESBORO) for hour in (9, 10, 11)]
    a_round(cast.rob, mine)
    other = a_round(cast.ana, [a_visit(a_site(cast, "Hers"))])
    before = list(other.stops.values())
    cast.client.contacts.create(name="Front desk", email="desk@harbour.example")
    cast.ana.working_hours.all().update(starts=time(15), ends=time(16))
    choice = min(of(answer(asked(a_site(cast, "Pier")), EARLY), cast.rob), key=lambda row: row.way.begins)
    assert choice.way.promises_broken
    call = choose(cast, choice)
    assert list(other.stops.values()) == before
    row = Round.objects.get(technician=cast.rob)
    assert [stop.visit_id for stop in row.stops.all()][: len(choice.way.order)] == [
        call.visit_id if pk == "call" else next(visit.pk for visit in mine if str(visit.pk) == pk)
        for pk in choice.way.order
    ]
    starts = {stop.visit_id: stop.start_s for stop in row.stops.all()}
    for shifted in choice.way.shifted:
        moved = next(visit for visit in mine if str(visit.pk) == shifted.known.id)
        assert starts[moved.pk] == (shifted.begins - datetime(2026, 12, 7, 6, tzinfo=UTC)).total_seconds()
    notices = list(call.notices.all())
    assert len(notices) == choice.way.promises_broken
    assert all(notice.to == ["desk@harbour.example"] and notice.state == "draft" for notice in notices)
    assert "We had told you about" in notices[0].body
    assert not MailMessage.objects.exists()


def test_choosing_twice_makes_one_visit() -> None:
    cast = the_cast()
    choice = answer(asked(a_site(cast, "Pier")), EARLY).best[0]
    key = new_id()
    first = choose(cast, choice, visit_id=key)
    assert choose(cast, choice, visit_id=key) == first
    assert Visit.objects.filter(kind="urgent").count() == UrgentCall.objects.count() == Stop.objects.count() == 1


def test_published_round_is_asked_and_stays_in_force_until_the_answer() -> None:
    cast = the_cast()
    row = a_round(cast.rob, [promised(cast, "Stop", time(9))])
    row.published = times_kept(times_planned(row))
    row.save()
    WeekPlan.objects.update(state="published")
    choice = of(answer(asked(a_site(cast, "Pier")), EARLY), cast.rob)[0]
    call = choose(cast, choice)
    row.refresh_from_db()
    assert [stop["visit_id"] for stop in row.published["stops"]] == [str(Visit.objects.get(site__name="Stop").pk)]
    change = RoundChange.objects.get()
    assert (change.round, change.state, change.why) == (row, "asked", "Urgent call: Pier")
    assert change.proposed is not None
    assert {stop["visit_id"] for stop in change.proposed["stops"]} >= {str(call.visit_id)}
    assert WeekPlan.objects.get().state == "published"


def test_call_given_already_is_not_given_to_a_second_person_before_it_is_taken_back() -> None:
    cast = the_cast()
    row = a_round(cast.rob, [promised(cast, "Stop", time(9))])
    row.published = times_kept(times_planned(row))
    row.save()
    WeekPlan.objects.update(state="published")
    site = a_site(cast, "Pier")
    first = choose(cast, of(answer(asked(site), EARLY), cast.rob)[0])
    with pytest.raises(RuleBrokenError, match="Rob Reef is asked already"):
        choose(cast, of(answer(asked(site), EARLY), cast.ana)[0])
    call_withdraw(call=first, actor=cast.planner)
    call_withdraw(call=first, actor=cast.planner)
    assert RoundChange.objects.get().state == "withdrawn"
    assert [stop.visit.site.name for stop in Stop.objects.all()] == ["Stop"]
    assert (Visit.objects.get(pk=first.visit_id).state, WeekPlan.objects.get().state) == ("cancelled", "published")
    assert choose(cast, of(answer(asked(site), EARLY), cast.ana)[0]).technician == cast.ana


def test_call_in_force_is_taken_off_at_once_and_the_technician_is_told() -> None:
    cast = the_cast()
    a_plan()
    WeekPlan.objects.update(state="published")
    call = choose(cast, of(answer(asked(a_site(cast, "Pier")), EARLY), cast.ana)[0])
    call_withdraw(call=call, actor=cast.planner)
    assert not Stop.objects.exists()
    told = RoundChange.objects.get()
    assert (told.state, told.why) == ("accepted", "The urgent call at Pier was taken back.")


def test_page_of_a_call_offers_to_take_it_back_and_keeps_what_was_typed(signed_in: SignedIn) -> None:
    cast = the_cast()
    a_plan()
    site = a_site(cast, "Pier")
    call = choose(cast, of(answer(asked(site), EARLY), cast.ana)[0])
    client = signed_in(user=cast.planner)
    assert "Take it back from Ana Algae" in client.get(f"/week/urgent/call/{call.visit_id}/").content.decode()
    assert "Ana Algae was given the call already" in client.get(f"/week/urgent/{site.pk}/").content.decode()
    page = client.post(f"/week/urgent/call/{call.visit_id}/withdraw/", follow=True).content.decode()
    assert "The call was taken back from Ana Algae." in page
    assert "Chiller is dead" in page


def test_new_day_of_a_published_week_holds_at_once() -> None:
    cast = the_cast()
    a_plan()
    WeekPlan.objects.update(state="published")
    call = choose(cast, of(answer(asked(a_site(cast, "Pier")), EARLY), cast.ana)[0])
    call.visit.refresh_from_db()
    assert (call.visit.state, call.visit.technician) == ("published", cast.ana.user)


def test_page_drawn_before_somebody_elses_change_is_refused() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "Stop"))])
    choice = of(answer(asked(a_site(cast, "Pier")), EARLY), cast.rob)[0]
    WeekPlan.objects.update(version=7)
    with pytest.raises(StaleWeekError):
        choose(cast, choice)
    assert not Visit.objects.filter(kind="urgent").exists()


def test_way_that_is_gone_is_refused_in_words() -> None:
    cast = the_cast()
    choice = answer(asked(a_site(cast, "Pier")), EARLY).best[0]
    with pytest.raises(RuleBrokenError, match="This way is gone"):
        choose(cast, choice, key="1|2026-12-07|0|nothing")


def test_visit_under_way_stays_and_the_call_begins_after_it() -> None:
    cast = the_cast()
    begun, later = promised(cast, "Begun", time(9), at=MURFREESBORO), promised(cast, "Later", time(12))
    row = a_round(cast.rob, [begun, later])
    now = datetime(2026, 12, 7, 15, 30, tzinfo=UTC)  # half past nine
    Visit.objects.filter(pk=begun.pk).update(state="started", started_at=now - timedelta(minutes=30))
    with time_machine.travel(now, tick=False):
        choice = of(answer(asked(a_site(cast, "Pier")), now), cast.rob)[0]
        call = choose(cast, choice, now=now)
    assert choice.way.begins >= now + timedelta(minutes=30)
    order = [stop.visit_id for stop in row.stops.all()]
    assert order[0] == begun.pk
    assert set(order) == {begun.pk, later.pk, call.visit_id}


def test_round_locked_or_over_is_not_offered() -> None:
    cast = the_cast()
    row = a_round(cast.rob, [a_visit(a_site(cast, "Stop"))])
    row.locked = True
    row.save()
    found = answer(asked(a_site(cast, "Pier")), EARLY)
    assert not of(found, cast.rob)
    assert ("the round is locked", cast.rob) in [(refusal.why, refusal.technician) for refusal in found.refusals]


def a_chiller(code: str, **where: Any) -> LoanMachine:
    machine = LoanMachine.objects.create(code=code, name="Chiller", kind="chiller")
    LoanStay.objects.create(machine=machine, since=datetime(2026, 11, 1, tzinfo=UTC), **where)
    return machine


def test_machine_comes_from_the_own_van_or_is_fetched_at_the_store() -> None:
    cast = the_cast()
    far = cast.rob.depot
    far.latitude, far.longitude = MURFREESBORO
    far.save()
    site = a_site(cast, "Pier", NASHVILLE)
    mine, stored = a_chiller("LC-1", van=cast.rob.van), a_chiller("LC-2", depot=far)
    found = answer(asked(site, machine_kind="chiller"), EARLY)
    rob, ana = of(found, cast.rob)[0], of(found, cast.ana)[0]
    assert (rob.machine.machine, rob.fetch) == (mine, None)  # type: ignore[union-attr]
    assert ana.machine.machine == stored  # type: ignore[union-attr]
    assert ana.fetch is not None
    assert ana.way.metres > rob.way.metres + 80_000  # there and back again, some 60 km each way
    assert ana.way.begins > rob.way.begins
    call = choose(cast, ana)
    kept = LoanReservation.objects.get()
    assert (kept.machine, kept.site, kept.days.lower) == (stored, site, MONDAY)
    assert "LC-2 Chiller" in HandOn.objects.get(kind="load").text
    stop = Stop.objects.get(visit=call.visit)
    assert stop.distance_m > 50_000


def test_machine_kept_for_others_or_out_is_not_promised() -> None:
    cast = the_cast()
    other = a_site(cast, "Other")
    a_chiller("LC-1", site=other)
    kept = a_chiller("LC-2", depot=cast.rob.depot)
    LoanReservation.objects.create(machine=kept, site=other, days=DateRange(MONDAY, MONDAY + timedelta(days=3)))
    found = answer(asked(a_site(cast, "Pier"), machine_kind="chiller"), EARLY)
    assert found.machines == []
    assert all(choice.machine is None for choice in found.choices)
    there = answer(asked(other, machine_kind="chiller"), EARLY)
    assert there.choices[0].machine.machine.code == "LC-1"  # type: ignore[union-attr]


def test_message_goes_out_as_the_person_left_it_and_once() -> None:
    cast = the_cast()
    a_round(cast.rob, [promised(cast, f"Stop {hour}", time(hour), at=MURFREESBORO) for hour in (9, 10, 11)])
    choice = min(of(answer(asked(a_site(cast, "Pier")), EARLY), cast.rob), key=lambda row: row.way.begins)
    notice: MoveNotice = choose(cast, choice).notices.all()[0]
    for _again in range(2):
        notice_send(
            notice=notice, to=["x@harbour.example"], subject="New hour", body="Later today.", actor=cast.planner
        )
    mail = MailMessage.objects.get()
    assert (mail.to, mail.subject, mail.body) == (["x@harbour.example"], "New hour", "Later today.")
    notice.refresh_from_db()
    assert (notice.state, notice.done_by) == ("sent", cast.planner)


def test_hour_that_is_missed_already_is_not_laid_to_the_choice_but_the_client_is_told() -> None:
    cast = the_cast()
    begun, later = promised(cast, "Begun", time(9)), promised(cast, "Later", time(10))
    a_round(cast.rob, [begun, later])
    now = datetime(2026, 12, 7, 19, tzinfo=UTC)  # one o'clock: the promise of ten has passed
    Visit.objects.filter(pk=begun.pk).update(state="started", started_at=now - timedelta(minutes=30))
    with time_machine.travel(now, tick=False):
        choice = of(answer(asked(a_site(cast, "Pier")), now), cast.rob)[0]
        assert choice.way.promises_broken == 0
        assert [row.late_anyway for row in choice.way.shifted] == [True]
        assert choose(cast, choice, now=now).notices.count() == 1
