"""A round as it goes: estimates from actual times, who is warned, what helps."""

from collections.abc import Iterator
from datetime import UTC, datetime, time
from typing import Any

import pytest
import time_machine
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from servicedesk.common.models import MailMessage
from servicedesk.routes.models import RoundChange, Stop
from servicedesk.routes.queries.round import RoundTimes, StopTimes
from servicedesk.routes.queries.running import LiveRound, live_round, live_rounds, offers_for
from servicedesk.routes.running import Call, Going, Run, run
from servicedesk.routes.services.changes import change_answer
from servicedesk.routes.services.late import hour_agree, late_tell, remedy_ask
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, Cast, a_badge, a_plan, a_round, a_site, a_visit, the_cast

H, M = 3600, 60
HERE = (36.1627, -86.7816)


def a_going(n: int = 3, **calls: dict[str, Any]) -> Going:
    """Stops of an hour at one place, 20 minutes apart by the plan: 09:00, 10:20, 11:40; home at 13:00."""
    stops = [
        StopTimes(f"v{k}", 20 * M, 0, 9 * H + k * 80 * M, 9 * H + k * 80 * M, 10 * H + k * 80 * M) for k in range(n)
    ]
    times = RoundTimes(8 * H + 40 * M, 13 * H, 80 * M, 0, 0, None, 0, stops, is_published=True)
    made = {
        stop.visit_id: Call(
            stop.visit_id,
            HERE,
            H,
            **({"promise_s": stop.start_s, "planned_s": stop.start_s} | calls.get(stop.visit_id, {})),
        )
        for stop in stops
    }
    return Going(HERE, HERE, times, made)


def starts(found: Run) -> list[int]:
    return [stop.start_s for stop in found.stops]


def test_before_leaving_the_day_is_as_planned() -> None:
    assert starts(run(a_going(), 8 * H)) == [9 * H, 10 * H + 20 * M, 11 * H + 40 * M]


def test_late_arrival_moves_the_stops_after_it() -> None:
    found = run(a_going(v0={"started_s": 9 * H + 50 * M}), 10 * H)
    # Begun 50 min late, an hour of work, 20 min of drive: 11:10 where 10:20 was told, 20 min past the half hour.
    assert [stop.state for stop in found.stops] == ["here", "ahead", "ahead"]
    assert starts(found)[1:] == [11 * H + 10 * M, 12 * H + 30 * M]
    assert [stop.promise_late_s for stop in found.risks] == [20 * M, 20 * M]


def test_actual_departure_counts_not_the_planned_length() -> None:
    done = {"started_s": 9 * H, "ended_s": 9 * H + 30 * M, "closed": True}
    found = run(a_going(v0=done, v1={"promise_s": None}), 9 * H + 31 * M)
    assert starts(found)[1] == 9 * H + 50 * M


def test_who_is_early_waits_for_the_promised_half_hour() -> None:
    done = {"started_s": 8 * H, "ended_s": 8 * H + 30 * M, "closed": True}
    assert starts(run(a_going(v0=done), 8 * H + 31 * M))[1] == 9 * H + 50 * M


def test_nobody_is_reached_before_now() -> None:
    assert starts(run(a_going(), 9 * H + 40 * M))[0] == 9 * H + 40 * M


def test_work_that_runs_on_ends_now_at_the_earliest() -> None:
    found = run(a_going(v0={"started_s": 9 * H}), 10 * H + 45 * M)
    assert starts(found)[1] == 11 * H + 5 * M


def test_door_that_closes_first_is_told() -> None:
    open_to_eleven = {"spans": ((9 * H, 11 * H + 30 * M),)}
    found = run(a_going(v0={"started_s": 9 * H + 50 * M}, v1=open_to_eleven), 10 * H)
    assert found.stops[1].shut
    assert found.is_late


@given(now=st.integers(6 * H, 18 * H), late=st.integers(0, 3 * H), n=st.integers(1, 6))
def test_stops_follow_each_other_and_none_begins_before_its_promise(now: int, late: int, n: int) -> None:
    going = a_going(n, v0={"started_s": 9 * H + late} if now >= 9 * H + late else {})
    found = run(going, now)
    for before, after in zip(found.stops, found.stops[1:], strict=False):
        assert after.arrive_s >= before.leave_s
        assert after.start_s >= after.arrive_s
    for stop in found.stops:
        if stop.state == "ahead":
            assert stop.start_s >= max(now, (going.calls[stop.visit_id].promise_s or 0) - 30 * M)
    assert found.back_s >= found.stops[-1].leave_s


# ---- with the books ----

db = pytest.mark.django_db


def at(hour: int, minute: int = 0) -> datetime:
    """A moment of the Monday in Nashville (UTC−6)."""
    return datetime(2026, 12, 7, hour + 6, minute, tzinfo=UTC)


@pytest.fixture
def monday_at_ten() -> Iterator[None]:
    with time_machine.travel(at(10), tick=False):
        yield


def a_late_monday(cast: Cast, **over: Any) -> list[Visit]:
    """Rob: Pier 09:00, Quay 10:20, Dock 11:40; Ana: Mole 09:00. Rob began Pier only at 09:50."""
    visits = [a_visit(a_site(cast, name, phone="615-555-0147")) for name in ("Pier", "Quay", "Dock")]
    a_round(cast.rob, visits)
    mole = a_visit(a_site(cast, "Mole"))
    a_round(cast.ana, [mole])
    with time_machine.travel(datetime(2026, 12, 3, 15, tzinfo=UTC)):
        week_publish(week=WEEK, version=1, actor=cast.planner)
    Visit.objects.filter(pk=visits[0].pk).update(state="started", started_at=at(9, 50))
    Visit.objects.filter(pk=mole.pk).update(state="signed", started_at=at(9), ended_at=at(9, 55), signed_at=at(9, 55))
    return visits


def rob_live(cast: Cast) -> LiveRound:
    live = live_round(cast.rob, MONDAY)
    assert live is not None
    return live


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_office_reads_which_promise_is_missed_and_by_how_much() -> None:
    cast = the_cast()
    a_late_monday(cast)
    assert [risk.words for risk in rob_live(cast).risks] == [
        # Promises are told to the quarter: 10:15 and 11:45, each with half an hour.
        "Quay about 11:10: 25 min after what was promised.",
        "Dock about 12:30: 15 min after what was promised.",
    ]


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_round_in_time_warns_nobody() -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    Visit.objects.filter(pk=visits[0].pk).update(started_at=at(9))
    assert not rob_live(cast).run.is_late
    assert late_tell() == 0


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_office_is_mailed_once_for_each_promise() -> None:
    cast = the_cast()
    a_late_monday(cast)
    late_tell()
    late_tell()
    mails = list(MailMessage.objects.filter(kind="late").order_by("subject"))
    assert [mail.subject for mail in mails] == ["Runs late: Rob Reef, Dock", "Runs late: Rob Reef, Quay"]
    assert "Ring Quay: 615-555-0147" in mails[1].body


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_client_who_takes_another_hour_ends_the_warning() -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    live = rob_live(cast)
    assert [f"{risk.new_hour:%H:%M}" for risk in live.risks] == ["11:15", "12:30"]
    for visit, risk in zip(visits[1:], live.risks, strict=True):
        hour_agree(visit=visit, at=risk.new_hour.time(), actor=cast.planner)
    assert not rob_live(cast).run.is_late
    with pytest.raises(ValidationError, match="begun"):
        hour_agree(visit=visits[0], at=time(12), actor=cast.planner)


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_colleague_who_has_time_takes_a_stop_when_both_accept() -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    extra = a_visit(
        a_site(cast, "Late call"), state="published", technician=cast.ana.user, planned_on=MONDAY,
        planned_start=time(14), promised_start=time(14),
    )  # fmt: skip
    live = rob_live(cast)
    offer = next(row for row in offers_for(live, live_rounds()) if row.remedy.kind == "give")
    assert (offer.visit, offer.to, offer.keeps_all) == (visits[1], cast.ana, True)
    asked = remedy_ask(key=live.key, kind="give", visit_id=offer.visit.pk, to=cast.ana.pk, actor=cast.planner)
    assert {row.state for row in asked} == {"asked"}
    visits[1].refresh_from_db()
    assert visits[1].technician == cast.rob.user
    for row, who in ((asked[0], cast.planner), (asked[1], cast.planner)):
        change_answer(change_id=row.pk, accept=True, reason="", actor=who)
    visits[1].refresh_from_db()
    assert visits[1].technician == cast.ana.user
    assert Stop.objects.get(visit=visits[1]).round.technician == cast.ana
    assert not rob_live(cast).run.is_late
    assert extra.technician == cast.ana.user


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_stop_is_given_only_to_who_may_do_it() -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    for visit in visits:
        visit.site.needed_permissions.add(a_badge())
    a_visit(
        a_site(cast, "Later"), state="published", technician=cast.ana.user, planned_on=MONDAY, planned_start=time(14)
    )
    live = rob_live(cast)
    assert "give" not in {row.remedy.kind for row in offers_for(live, live_rounds())}


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_stop_that_may_wait_goes_to_the_tray_with_its_reason() -> None:
    cast = the_cast()
    a_late_monday(cast)
    live = rob_live(cast)
    offer = next(row for row in offers_for(live, live_rounds()) if row.remedy.kind == "later")
    asked = remedy_ask(key=live.key, kind="later", visit_id=offer.visit.pk, to=None, actor=cast.planner)
    change_answer(change_id=asked[0].pk, accept=True, reason="", actor=cast.rob.user)
    offer.visit.refresh_from_db()
    assert (offer.visit.state, offer.visit.technician) == ("due", None)
    assert [row["reason"] for row in a_plan().left_out] == ["Taken off a round that ran late."]


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_remedy_that_no_longer_helps_is_refused_in_words() -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    Visit.objects.filter(pk=visits[0].pk).update(started_at=at(9))
    with pytest.raises(RuleBrokenError, match="moved on"):
        remedy_ask(key=(cast.rob.pk, MONDAY), kind="later", visit_id=visits[1].pk, to=None, actor=cast.planner)
    assert not RoundChange.objects.exists()


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_late_round_stands_on_the_pages_of_office_and_technician(signed_in: SignedIn) -> None:
    cast = the_cast()
    visits = a_late_monday(cast)
    office = signed_in(user=cast.office)
    assert "Quay about 11:10: 25 min after what was promised." in office.get("/week/watch/").content.decode()
    page = office.get("/week/late/").content.decode()
    assert "Ring Quay: would 11:15 do?" in page
    assert "late/visits" not in page  # the office may ring; the planner changes
    own = signed_in(user=cast.rob.user).get(f"/round/{MONDAY}/").content.decode()
    assert "expected 11:10" in own
    wrong = signed_in(user=cast.planner).post(f"/week/late/visits/{visits[1].pk}/hour/", {"at": "half past"})
    assert (wrong.status_code, "Write the hour like 11:30." in wrong.content.decode()) == (422, True)


@db
@pytest.mark.usefixtures("monday_at_ten")
def test_queries_do_not_grow_with_the_rounds(django_assert_max_num_queries: Any) -> None:
    cast = the_cast()
    a_late_monday(cast)
    with django_assert_max_num_queries(14):
        live = live_rounds()
    with django_assert_max_num_queries(2):
        offers_for(live[0], live)


@db
@pytest.mark.parametrize(
    ("hour", "words"),
    [
        (8, ["No round is under way now.", "2 have not begun yet."]),
        (10, ["One round is under way; every promise will be kept.", "One is home."]),
        (17, ["No round is under way now.", "2 are home."]),
    ],
)
def test_rounds_are_told_by_whether_they_are_out(hour: int, words: list[str], signed_in: SignedIn) -> None:
    """Rob is out from nine to one, Ana from nine to half past nine; her drive home is over by ten."""
    cast = the_cast()
    pier, quay, mole = (a_visit(a_site(cast, name)) for name in ("Pier", "Quay", "Mole"))
    a_round(cast.rob, [pier, quay])
    a_round(cast.ana, [mole])
    with time_machine.travel(datetime(2026, 12, 3, 15, tzinfo=UTC)):
        week_publish(week=WEEK, version=1, actor=cast.planner)
    stamps = {pier: (at(9), at(10)), quay: (at(10, 20), at(13)), mole: (at(9), at(9, 30))}
    for visit, (begun, ended) in stamps.items():
        if ended <= at(hour):
            Visit.objects.filter(pk=visit.pk).update(state="signed", started_at=begun, ended_at=ended, signed_at=ended)
    with time_machine.travel(at(hour), tick=False):
        page = signed_in(user=cast.planner).get("/week/late/")
        assert page["Cache-Control"] == "max-age=0, no-cache, no-store, must-revalidate, private"
    shown = page.content.decode()
    assert all(sentence in shown for sentence in words), shown
