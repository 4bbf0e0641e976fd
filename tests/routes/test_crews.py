"""Visits for two in a week: planned and moved by hand, with the second person on a round of their own."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from servicedesk.people.models import Technician
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.queries.crews import crews_planned
from servicedesk.routes.queries.helping import helper_choices
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.queries.week import board, stop_of, tray_visits
from servicedesk.routes.services.helping import helper_set
from servicedesk.routes.services.moving import round_lock, stop_lock, visit_move
from servicedesk.routes.services.swapping import rounds_swap
from servicedesk.routes.services.undoing import change_undo
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.visits.models import Visit
from tests.routes.cast import (
    MONDAY,
    WEEK,
    Cast,
    a_badge,
    a_plan,
    a_round,
    a_site,
    a_technician,
    a_visit,
    an_agreement,
    the_cast,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY = date(2026, 12, 8)
H, M = 3600, 60


def for_two(cast: Cast, name: str = "Pier", *, minutes: int = 45, people: int = 2, **over: Any) -> Visit:
    """An hour and a half, for the first 45 minutes of it with two."""
    site = a_site(cast, name, **over)
    agreement = an_agreement(site, people_needed=people, second_person_min=minutes, duration_min=90)
    return a_visit(site, agreement=agreement, duration_min=90)


def move(cast: Cast, visit: Visit, to: Technician | None, day: date = MONDAY, position: int | None = None) -> WeekPlan:
    return visit_move(
        week=WEEK, version=a_plan().version, visit=visit, technician_id=to.pk if to else None,
        day=day if to else None, position=position, actor=cast.planner,
    )  # fmt: skip


def helps(
    cast: Cast, visit: Visit, who: Technician | None, day: date | None = None, position: int | None = None
) -> WeekPlan:
    return helper_set(
        week=WEEK, version=a_plan().version, visit=visit, technician_id=who.pk if who else None, day=day,
        position=position, actor=cast.planner,
    )  # fmt: skip


def parts(visit: Visit) -> tuple[Stop, Stop | None]:
    return Stop.objects.get(visit=visit, helps=False), Stop.objects.filter(visit=visit, helps=True).first()


def both(visit: Visit) -> tuple[Stop, Stop]:
    lead, helper = parts(visit)
    assert helper is not None
    return lead, helper


def paired(cast: Cast) -> Visit:
    """Rob has the Pier for two on Monday, Ana helps."""
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    helps(cast, visit, cast.ana)
    return visit


def lacking() -> list[str]:
    return [row.words for row in crews_planned(a_plan()).lacking]


# --- what the database keeps


def test_a_visit_has_one_lead_and_one_helper_on_two_rounds() -> None:
    cast = the_cast()
    visit = for_two(cast)
    row = a_round(cast.rob, [visit])
    other = a_round(cast.ana, [])
    times = {"position": 2, "arrive_s": 9 * H, "start_s": 9 * H, "leave_s": 10 * H}
    for wrong in ({"round": other}, {"round": row, "helps": True}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Stop.objects.create(visit=visit, **times, **wrong)
    Stop.objects.create(visit=visit, round=other, helps=True, **times)
    with pytest.raises(IntegrityError), transaction.atomic():
        Stop.objects.create(visit=visit, round=a_round(cast.ana, [], TUESDAY), helps=True, **times)


# --- by hand


def test_lead_may_be_planned_first_and_the_missing_second_person_is_told() -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    shown = board(WEEK)
    assert lacking() == ["Pier: nobody comes as the second person at 08:00, for the first 45 min."]
    assert [row.words for row in shown.no_helpers] == lacking()
    cell = next(cell for day in shown.days for cell in day.cells if cell.stops)
    assert cell.warnings == lacking()
    assert [stop.warned for stop in cell.stops] == [True]


def test_both_begin_together_and_the_helper_leaves_after_the_first_part() -> None:
    cast = the_cast()
    lead, helper = both(paired(cast))
    assert (lead.round.technician, helper.round.technician, helper.round.date) == (cast.rob, cast.ana, MONDAY)
    assert lead.start_s == helper.start_s
    assert (lead.leave_s - lead.start_s, helper.leave_s - helper.start_s) == (90 * M, 45 * M)
    assert helper.round.return_s == helper.leave_s + helper.travel_s
    assert lacking() == []


def test_whoever_is_there_first_waits() -> None:
    cast = the_cast()
    move(cast, a_visit(a_site(cast, "Early")), cast.ana)
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    move(cast, a_visit(a_site(cast, "After")), cast.rob, position=2)
    alone = parts(visit)[0].start_s
    helps(cast, visit, cast.ana, position=2)
    lead, helper = both(visit)
    assert helper.start_s == lead.start_s > alone
    assert lead.start_s % 300 == 0
    after = Stop.objects.get(visit__site__name="After")
    assert after.start_s >= lead.leave_s
    # Rob leaves home so much later instead of waiting at the door.
    assert lead.arrive_s == lead.start_s


def test_a_choice_that_leaves_the_hour_as_it_is_moves_nothing_for_the_lead() -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    before = parts(visit)[0]
    helps(cast, visit, cast.ana)
    after = parts(visit)[0]
    assert (after.start_s, after.leave_s) == (before.start_s, before.leave_s)


@pytest.mark.parametrize(
    ("who", "day", "words"),
    [
        ("ana", TUESDAY, "Pier is done on Mon 7 Dec: the second person comes on that day"),
        ("rob", None, "Rob Reef does Pier; the second person is somebody else"),
    ],
)
def test_helper_comes_on_the_day_and_is_somebody_else(who: str, day: date | None, words: str) -> None:
    cast = the_cast()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    with pytest.raises(RuleBrokenError, match=words):
        helps(cast, visit, getattr(cast, who), day)
    assert not Stop.objects.filter(helps=True).exists()


def test_helper_is_refused_where_no_visit_stands_or_one_person_is_enough() -> None:
    cast = the_cast()
    visit, single = for_two(cast), a_visit(a_site(cast, "Quay"))
    with pytest.raises(RuleBrokenError, match="Put the visit itself on a round first"):
        helps(cast, visit, cast.ana)
    move(cast, single, cast.rob)
    with pytest.raises(RuleBrokenError, match="Quay needs one person only"):
        helps(cast, single, cast.ana)


def test_helper_needs_the_site_badge_too() -> None:
    cast, badge = the_cast(), a_badge()
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    visit.site.needed_permissions.add(badge)
    with pytest.raises(RuleBrokenError, match="Pier needs Harbour badge, which Ana Algae does not hold"):
        helps(cast, visit, cast.ana)


def test_hour_at_which_the_helper_cannot_be_back_in_time_is_refused() -> None:
    cast = the_cast()
    visit = for_two(cast, windows=[(0, time(15, 50), time(18))])
    Technician.objects.update(max_overtime_min=0)
    Technician.objects.filter(pk=cast.rob.pk).update(max_overtime_min=180)
    move(cast, visit, cast.rob)
    with pytest.raises(RuleBrokenError, match="Ana Algae would be back at 16:35, 5 min beyond the overtime allowed"):
        helps(cast, visit, cast.ana)


def test_lead_moved_on_the_day_keeps_the_helper_and_both_are_timed_anew() -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = paired(cast)
    move(cast, a_visit(a_site(cast, "Early")), kim)
    move(cast, visit, kim, position=2)
    lead, helper = both(visit)
    assert (lead.round.technician, helper.round.technician) == (kim, cast.ana)
    assert lead.start_s == helper.start_s == 9 * H


@pytest.mark.parametrize("to", ["another day", "the helper's own round", "the tray"])
def test_lead_moved_away_frees_the_helper(to: str) -> None:
    cast = the_cast()
    visit = paired(cast)
    target = {
        "another day": (cast.rob, TUESDAY),
        "the helper's own round": (cast.ana, MONDAY),
        "the tray": (None, MONDAY),
    }
    plan = move(cast, visit, *target[to])
    assert not Stop.objects.filter(helps=True).exists()
    assert "Ana Algae does not help there any more." in plan.change
    assert Round.objects.filter(technician=cast.ana).exists() == (to == "the helper's own round")


def test_helper_taken_off_leaves_the_visit_and_says_what_is_missing() -> None:
    cast = the_cast()
    visit = paired(cast)
    helps(cast, visit, None)
    lead, helper = parts(visit)
    assert (lead.round.technician, helper) == (cast.rob, None)
    assert lacking() != []
    assert list(tray_visits(WEEK)) == []


def test_undo_brings_the_helper_back() -> None:
    cast = the_cast()
    visit = paired(cast)
    before = rounds_kept(a_plan())
    move(cast, visit, None)
    change_undo(week=WEEK, version=a_plan().version, actor=cast.planner)
    assert rounds_kept(a_plan()) == before


def test_swap_of_both_peoples_rounds_swaps_lead_and_helper() -> None:
    cast = the_cast()
    visit = paired(cast)
    rounds_swap(
        week=WEEK, version=a_plan().version, one=(cast.rob.pk, MONDAY), other=(cast.ana.pk, MONDAY), actor=cast.planner
    )
    lead, helper = both(visit)
    assert (lead.round.technician, helper.round.technician) == (cast.ana, cast.rob)
    assert lead.start_s == helper.start_s


def test_swap_with_another_day_is_refused_while_somebody_helps() -> None:
    cast = the_cast()
    paired(cast)
    move(cast, a_visit(a_site(cast, "Quay")), cast.rob, TUESDAY)
    with pytest.raises(RuleBrokenError, match="the second person, Ana Algae, has to come on the day of the visit"):
        rounds_swap(
            week=WEEK, version=a_plan().version, one=(cast.rob.pk, MONDAY), other=(cast.rob.pk, TUESDAY),
            actor=cast.planner,
        )  # fmt: skip


def test_two_who_would_wait_for_each_other_are_refused() -> None:
    cast = the_cast()
    first, second = for_two(cast, "First"), for_two(cast, "Second")
    move(cast, first, cast.rob)
    move(cast, second, cast.ana)
    helps(cast, first, cast.ana, position=2)
    # Rob does First and then would help at Second, Ana does Second and then helps at First: neither can begin.
    with pytest.raises(RuleBrokenError, match="cannot begin together"):
        helps(cast, second, cast.rob, position=2)


def test_lock_holds_both_parts() -> None:
    cast = the_cast()
    visit = paired(cast)
    stop_lock(week=WEEK, version=a_plan().version, visit_id=visit.pk, locked=True, actor=cast.planner)
    assert [stop.locked for stop in both(visit)] == [True, True]
    with pytest.raises(RuleBrokenError, match="locked"):
        helps(cast, visit, None)
    stop_lock(week=WEEK, version=a_plan().version, visit_id=visit.pk, locked=False, actor=cast.planner)
    helps(cast, visit, None)


def test_locked_round_of_the_helper_keeps_the_hour_of_the_lead() -> None:
    cast = the_cast()
    visit = paired(cast)
    round_lock(
        week=WEEK, version=a_plan().version, technician_id=cast.ana.pk, day=MONDAY, locked=True, actor=cast.planner
    )
    with pytest.raises(RuleBrokenError, match="The round of Ana Algae is locked and shares Pier"):
        move(cast, visit, None)
    with pytest.raises(RuleBrokenError, match="The round of Ana Algae is locked and shares Pier"):
        move(cast, a_visit(a_site(cast, "Before")), cast.rob, position=1)
    move(cast, a_visit(a_site(cast, "After")), cast.rob, position=2)


def test_choices_are_everybody_else_best_first_with_the_hour_and_the_cost() -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    move(cast, a_visit(a_site(cast, "Near")), kim)
    barred = a_technician("Lou Limpet", cast.rob.depot)
    assert visit.agreement is not None
    visit.agreement.barred_technicians.add(barred.user)
    stop = stop_of(visit, WEEK)
    assert stop is not None
    rows = helper_choices(WEEK, a_plan(), visit, stop)
    assert {row.technician for row in rows} == {cast.ana, kim, barred}
    costs = [row.cost for row in rows[:2]]
    assert costs == sorted(cost for cost in costs if cost is not None)
    assert rows[-1].why_not == "Pier does not want Lou Limpet."
    best = rows[0]
    helps(cast, visit, best.technician)
    lead, _helper = both(visit)
    assert best.begins is not None
    assert f"{lead.start_s // H:02}:{lead.start_s % H // M:02}" == best.begins.short


def test_three_people_are_planned_as_two_and_the_third_is_said() -> None:
    cast = the_cast()
    visit = for_two(cast, people=3)
    move(cast, visit, cast.rob)
    helps(cast, visit, cast.ana)
    assert lacking() == ["Pier needs 3 people: two are planned, arrange the others by hand."]


def test_a_helper_takes_no_load_and_is_not_the_visit() -> None:
    cast = the_cast()
    visit = paired(cast)
    plan = a_plan()
    late = Visit.objects.filter(pk=visit.pk)
    late.update(due_on=MONDAY - timedelta(days=2))
    move(cast, a_visit(a_site(cast, "Quay"), TUESDAY), cast.ana, TUESDAY)
    plan.refresh_from_db()
    assert plan.score is not None
    assert plan.score["late_days"] == 2


def test_everybody_offered_begins_when_choosing_them_makes_it_and_what_moves_is_told() -> None:
    cast = the_cast()
    kim = a_technician("Kim Kelp", cast.rob.depot)
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    for number in range(4):
        move(cast, a_visit(a_site(cast, f"After {number}"), duration_min=110), cast.rob, position=number + 2)
    for name in ("Early", "Noon", "Late"):  # whenever Kim comes between them, it is later than Rob stands to begin
        move(cast, a_visit(a_site(cast, name), duration_min=100), kim)
    stop = stop_of(visit, WEEK)
    assert stop is not None
    overtime = stop.round.overtime_s
    rows = [row for row in helper_choices(WEEK, a_plan(), visit, stop) if row.begins is not None]
    assert {row.technician for row in rows} == {cast.ana, kim}
    for row in rows:
        helps(cast, visit, row.technician)
        lead, _helper = both(visit)
        assert row.begins is not None
        assert row.begins.short == f"{lead.start_s // H:02}:{lead.start_s % H // M:02}"
        assert row.later_min == round((lead.start_s - stop.start_s) / 60)
        told = f"overtime of Rob Reef {round(overtime / 60)} → {round(lead.round.overtime_s / 60)} min"
        assert (told in row.moves) == (round(overtime / 60) != round(lead.round.overtime_s / 60))
        helps(cast, visit, None)
        change_undo(week=WEEK, version=a_plan().version, actor=cast.planner)
        change_undo(week=WEEK, version=a_plan().version, actor=cast.planner)


def test_choice_tells_what_it_moves_of_the_leads_day() -> None:
    cast = the_cast()
    cast.ana.working_hours.all().update(starts=time(11))
    visit = for_two(cast)
    move(cast, visit, cast.rob)
    move(cast, a_visit(a_site(cast, "After")), cast.rob, position=2)
    stop = stop_of(visit, WEEK)
    assert stop is not None
    after = Stop.objects.get(visit__site__name="After").start_s
    [row] = [row for row in helper_choices(WEEK, a_plan(), visit, stop) if row.technician == cast.ana]
    helps(cast, visit, cast.ana)
    later = Stop.objects.get(visit__site__name="After").start_s - after
    assert later > 0
    assert f"Rob Reef: one other visit begins {round(later / 60)} min later" in row.moves
