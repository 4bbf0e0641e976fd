"""Pages of the week: two planners at once, undo, swap, compare, proposal."""

from dataclasses import replace
from datetime import date, time

import pytest
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from servicedesk.people.models import Role, User
from servicedesk.routes.models import PlanRun, Stop, WeekPlan
from servicedesk.routes.planning import Solved
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.queries.week import board, board_part
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.solving import solved_store
from servicedesk.routes.timed import Timed
from servicedesk.routes.week_models import PlanProposal
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_user, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)
PAGE = f"/week/{WEEK.year}/{WEEK.number}/"
HTMX = {"HX-Request": "true"}


def browser(user: User) -> Client:
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def text(response: object) -> str:
    return bytes(getattr(response, "content", b"")).decode()


def scene() -> tuple[Cast, Visit, Visit]:
    cast = the_cast()
    one, two = a_visit(a_site(cast, "One")), a_visit(a_site(cast, "Two"))
    a_round(cast.rob, [one, two])
    return cast, one, two


def move(cast: Cast, visit: Visit, day: date = TUESDAY) -> WeekPlan:
    return visit_move(
        week=WEEK, version=a_plan().version, visit=visit, technician_id=cast.ana.pk, day=day, position=None,
        actor=cast.planner,
    )  # fmt: skip


def test_second_planners_change_is_kept_and_offered_again_on_the_new_state() -> None:
    cast, one, two = scene()
    other = a_user("Quinn Planner", Role.PLANNER)
    move(cast, one)
    sent = {"version": 1, "technician": cast.ana.pk, "day": "2026-12-08", "position": 1}
    answer = browser(other).post(f"{PAGE}move/{two.pk}/", sent, headers=HTMX)
    assert answer.status_code == 409
    shown = text(answer)
    assert "Petra Planner changed this week meanwhile." in shown
    assert "Move Two all the same" in shown
    assert f'<input type="hidden" name="version" value="{a_plan().version}">' in shown
    assert Stop.objects.get(visit=two).round.technician == cast.rob
    again = browser(other).post(f"{PAGE}move/{two.pk}/", sent | {"version": a_plan().version}, headers=HTMX)
    assert again.status_code == 200
    assert {stop.round.technician for stop in Stop.objects.all()} == {cast.ana}


def test_pulse_is_silent_while_nothing_moved_and_tells_when_somebody_else_changed_the_week() -> None:
    cast, one, _two = scene()
    planner = browser(cast.planner)
    assert "HX-Trigger" not in planner.get(f"{PAGE}pulse/?version=1", headers=HTMX).headers
    move(cast, one)
    answer = planner.get(f"{PAGE}pulse/?version=1", headers=HTMX)
    assert answer["HX-Trigger"] == "weekMoved"
    assert "One was moved to Ana Algae" in text(answer)


def test_planners_see_who_else_is_here() -> None:
    cache.clear()
    cast, _one, _two = scene()
    other = a_user("Quinn Planner", Role.PLANNER)
    browser(cast.planner).get(f"{PAGE}pulse/?version=1", headers=HTMX)
    answer = browser(other).get(f"{PAGE}pulse/?version=1", headers=HTMX)
    assert "Also here: Petra Planner" in text(answer)
    assert "Quinn" not in text(answer)


def test_undo_button_names_the_change_and_takes_it_back() -> None:
    cast, one, _two = scene()
    move(cast, one)
    planner = browser(cast.planner)
    assert 'title="One was moved to Ana Algae, Tue 8 Dec."' in text(planner.get(PAGE))
    planner.post(f"{PAGE}undo/", {"version": a_plan().version}, headers=HTMX)
    assert Stop.objects.get(visit=one).round.technician == cast.rob


def test_swap_dialog_and_swap() -> None:
    cast, one, _two = scene()
    planner, url = browser(cast.planner), f"{PAGE}swap/{cast.rob.pk}/2026-12-07/"
    assert "Swap the round of Rob Reef" in text(planner.get(url, headers=HTMX))
    sent = {"version": 1, "technician": cast.ana.pk, "day": "2026-12-08"}
    assert planner.post(url, sent, headers=HTMX).status_code == 200
    assert Stop.objects.get(visit=one).round.technician == cast.ana


def test_two_states_side_by_side() -> None:
    cast, one, _two = scene()
    move(cast, one)
    shown = text(browser(cast.planner).get(f"{PAGE}states/?old=1&new=2"))
    assert "One: Ana Algae on Tue 8 Dec instead of Rob Reef on Mon 7 Dec." in shown
    assert shown.count('class="drawing ribbon"') == 3
    assert "no round" in shown


def test_proposal_page_and_partial_choice() -> None:
    cast, _one, _two = scene()
    run = PlanRun.objects.create(plan=a_plan(), state="running", requested_by=cast.planner)
    solved = Solved({(cast.rob.pk, MONDAY): Timed()}, [], 1)
    people = {row.pk: row for row in (cast.rob, cast.ana)}
    solved_store(run=run, week=WEEK, seen_version=1, technicians=people, solved=solved)
    planner = browser(cast.planner)
    assert "A new plan is proposed." in text(planner.get(PAGE))
    shown = text(planner.get(f"{PAGE}proposal/"))
    assert "One is on no round any more; it was with Rob Reef on Mon 7 Dec." in shown
    proposal = str(a_plan().proposals.get().pk)
    nothing = planner.post(f"{PAGE}proposal/", {"version": a_plan().version, "proposal": proposal, "act": "some"})
    assert nothing.status_code == 422
    assert "Choose at least one" in text(nothing)
    group = f"{cast.rob.pk}.2026-12-07"
    sent = {"version": a_plan().version, "proposal": proposal, "act": "some", "group": [group]}
    assert planner.post(f"{PAGE}proposal/", sent).status_code == 302
    assert not Stop.objects.exists()


def test_replan_of_a_week_not_under_way_is_refused_with_what_was_typed() -> None:
    cast, _one, _two = scene()
    sent = {"version": 1, "seconds": 5, "technician": cast.rob.pk, "reason": "ill", "until": "2026-12-08"}
    answer = browser(cast.planner).post(f"{PAGE}replan/", sent)
    assert answer.status_code == 422
    assert "Only the week that is under way" in text(answer)
    assert 'value="2026-12-08"' in text(answer)
    assert not PlanRun.objects.exists()


def test_after_a_drag_only_the_rounds_touched_are_drawn_anew() -> None:
    cast, one, _two = scene()
    a_round(cast.ana, [a_visit(a_site(cast, "Three"))])
    planner = browser(cast.planner)
    sent = {"version": 1, "technician": cast.ana.pk, "day": "2026-12-08", "position": 1, "span": "25200.61200"}
    answer = planner.post(f"{PAGE}move/{one.pk}/", sent, headers=HTMX)
    assert answer["HX-Reswap"] == "none"
    assert '"version": 2' in answer["HX-Trigger"]
    shown = text(answer)
    assert f'id="cell-{cast.rob.pk}-2026-12-07"' in shown
    assert f'id="cell-{cast.ana.pk}-2026-12-08"' in shown
    assert f'id="cell-{cast.ana.pk}-2026-12-07"' not in shown
    for part in ("week-bar", "tray", "pulse", "week-notices"):
        assert f'id="{part}"' in shown


def test_whole_board_comes_when_the_span_of_the_ribbons_changes() -> None:
    cast, one, _two = scene()
    sent = {"version": 1, "technician": cast.ana.pk, "day": "2026-12-08", "position": 1, "span": "25200.90000"}
    answer = browser(cast.planner).post(f"{PAGE}move/{one.pk}/", sent, headers=HTMX)
    assert "HX-Reswap" not in answer.headers
    assert 'id="board"' in text(answer)


def test_cells_of_a_part_are_the_same_as_on_the_whole_board() -> None:
    cast, one, _two = scene()
    move(cast, one)
    whole = {cell.key: cell for row in board(WEEK).days for cell in row.cells}
    part = board_part(WEEK, a_plan(), {(cast.rob.pk, MONDAY), (cast.ana.pk, TUESDAY)})
    assert part.span == board(WEEK).span
    for cell in part.cells:
        assert (cell.ribbon, cell.stops, cell.warnings) == (
            whole[cell.key].ribbon, whole[cell.key].stops, whole[cell.key].warnings,
        )  # fmt: skip


def test_a_proposal_folds_rounds_of_which_only_minutes_differ_and_leaves_them_unticked() -> None:
    cast, one, two = scene()
    a_round(cast.ana, [a_visit(a_site(cast, "Three"))])
    run = PlanRun.objects.create(plan=a_plan(), state="running", requested_by=cast.planner)
    kept = rounds_kept(a_plan())
    (later,) = kept[cast.ana.pk, MONDAY].times.stops
    later = replace(later, start_s=later.start_s + 300, leave_s=later.leave_s + 300)
    rounds = {
        (cast.rob.pk, MONDAY): Timed(),
        (cast.ana.pk, MONDAY): replace(kept[cast.ana.pk, MONDAY].as_timed(), stops=[later]),
    }
    people = {row.pk: row for row in (cast.rob, cast.ana)}
    solved_store(run=run, week=WEEK, seen_version=1, technicians=people, solved=Solved(rounds, [], 1))
    shown = text(browser(cast.planner).get(f"{PAGE}proposal/"))
    assert "1 round where only some minutes differ" in shown
    assert f'value="{cast.rob.pk}.2026-12-07" checked' in shown
    assert f'value="{cast.ana.pk}.2026-12-07" checked' not in shown
    assert f'value="{cast.ana.pk}.2026-12-07"' in shown
    assert {one.pk, two.pk} == set(Stop.objects.filter(round__technician=cast.rob).values_list("visit", flat=True))


def test_a_telephone_call_to_another_day_names_both_days_and_offers_the_move() -> None:
    cast, one, _two = scene()
    Visit.objects.filter(pk=one.pk).update(state="published", planned_on=MONDAY, promised_start=time(9))
    run = PlanRun.objects.create(plan=a_plan(), state="done", requested_by=cast.planner)
    begin = {"technician": str(cast.rob.pk), "date": "2026-12-09", "begin": "2026-12-09T14:30:00+00:00"}
    call = {"visit": str(one.pk), "words": "If One could take another hour.", "saving": 20.0} | begin
    PlanProposal.objects.create(plan=a_plan(), run=run, based_on=1, calls=[call])
    shown = text(browser(cast.planner).get(f"{PAGE}proposal/"))
    assert "Promised until now: Mon 7 Dec at 09:00." in shown
    assert "agree Wed 9 Dec at 08:30 with the client" in shown
    assert f"{PAGE}move/{one.pk}/" in shown
    assert 'name="at"' not in shown


def test_after_undo_the_words_of_the_last_search_and_of_taking_it_are_gone() -> None:
    cast, one, _two = scene()
    PlanRun.objects.create(plan=a_plan(), state="done", message="45 visits placed.", ended_at=timezone.now())
    planner = browser(cast.planner)
    assert "45 visits placed." in text(planner.get(PAGE))
    move(cast, one)
    shown = text(planner.post(f"{PAGE}undo/", {"version": 2}, headers=HTMX))
    assert "45 visits placed." not in shown
    assert '<div id="messages" aria-live="polite" hx-swap-oob="true"></div>' in shown
