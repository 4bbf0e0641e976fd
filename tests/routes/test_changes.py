"""Published means published: changes are asked, answered, and come into force together."""

from datetime import time
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from servicedesk.routes.models import Round, RoundChange, Stop, WeekPlan
from servicedesk.routes.queries.changes import questions
from servicedesk.routes.queries.refusals import refusal_before
from servicedesk.routes.queries.round import round_view
from servicedesk.routes.services.changes import change_answer, change_take_back, changes_withdraw
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
NOON = 12 * 3600


def publish(cast: Cast) -> WeekPlan:
    return week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)


def changed(cast: Cast) -> None:
    plan_changed(a_plan(), actor=cast.planner, words="Changed")


def a_published_pair(cast: Cast) -> tuple[Visit, Visit, Visit]:
    """Rob has Pier and Quay on Monday, Ana has Dock; all told."""
    pier, quay, dock = (a_visit(a_site(cast, name)) for name in ("Pier", "Quay", "Dock"))
    a_round(cast.rob, [pier, quay])
    a_round(cast.ana, [dock])
    publish(cast)
    return pier, quay, dock


def to_ana(cast: Cast, visit: Visit) -> None:
    """The planner moves a visit to the end of Ana's day and publishes again."""
    Stop.objects.filter(visit=visit).update(
        round=Round.objects.get(technician=cast.ana), position=2, arrive_s=NOON, start_s=NOON, leave_s=NOON + 3600
    )
    changed(cast)
    publish(cast)


def answer(change: RoundChange, by: Any, *, accept: bool = True, reason: str = "") -> RoundChange:
    return change_answer(change_id=change.pk, accept=accept, reason=reason, actor=by)


def asked_of(technician: Any) -> RoundChange:
    return RoundChange.objects.get(round__technician=technician, state="asked")


def sites(technician: Any) -> list[str]:
    return [stop.site.name for stop in round_view(technician, MONDAY, draft=False).stops]


def test_first_publication_asks_nobody() -> None:
    a_published_pair(the_cast())
    assert not RoundChange.objects.exists()


def test_change_of_a_published_round_moves_nothing_until_all_accept() -> None:
    cast = the_cast()
    _pier, quay, _dock = a_published_pair(cast)
    to_ana(cast, quay)
    quay.refresh_from_db()
    assert (quay.technician, sites(cast.rob), sites(cast.ana)) == (cast.rob.user, ["Pier", "Quay"], ["Dock"])
    answer(asked_of(cast.rob), cast.rob.user)
    quay.refresh_from_db()
    assert (quay.technician, sites(cast.rob)) == (cast.rob.user, ["Pier", "Quay"])
    answer(asked_of(cast.ana), cast.ana.user)
    quay.refresh_from_db()
    assert (quay.technician, quay.planned_start) == (cast.ana.user, time(12))
    assert (sites(cast.rob), sites(cast.ana)) == (["Pier"], ["Dock", "Quay"])


def test_both_are_told_what_changes_for_them() -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    assert asked_of(cast.rob).words == ["Quay goes to Ana Algae."]
    assert asked_of(cast.ana).words == ["Quay comes to you from Rob Reef: 12:00."]


def test_new_departure_and_a_moved_break_are_told() -> None:
    cast = the_cast()
    pier = a_published_pair(cast)[0]
    row = Round.objects.get(technician=cast.rob)
    kept = (row.published or {}) | {"break_start_s": NOON, "break_s": 1800}
    Round.objects.filter(pk=row.pk).update(published=kept, break_start_s=NOON + 3600, break_s=1800, leave_s=7 * 3600)
    Stop.objects.filter(visit=pier).update(start_s=8 * 3600, arrive_s=8 * 3600)
    changed(cast)
    publish(cast)
    assert asked_of(cast.rob).words == [
        "Pier moves from 09:00 to 08:00.",
        "Leave about 07:00 instead of 08:40.",
        "Break about 13:00 instead of 12:00.",
    ]


def test_who_was_never_asked_is_told_on_whom_it_waits(signed_in: SignedIn) -> None:
    cast = the_cast()
    pier, quay = (a_visit(a_site(cast, name)) for name in ("Pier", "Quay"))
    a_round(cast.rob, [pier, quay])
    publish(cast)
    a_round(cast.ana, [])
    to_ana(cast, quay)
    page = signed_in(user=cast.ana.user).get("/round/2026-12-07/").content.decode()
    assert "Mon 7 Dec comes to you once Rob Reef accepts" in page
    assert "You accepted" not in page


def test_refusal_needs_a_reason_and_ends_the_change_for_all() -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    with pytest.raises(ValidationError, match="Say why"):
        answer(asked_of(cast.ana), cast.ana.user, accept=False, reason="  ")
    rob = answer(asked_of(cast.rob), cast.rob.user)
    answer(asked_of(cast.ana), cast.ana.user, accept=False, reason="School run at noon")
    rob.refresh_from_db()
    assert (rob.state, sites(cast.rob), sites(cast.ana)) == ("withdrawn", ["Pier", "Quay"], ["Dock"])
    plan = a_plan()
    assert (plan.state, plan.change) == ("draft", "Ana Algae refused the change of Mon 7 Dec: School run at noon")
    assert [(row.change.reason, row.is_refused) for row in questions()] == [("School run at noon", True)]


def test_planner_puts_a_refused_change_back_as_published() -> None:
    cast = the_cast()
    _pier, quay, _dock = a_published_pair(cast)
    to_ana(cast, quay)
    refused = answer(asked_of(cast.ana), cast.ana.user, accept=False, reason="No")
    change_take_back(change_id=refused.pk, version=a_plan().version, actor=cast.planner)
    assert Stop.objects.get(visit=quay).round.technician == cast.rob
    assert questions() == []
    publish(cast)
    assert not RoundChange.objects.filter(state="asked").exists()


def test_planner_notes_an_answer_given_by_telephone_and_others_may_not_answer() -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    change = asked_of(cast.ana)
    with pytest.raises(ValidationError, match="Only the technician"):
        answer(change, cast.rob.user)
    assert answer(change, cast.planner).answered_by == cast.planner


def test_answering_twice_counts_once_and_the_other_way_is_refused() -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    change = asked_of(cast.ana)
    first = answer(change, cast.ana.user)
    assert answer(change, cast.ana.user).answered_at == first.answered_at
    with pytest.raises(ValidationError, match="closed"):
        answer(change, cast.ana.user, accept=False, reason="Changed my mind")


def test_question_is_withdrawn_when_the_planner_changes_it_back() -> None:
    cast = the_cast()
    _pier, quay, _dock = a_published_pair(cast)
    to_ana(cast, quay)
    rob = Round.objects.get(technician=cast.rob)
    Stop.objects.filter(visit=quay).update(
        round=rob, position=2, arrive_s=9 * 3600 + 4800, start_s=9 * 3600 + 4800, leave_s=9 * 3600 + 8400
    )
    changed(cast)
    publish(cast)
    assert set(RoundChange.objects.values_list("state", flat=True)) == {"withdrawn"}


def test_same_change_published_again_is_asked_once() -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    changed(cast)
    publish(cast)
    assert RoundChange.objects.count() == 2


def test_a_few_minutes_are_not_asked_about() -> None:
    cast = the_cast()
    pier = a_published_pair(cast)[0]
    Stop.objects.filter(visit=pier).update(start_s=9 * 3600 + 240, arrive_s=9 * 3600 + 240)
    changed(cast)
    publish(cast)
    pier.refresh_from_db()
    assert (pier.planned_start, RoundChange.objects.count()) == (time(9, 4), 0)


def test_change_overtaken_by_the_work_is_not_brought_into_force() -> None:
    cast = the_cast()
    quay = a_published_pair(cast)[1]
    to_ana(cast, quay)
    Visit.objects.filter(pk=quay.pk).update(state="started")
    answer(asked_of(cast.rob), cast.rob.user)
    with pytest.raises(ValidationError, match="was begun"):
        answer(asked_of(cast.ana), cast.ana.user)
    assert (sites(cast.rob), asked_of(cast.ana).state) == (["Pier", "Quay"], "asked")


def test_technician_answers_on_my_round_and_a_refusal_without_reason_keeps_the_question(signed_in: SignedIn) -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    browser = signed_in(user=cast.ana.user)
    page = browser.get(f"/round/{MONDAY}/").content.decode()
    assert "Quay comes to you from Rob Reef: 12:00." in page
    url = f"/round/changes/{asked_of(cast.ana).pk}/"
    refused = browser.post(url, {"accept": "0", "reason": ""})
    assert refused.status_code == 422
    assert "Say why, so that the planner can find another way." in refused.content.decode()
    assert browser.post(url, {"accept": "1"}).status_code == 302
    assert RoundChange.objects.get(round__technician=cast.ana).state == "accepted"


def test_open_page_learns_of_a_new_question_and_rings_once(signed_in: SignedIn) -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    browser, change = signed_in(user=cast.ana.user), asked_of(cast.ana)
    url = f"/round/{MONDAY}/{cast.ana.pk}/live/"
    assert "data-ring" in browser.get(url, {"asked": ""}).content.decode()
    assert 'id="questions"' not in browser.get(url, {"asked": str(change.pk)}).content.decode()


def test_planner_sees_open_questions_from_the_week(signed_in: SignedIn) -> None:
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    browser = signed_in(user=cast.planner)
    assert "Ana Algae (week 50), Rob Reef (week 50)" in browser.get("/week/watch/").content.decode()
    assert "Quay goes to Ana Algae." in browser.get("/week/late/").content.decode()


# --- asked again after a refusal --------------------------------------------------------------------------------------


def refused_by_ana(cast: Cast) -> RoundChange:
    to_ana(cast, a_published_pair(cast)[1])
    return answer(asked_of(cast.ana), cast.ana.user, accept=False, reason="School run at noon")


def test_refused_change_is_not_asked_again_unawares() -> None:
    cast = the_cast()
    refused_by_ana(cast)
    with pytest.raises(RuleBrokenError) as told:
        publish(cast)
    assert "refused by Ana Algae at " in told.value.sentences[0]
    assert told.value.sentences[0].endswith("School run at noon.")
    assert not RoundChange.objects.filter(state="asked").exists()
    assert a_plan().state == "draft"


def test_planner_reads_the_refusal_before_publishing_and_confirms_it(signed_in: SignedIn) -> None:
    cast = the_cast()
    refused = refused_by_ana(cast)
    planner, url = signed_in(user=cast.planner), f"/week/{WEEK.year}/{WEEK.number}/publish/"
    page = planner.get(url).content.decode()
    assert "School run at noon" in page
    assert 'name="ask_again" value="1" required' in page
    version = a_plan().version
    assert "School run at noon" in planner.post(url, {"version": version}).content.decode()
    planner.post(url, {"version": version, "ask_again": "1"})
    again = asked_of(cast.ana)
    assert again.pk != refused.pk
    late = planner.get("/week/late/").content.decode()
    assert "refused before, asked again" in late
    assert "School run at noon" in late
    own = signed_in(user=cast.ana.user).get(f"/round/{MONDAY}/").content.decode()
    assert "you refused this at" in own
    assert "School run at noon" in own


def test_what_is_asked_again_already_needs_no_second_confirmation() -> None:
    cast = the_cast()
    refused_by_ana(cast)
    week_publish(week=WEEK, version=a_plan().version, ask_again=True, actor=cast.planner)
    asked = asked_of(cast.ana).pk
    changed(cast)
    publish(cast)
    assert asked_of(cast.ana).pk == asked


def test_another_change_than_the_refused_one_is_asked_and_tells_of_the_refusal() -> None:
    cast = the_cast()
    refused = refused_by_ana(cast)
    Stop.objects.filter(round__technician=cast.ana, position=2).update(arrive_s=NOON + 7200, start_s=NOON + 7200)
    changed(cast)
    publish(cast)
    before = refusal_before(asked_of(cast.ana))
    assert before is not None
    assert (before.change, before.is_same) == (refused, False)


def test_refusal_stays_with_the_planner_when_the_second_question_is_withdrawn() -> None:
    cast = the_cast()
    refused = refused_by_ana(cast)
    week_publish(week=WEEK, version=a_plan().version, ask_again=True, actor=cast.planner)
    changes_withdraw(rounds=[refused.round_id])
    assert [row.change for row in questions()] == [refused]


def test_page_with_a_question_is_kept_by_no_browser(signed_in: SignedIn) -> None:
    """RFC 9111, section 5.2.2.5: no-store forbids keeping any part of the answer, so Back asks for it anew."""
    cast = the_cast()
    to_ana(cast, a_published_pair(cast)[1])
    client, url = signed_in(user=cast.ana.user), f"/round/{MONDAY}/"
    page = client.get(url)
    assert "do you agree?" in page.content.decode()
    assert "no-store" in page["Cache-Control"]
    refused = client.post(f"/round/changes/{asked_of(cast.ana).pk}/", {"accept": "0", "reason": ""})
    assert "no-store" in refused["Cache-Control"]
