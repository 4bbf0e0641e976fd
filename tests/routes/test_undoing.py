"""Undo, older versions put back, and two rounds swapped."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.services.keeping import KEEP
from servicedesk.routes.services.moving import round_lock, stop_lock, visit_move
from servicedesk.routes.services.swapping import rounds_swap
from servicedesk.routes.services.undoing import change_undo, version_restore
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError
from servicedesk.routes.week_models import PlanVersion
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, WEEK, Cast, a_badge, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)


def move(cast: Cast, visit: Visit, who: object, day: date = TUESDAY) -> WeekPlan:
    return visit_move(
        week=WEEK, version=a_plan().version, visit=visit, technician_id=getattr(who, "pk", None),
        day=day if who else None, position=None, actor=cast.planner,
    )  # fmt: skip


def undo(cast: Cast) -> WeekPlan:
    return change_undo(week=WEEK, version=a_plan().version, actor=cast.planner)


def state() -> list[tuple[object, ...]]:
    fields = ("visit__site__name", "round__technician", "round__date", "position", "start_s", "leave_s", "locked")
    return sorted(Stop.objects.values_list(*fields))


def test_undo_puts_every_time_back_and_again_the_change_before() -> None:
    cast = the_cast()
    one, two = a_visit(a_site(cast, "One")), a_visit(a_site(cast, "Two"))
    a_round(cast.rob, [one, two])
    states = [state()]
    move(cast, one, cast.ana)
    states.append(state())
    move(cast, two, None)
    plan = undo(cast)
    assert state() == states[1]
    assert plan.change == "Undone: Two was taken off its round."
    plan = undo(cast)
    assert state() == states[0]
    assert plan.change == "Undone: One was moved to Ana Algae, Tue 8 Dec."
    row = Round.objects.get()
    assert (row.leave_s, row.return_s) == (9 * 3600 - 1200, 9 * 3600 + 2 * 4800)
    with pytest.raises(RuleBrokenError, match="no earlier state"):
        undo(cast)


def test_undo_frees_what_was_locked() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    stop_lock(week=WEEK, version=1, visit_id=visit.pk, locked=True, actor=cast.planner)
    round_lock(week=WEEK, version=2, technician_id=cast.rob.pk, day=MONDAY, locked=True, actor=cast.planner)
    undo(cast)
    assert (Round.objects.get().locked, Stop.objects.get().locked) == (False, True)
    undo(cast)
    assert not Stop.objects.get().locked


def test_what_was_undone_can_be_put_back() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    done = move(cast, visit, cast.rob)
    after = state()
    undo(cast)
    assert state() == []
    version_restore(week=WEEK, version=a_plan().version, number=done.version, actor=cast.planner)
    assert state() == after


def test_undo_of_an_old_page_is_refused() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    move(cast, visit, cast.rob)
    with pytest.raises(StaleWeekError):
        change_undo(week=WEEK, version=1, actor=cast.office)
    assert len(state()) == 1


def test_visit_begun_since_stays_where_it_is() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    move(cast, visit, cast.rob)
    Visit.objects.update(state="started", technician=cast.rob.user)
    with pytest.raises(RuleBrokenError, match="Pier: begun, ended or called off"):
        undo(cast)
    assert len(state()) == 1


def test_days_gone_by_are_not_undone() -> None:
    cast = the_cast()
    move(cast, a_visit(a_site(cast, "Pier")), cast.rob)
    with time_machine.travel(datetime(2026, 12, 9, 15, tzinfo=UTC)), pytest.raises(RuleBrokenError, match="is over"):
        undo(cast)


def test_only_so_many_versions_are_kept() -> None:
    cast = the_cast()
    visit = a_visit(a_site(cast, "Pier"))
    a_round(cast.rob, [visit])
    for number in range(1, KEEP + 4):
        stop_lock(week=WEEK, version=number, visit_id=visit.pk, locked=bool(number % 2), actor=cast.planner)
    assert PlanVersion.objects.count() == KEEP


def test_swapped_rounds_keep_their_order_and_are_timed_anew() -> None:
    cast = the_cast()
    one, two, three = (a_visit(a_site(cast, name)) for name in ("One", "Two", "Three"))
    a_round(cast.rob, [one, two])
    a_round(cast.ana, [three], TUESDAY)
    plan = rounds_swap(
        week=WEEK, version=1, one=(cast.rob.pk, MONDAY), other=(cast.ana.pk, TUESDAY), actor=cast.planner
    )
    found = {name: (who, day, position) for name, who, day, position, *_rest in state()}
    assert found == {
        "One": (cast.ana.pk, TUESDAY, 1), "Two": (cast.ana.pk, TUESDAY, 2), "Three": (cast.rob.pk, MONDAY, 1),
    }  # fmt: skip
    assert Stop.objects.get(visit=three).start_s >= 8 * 3600
    assert plan.change == "Rob Reef, Mon 7 Dec and Ana Algae, Tue 8 Dec were swapped."
    undo(cast)
    assert {name: who for name, who, *_rest in state()} == {
        "One": cast.rob.pk, "Two": cast.rob.pk, "Three": cast.ana.pk,
    }  # fmt: skip


def test_round_is_swapped_onto_a_free_day() -> None:
    cast = the_cast()
    a_round(cast.rob, [a_visit(a_site(cast, "One"))])
    rounds_swap(week=WEEK, version=1, one=(cast.rob.pk, MONDAY), other=(cast.ana.pk, TUESDAY), actor=cast.planner)
    assert [(who, day) for _name, who, day, *_rest in state()] == [(cast.ana.pk, TUESDAY)]


def test_swap_that_breaks_a_hard_rule_is_refused_in_words() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier")
    a_round(cast.rob, [a_visit(site)])
    site.needed_permissions.add(a_badge())
    with pytest.raises(RuleBrokenError, match="Pier needs Harbour badge, which Ana Algae does not hold"):
        rounds_swap(week=WEEK, version=1, one=(cast.rob.pk, MONDAY), other=(cast.ana.pk, MONDAY), actor=cast.planner)
    assert [who for _name, who, *_rest in state()] == [cast.rob.pk]
