"""Nights away beside visits for two: whoever shares a visit is timed along; and which lodgings may be chosen."""

from dataclasses import replace
from datetime import date

import pytest
from django.utils import timezone

from servicedesk.people.models import Leave, Lodging
from servicedesk.routes.models import Round
from servicedesk.routes.queries.absence import _shortened, set_apart
from servicedesk.routes.queries.changes import part_of, visits_of
from servicedesk.routes.queries.ends import ends_of
from servicedesk.routes.queries.nights import Evening
from servicedesk.routes.queries.travel import provider_for
from servicedesk.routes.services.moving import round_lock
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.undoing import change_undo
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_site, a_visit, the_cast
from tests.routes.test_crews import TUESDAY, both, for_two, helps, move, paired
from tests.routes.test_nights import KNOXVILLE, a_lodging, a_scene_by_hand, rounds, stay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]


def stays_away(cast: Cast) -> None:
    cast.rob.may_stay_away, cast.rob.max_overtime_min = True, 600
    cast.rob.save()


def far_monday_and_shared_tuesday() -> tuple[Cast, Lodging, Visit]:
    """Rob is far away on Monday and has a visit for two at home on Tuesday, where Ana helps."""
    cast, lodging = the_cast(), a_lodging()
    stays_away(cast)
    visit = for_two(cast)
    move(cast, visit, cast.rob, TUESDAY)
    helps(cast, visit, cast.ana)
    move(cast, a_visit(a_site(cast, "Far", KNOXVILLE)), cast.rob, MONDAY)
    return cast, lodging, visit


def test_night_makes_the_helper_come_when_the_lead_does() -> None:
    cast, lodging, visit = far_monday_and_shared_tuesday()
    before = both(visit)[0].start_s
    stay(cast, lodging)
    lead, helper = both(visit)
    assert lead.start_s == helper.start_s > before + 3 * 3600  # four hours' drive from the lodging
    helpers = Round.objects.get(technician=cast.ana, date=TUESDAY)
    assert helpers.return_s is not None
    assert helpers.return_s >= helper.leave_s


def test_choice_tells_what_the_night_breaks_for_the_helper() -> None:
    cast, lodging, _visit = far_monday_and_shared_tuesday()
    Visit.objects.filter(site__name="Far").update(duration_min=30)
    cast.ana.max_overtime_min = 0
    cast.ana.save()
    late = a_visit(a_site(cast, "Late"), duration_min=240)
    move(cast, late, cast.ana, TUESDAY, 2)
    night = next(row for row in Evening(WEEK, a_plan(), cast.rob, MONDAY).choices() if row.lodging == lodging)
    assert any("Ana Algae would be back" in words for words in night.broken)
    with pytest.raises(RuleBrokenError, match="Ana Algae would be back"):
        stay(cast, lodging)


def test_locked_helper_keeps_the_hour() -> None:
    cast, lodging, visit = far_monday_and_shared_tuesday()
    round_lock(
        week=WEEK, version=a_plan().version, technician_id=cast.ana.pk, day=TUESDAY, locked=True, actor=cast.planner
    )  # fmt: skip
    before = [stop.start_s for stop in both(visit)]
    with pytest.raises(RuleBrokenError, match="round of Ana Algae is locked and shares Pier"):
        stay(cast, lodging)
    assert [stop.start_s for stop in both(visit)] == before


def test_evening_beside_a_locked_helper_may_be_looked_at() -> None:
    cast, lodging = the_cast(), a_lodging()
    paired(cast)
    stays_away(cast)
    round_lock(
        week=WEEK, version=a_plan().version, technician_id=cast.ana.pk, day=MONDAY, locked=True, actor=cast.planner
    )  # fmt: skip
    choices = Evening(WEEK, a_plan(), cast.rob, MONDAY).choices()
    assert [row.lodging for row in choices] == [None, lodging]


def test_archived_lodging_of_another_week_is_refused() -> None:
    cast, _lodging, _visits = a_scene_by_hand()
    old = a_lodging("Old inn")
    Round.objects.create(plan=a_plan(Week(2026, 40)), technician=cast.rob, date=date(2026, 9, 28), lodging=old)
    Lodging.objects.filter(pk=old.pk).update(archived_at=timezone.now())
    with pytest.raises(RuleBrokenError, match="not in use any more"):
        stay(cast, old)


def test_archived_lodging_of_this_evening_stays_as_it_is() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    version = stay(cast, lodging).version
    Lodging.objects.filter(pk=lodging.pk).update(archived_at=timezone.now())
    assert stay(cast, lodging).version == version


@pytest.mark.parametrize("why", ["archived", "not agreed"])
def test_undo_brings_no_night_back_that_may_not_be_spent(why: str) -> None:
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    plan = stay(cast, None)
    if why == "archived":
        Lodging.objects.filter(pk=lodging.pk).update(archived_at=timezone.now())
    else:
        cast.rob.may_stay_away = False
        cast.rob.save()
    with pytest.raises(RuleBrokenError, match="not in use any more" if why == "archived" else "has not agreed"):
        change_undo(week=WEEK, version=plan.version, actor=cast.planner)
    assert all(row.lodging is None for row in rounds().values())


def test_round_without_a_stop_keeps_the_way_to_its_lodging() -> None:
    """Taking nothing off a day that ends at the lodging leaves its hours; home is four hours farther."""
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    more = a_visit(a_site(cast, "Nearby", KNOXVILLE), days=(MONDAY, TUESDAY))
    move(cast, more, cast.rob, MONDAY)
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    row = Round.objects.prefetch_related("stops__visit").get(technician=cast.rob, date=MONDAY)
    part = part_of(row)
    assert part.old is not None
    ends = ends_of(cast.rob, part.old, {lodging.pk: lodging})
    homes = [(cast.rob.home_latitude, cast.rob.home_longitude)]
    travel = provider_for([*homes, KNOXVILLE, (lodging.latitude, lodging.longitude)])
    gone = {part.old.stops[-1].visit_id}
    left = _shortened(part.old, gone, ends, visits_of([part]), travel)
    assert left.return_s is not None
    assert left.return_s - left.stops[-1].leave_s < 300
    assert left.travel_s < 5 * 3600
    assert left.lodging_id == lodging.pk


def test_visit_that_ends_before_leave_at_the_lodging_is_not_taken_off() -> None:
    """On leave from noon: the last visit is over by eleven and the lodging is next door, home four hours away."""
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    week_publish(week=WEEK, version=a_plan().version, actor=cast.planner)
    row = Round.objects.prefetch_related("stops__visit").get(technician=cast.rob, date=MONDAY)
    part = replace(part_of(row), new=None)
    assert part.old is not None
    early = [replace(stop, arrive_s=10 * 3600, start_s=10 * 3600, leave_s=11 * 3600) for stop in part.old.stops]
    part = replace(part, old=replace(part.old, stops=early))
    Leave.objects.create(technician=cast.rob, first_day=MONDAY, last_day=MONDAY, part=Leave.Part.AFTERNOON)
    assert set_apart([part]).told == []
