"""Nights away: found by the planner, set by hand, kept through every state of the week, told wherever a day is shown.

Knoxville lies some 290 km from the technicians' homes by the estimate: four hours of driving out and four back.
"""

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.template.loader import render_to_string
from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from servicedesk.people.models import Leave, Lodging, Role, Technician
from servicedesk.planner.check import check
from servicedesk.routes import documents, nights
from servicedesk.routes.calendar import calendar_of
from servicedesk.routes.kept import as_json, from_json
from servicedesk.routes.models import PlanRun, Round, RoundChange, Stop, WeekPlan
from servicedesk.routes.planning import Solved, week_problem
from servicedesk.routes.queries import feeds
from servicedesk.routes.queries.actual import actual_days
from servicedesk.routes.queries.costs import work_between
from servicedesk.routes.queries.daybook import entries_of
from servicedesk.routes.queries.nights import Evening
from servicedesk.routes.queries.plan_changes import difference
from servicedesk.routes.queries.round import round_view, technicians_between, times_published
from servicedesk.routes.queries.running import live_round, live_rounds
from servicedesk.routes.queries.score import score_of
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.queries.week import board, board_part
from servicedesk.routes.replan import OpenWeek, PlannedWeek
from servicedesk.routes.scope import Out, Scope
from servicedesk.routes.services.moving import round_lock, visit_move
from servicedesk.routes.services.nights import night_set
from servicedesk.routes.services.proposals import proposal_make, proposal_take
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.storing import rounds_store
from servicedesk.routes.services.undoing import change_undo
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.routes.tracks import round_geojson, round_gpx
from servicedesk.routes.week_models import PlanProposal
from servicedesk.visits.models import Visit
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, WEEK, Cast, a_plan, a_round, a_site, a_visit, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TUESDAY, WEDNESDAY = date(2026, 12, 8), date(2026, 12, 9)
KNOXVILLE = (35.9606, -83.9207)
H = 3600


def a_lodging(name: str = "Pine Lodge", at: tuple[float, float] = KNOXVILLE, price: int = 90) -> Lodging:
    return Lodging.objects.create(
        name=name, address="4 Ridge Road", city="Knoxville", latitude=at[0], longitude=at[1],
        time_zone="America/New_York", price_per_night=price, phone="555-0177",
    )  # fmt: skip


def far_scene(*, minutes: int = 180) -> tuple[Cast, Lodging, list[Visit]]:
    """Two long visits in the far city, on Monday or Tuesday; only Rob stays away at night."""
    cast = the_cast()
    cast.ana.delete()
    cast.rob.may_stay_away, cast.rob.max_overtime_min = True, 120
    cast.rob.save()
    visits = [
        a_visit(a_site(cast, name, KNOXVILLE), duration_min=minutes, days=(MONDAY, TUESDAY))
        for name in ("Aquatic hall", "River house")
    ]
    return cast, a_lodging(), visits


def people(_cast: Cast) -> dict[int, Technician]:
    return {row.pk: row for row in technicians_between(WEEK.monday, WEEK.sunday)}


class Searched(PlannedWeek):
    """A week with what its search found."""

    solved: Solved


def planned(cast: Cast, *, iterations: int = 150) -> Searched:
    week = Searched(week_problem(WEEK, a_plan(), people(cast)).data)
    week.solved = week.solve(60, 1, lambda _share, _words: False, iterations=iterations)
    return week


def store(cast: Cast, week: Searched) -> WeekPlan:
    rounds_store(a_plan(), people(cast), week.solved.rounds, frozenset())
    return a_plan()


def rounds() -> dict[date, Round]:
    return {row.date: row for row in Round.objects.select_related("lodging", "start_lodging").order_by("date")}


def away(cast: Cast) -> WeekPlan:
    """A week with the night of Monday planned in the lodging."""
    return store(cast, planned(cast))


def a_scene_by_hand() -> tuple[Cast, Lodging, list[Visit]]:
    """One visit each on Monday and Tuesday in the far city, without a night."""
    cast, lodging, visits = far_scene(minutes=60)
    a_round(cast.rob, visits[:1])
    a_round(cast.rob, visits[1:], TUESDAY)
    return cast, lodging, visits


def stay(cast: Cast, lodging: Lodging | None, day: date = MONDAY) -> WeekPlan:
    return night_set(
        week=WEEK, version=a_plan().version, technician_id=cast.rob.pk, day=day,
        lodging_id=lodging.pk if lodging else None, actor=cast.planner,
    )  # fmt: skip


# ---- found by the planner


def test_planner_finds_the_night_and_the_checker_finds_nothing_broken() -> None:
    cast, lodging, _visits = far_scene()
    week = planned(cast)
    assert week.plan is not None
    assert week.asked is not None
    assert [(night.date, night.place) for night in week.plan.nights] == [(MONDAY, f"lodging-{lodging.pk}")]
    assert check(week.asked, week.plan) == []


def test_stored_and_read_again_the_week_is_the_one_that_was_planned() -> None:
    cast, lodging, _visits = far_scene()
    week = planned(cast)
    store(cast, week)
    found = rounds()
    assert (found[MONDAY].start_lodging, found[MONDAY].lodging) == (None, lodging)
    assert (found[TUESDAY].start_lodging, found[TUESDAY].lodging) == (lodging, None)
    again = week_problem(WEEK, a_plan(), people(cast))
    assert week.plan is not None
    # The same plan without optional nights keeps every rule of the week that has them written in.
    assert check(replace(again.problem, overnights=()), replace(week.plan, nights=())) == []
    for day, row in found.items():
        timed = again.timed((cast.rob.pk, day), again.data.orders[cast.rob.pk, day])
        assert (timed.leave_s, timed.return_s, timed.distance_m) == (row.leave_s, row.return_s, row.distance_m)


def test_price_of_the_night_is_part_of_the_cost() -> None:
    cast, _lodging, _visits = far_scene()
    dear = a_lodging("Grand Lodge", price=200)
    store(cast, planned(cast))
    key, order = (
        (cast.rob.pk, MONDAY),
        [str(pk) for pk in Stop.objects.filter(round__date=MONDAY).values_list("visit", flat=True)],
    )
    week = week_problem(WEEK, a_plan(), people(cast))
    other = week.with_nights({key: dear})
    assert other.timed(key, order).cost - week.timed(key, order).cost == pytest.approx(110)


def test_dear_night_is_not_taken() -> None:
    cast, lodging, _visits = far_scene(minutes=60)
    Lodging.objects.filter(pk=lodging.pk).update(price_per_night=5000)
    week = planned(cast)
    assert week.plan is not None
    assert week.plan.nights == ()


@pytest.mark.parametrize("why", ["not agreed", "archived", "none a week", "next day off", "near"])
def test_no_night_is_offered(why: str) -> None:
    cast, _lodging, visits = far_scene()
    if why == "not agreed":
        cast.rob.may_stay_away = False
    elif why == "none a week":
        cast.rob.most_nights = 0
    elif why == "archived":
        Lodging.objects.update(archived_at=timezone.now())
    elif why == "near":
        for visit in visits:
            visit.site.latitude, visit.site.longitude = 36.17, -86.79
            visit.site.save()
    else:
        Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=date(2026, 12, 11))
    cast.rob.save()
    data = week_problem(WEEK, a_plan(), people(cast)).data
    assert nights.offers(data) == []


def test_nights_a_week_are_a_rule_of_the_planner() -> None:
    cast, _lodging, _visits = far_scene()
    cast.rob.most_nights = 1
    cast.rob.save()
    week = planned(cast)
    assert week.asked is not None
    assert week.plan is not None
    assert {who.max_nights for who in week.asked.technicians} == {1}
    none = replace(week.asked, technicians=tuple(replace(who, max_nights=0) for who in week.asked.technicians))
    assert any("0 are allowed" in line for line in check(none, week.plan))


def test_only_the_nearest_lodgings_are_offered() -> None:
    cast, lodging, _visits = far_scene()
    for number in range(4):
        a_lodging(f"Farther {number}", (KNOXVILLE[0] + 0.1 * (number + 1), KNOXVILLE[1]))
    a_lodging("At home", (36.16, -86.78))
    data = week_problem(WEEK, a_plan(), people(cast)).data
    offered = nights.offers(data)
    assert len({row.pk for _night, row in offered}) == nights.MOST_LODGINGS
    assert offered[0][1] == lodging


# ---- planned again


def test_planning_again_drops_a_night_that_no_longer_pays() -> None:
    cast, _lodging, visits = far_scene()
    away(cast)
    for visit in visits:
        visit.site.latitude, visit.site.longitude = 36.17, -86.79
        visit.site.save()
    week = planned(cast)
    store(cast, week)
    assert all(row.lodging is None and row.start_lodging is None for row in rounds().values())


def test_locked_round_keeps_its_night_and_the_next_day_begins_there() -> None:
    cast, lodging, _visits = far_scene()
    plan = away(cast)
    round_lock(
        week=WEEK, version=plan.version, technician_id=cast.rob.pk, day=MONDAY, locked=True, actor=cast.planner
    )  # fmt: skip
    Lodging.objects.update(archived_at=timezone.now())
    week = planned(cast)
    assert week.asked is not None
    assert week.plan is not None
    tuesday = next(day for day in week.asked.technicians[0].days if day.date == TUESDAY)
    assert (tuesday.start, tuesday.drive_empty) == (f"lodging-{lodging.pk}", True)
    assert check(week.asked, week.plan) == []
    store(cast, week)
    assert rounds()[TUESDAY].start_lodging == lodging
    assert rounds()[MONDAY].lodging == lodging


def test_published_night_stays_when_the_week_is_planned_again() -> None:
    cast, lodging, _visits = far_scene()
    plan = away(cast)
    week_publish(week=WEEK, version=plan.version, actor=cast.planner)
    Lodging.objects.update(archived_at=timezone.now())
    week = planned(cast)
    assert week.asked is not None
    assert week.plan is not None
    assert week.asked.overnights == ()
    assert check(week.asked, week.plan) == []
    assert week.solved.rounds[cast.rob.pk, MONDAY].lodging_id == lodging.pk


def test_ill_on_the_next_day_ends_the_night_that_was_not_begun() -> None:
    """Ill from Monday noon: what is left of Monday ends at home, for there is no Tuesday that begins in the lodging."""
    cast, _lodging, _visits = far_scene()
    away(cast)
    moment = datetime(2026, 12, 6, 18, tzinfo=UTC)
    data = week_problem(WEEK, a_plan(), people(cast)).data
    scope = Scope(moment, (Out(cast.rob.pk, WEEK.sunday, "ill", moment),))
    week = OpenWeek(data, scope, live_rounds(moment))
    solved = week.solve(60, 1, lambda _share, _words: False, iterations=20)
    assert all(timed.is_empty for timed in solved.rounds.values())


# ---- by hand


def test_night_by_hand_times_both_days_anew() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    plan = stay(cast, lodging)
    found = rounds()
    assert found[MONDAY].lodging == found[TUESDAY].start_lodging == lodging
    # The visits are at the lodging's own place: out on Monday, home on Tuesday, no drive between.
    assert found[TUESDAY].stops.get().travel_s < 300
    assert plan.change == "Rob Reef stays the night of Mon 7 Dec at Pine Lodge."
    assert plan.score is not None
    assert (plan.score["nights"], plan.score["lodging"]) == (1, 90.0)


def test_choice_tells_what_it_costs_and_saves() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    evening = Evening(WEEK, a_plan(), cast.rob, MONDAY)
    home, night = evening.choices()
    assert home.is_now
    assert home.saved_m == 0
    assert night.lodging == lodging
    assert night.price == Decimal(90)
    both = sum(timed.distance_m for timed in home.days.values())
    assert night.saved_m == pytest.approx(both / 2, rel=0.01)  # one way out and one home instead of two of each
    cost = sum(timed.cost for timed in home.days.values()) - sum(timed.cost for timed in night.days.values())
    assert float(night.saved) == pytest.approx(cost, abs=0.01)


def test_same_night_twice_is_one_change() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    version = stay(cast, lodging).version
    assert stay(cast, lodging).version == version


def test_taken_away_the_technician_drives_home() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    stay(cast, None)
    assert all(row.lodging is None and row.start_lodging is None for row in rounds().values())


def test_undo_brings_the_night_back() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    plan = stay(cast, None)
    change_undo(week=WEEK, version=plan.version, actor=cast.planner)
    assert rounds()[MONDAY].lodging == rounds()[TUESDAY].start_lodging == lodging


def test_day_without_a_stop_only_drives_home() -> None:
    cast, lodging, visits = a_scene_by_hand()
    stay(cast, lodging)
    visit_move(
        week=WEEK, version=a_plan().version, visit=visits[1], technician_id=None, day=None, position=None,
        actor=cast.planner,
    )  # fmt: skip
    row = rounds()[TUESDAY]
    assert row.stops.count() == 0
    assert row.start_lodging == lodging
    assert row.return_s is not None
    assert row.leave_s is not None
    assert row.return_s - row.leave_s == row.travel_s > 2 * H
    stay(cast, None)
    assert TUESDAY not in rounds()


def refusal(cast: Cast, lodging: Lodging, day: date = MONDAY) -> str:
    before = a_plan().version
    with pytest.raises(RuleBrokenError) as refused:
        stay(cast, lodging, day)
    assert a_plan().version == before
    assert all(row.lodging is None for row in rounds().values())
    return str(refused.value)


def test_refused_where_nights_were_not_agreed() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    cast.rob.may_stay_away = False
    cast.rob.save()
    assert "Rob Reef has not agreed to nights away" in refusal(cast, lodging)


def test_refused_before_a_day_of_leave() -> None:
    cast, lodging, visits = far_scene(minutes=60)
    a_round(cast.rob, visits[:1])
    Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=TUESDAY, reason="wedding")
    assert "does not work on the next day, Tue 8 Dec: wedding. A night away" in refusal(cast, lodging)


def test_refused_before_a_day_off() -> None:
    cast, lodging, visits = far_scene(minutes=60)
    a_round(cast.rob, visits[:1], date(2026, 12, 11))
    assert "does not work on the next day, Sat 12 Dec: day off" in refusal(cast, lodging, date(2026, 12, 11))


def test_refused_beyond_the_nights_agreed() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    cast.rob.most_nights = 1
    cast.rob.save()
    stay(cast, lodging)
    with pytest.raises(RuleBrokenError, match="away 1 night this week already"):
        stay(cast, lodging, TUESDAY)


def test_refused_where_the_round_is_locked() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    Round.objects.filter(date=TUESDAY).update(locked=True)
    assert "is locked" in refusal(cast, lodging)


def test_refused_with_too_little_rest() -> None:
    """A lodging so far off that the day ends late at night: the evening's overtime and the rest say no."""
    cast, _lodging, _visits = a_scene_by_hand()
    assert "overtime" in refusal(cast, a_lodging("Coast", (32.08, -81.09)))


def test_rest_between_the_days_is_told() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    evening = Evening(WEEK, a_plan(), cast.rob, MONDAY)
    choice = evening.choice(lodging)
    days = {key: replace(timed) for key, timed in choice.days.items()}
    days[cast.rob.pk, MONDAY].return_s = 22 * H
    days[cast.rob.pk, TUESDAY].leave_s = 6 * H
    assert evening._short_rests(days) == ["Rob Reef would have only 8 h of rest after Mon 7 Dec, 11 h are needed."]


# ---- the week's states and screens


def test_kept_as_json_and_read_again() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    now = rounds_kept(a_plan())
    assert from_json(json.loads(json.dumps(as_json(now.values())))) == now


def test_state_of_before_nights_were_known_is_still_read() -> None:
    _cast, _lodging, _visits = a_scene_by_hand()
    rows = as_json(rounds_kept(a_plan()).values())
    for row in rows:
        del row["lodging_id"], row["start_lodging_id"]
    assert from_json(rows) == rounds_kept(a_plan())


def test_both_days_of_a_night_change_together_and_say_so() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    old = rounds_kept(a_plan())
    stay(cast, lodging)
    found = difference(WEEK, old, rounds_kept(a_plan()))
    (group,) = found.groups
    assert [key[1] for key in group.keys] == [MONDAY, TUESDAY]
    assert group.nights == ["Rob Reef stays the night of Mon 7 Dec at Pine Lodge."]


def test_proposal_with_a_night_is_taken_whole() -> None:
    cast, lodging, _visits = far_scene()
    visit = a_visit(a_site(cast, "Home bay"))
    a_round(cast.rob, [visit], WEDNESDAY)
    week = planned(cast)
    run = PlanRun.objects.create(plan=a_plan(), requested_by=cast.planner)
    proposal = proposal_make(
        run=run, plan=a_plan(), week=WEEK, technicians=people(cast), solved=week.solved, left_out=[],
        locked=frozenset(), calls=[],
    )  # fmt: skip
    assert proposal is not None
    assert proposal.score["nights"] == 1
    assert rounds().get(MONDAY) is None
    run.state = PlanRun.State.DONE
    run.save()
    proposal_take(
        week=WEEK, version=a_plan().version, proposal_id=proposal.pk, groups=None, actor=cast.planner
    )  # fmt: skip
    assert PlanProposal.objects.get().state == PlanProposal.State.TAKEN
    assert rounds()[MONDAY].lodging == rounds()[TUESDAY].start_lodging == lodging


def test_board_tells_the_night_at_both_days_and_part_is_drawn_alike() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    stay(cast, lodging)
    shown = board(WEEK)
    cells = {cell.day: cell for row in shown.days for cell in row.cells if cell.technician == cast.rob}
    assert "Night at Pine Lodge" in str(cells[MONDAY].ribbon)
    assert "Begins after the night at Pine Lodge" in str(cells[TUESDAY].ribbon)
    assert {figure.key: figure.text for figure in shown.score}["lodging"] == "90.00 USD"
    part = board_part(WEEK, a_plan(), {(cast.rob.pk, MONDAY)})
    assert part.span == shown.span
    assert str(part.cells[0].ribbon) == str(cells[MONDAY].ribbon)


def test_score_counts_nights_and_their_price() -> None:
    cast, lodging, _visits = a_scene_by_hand()
    assert (score_of(WEEK, a_plan())["nights"], score_of(WEEK, a_plan())["lodging"]) == (0, 0.0)
    stay(cast, lodging)
    assert (score_of(WEEK, a_plan())["nights"], score_of(WEEK, a_plan())["lodging"]) == (1, 90.0)


# ---- in force


def published() -> tuple[Cast, Lodging, list[Visit]]:
    cast, lodging, visits = a_scene_by_hand()
    plan = stay(cast, lodging)
    week_publish(week=WEEK, version=plan.version, actor=cast.planner)
    return cast, lodging, visits


def test_published_round_knows_its_lodgings() -> None:
    cast, lodging, _visits = published()
    monday, tuesday = (times_published(row) for row in rounds().values())
    assert monday is not None
    assert tuesday is not None
    assert (monday.nights, tuesday.nights) == ((None, lodging.pk), (lodging.pk, None))
    view = round_view(cast.rob, TUESDAY, draft=False)
    assert view.ends.start.geo_uri == "geo:35.960600,-83.920700"
    assert view.ends.end.is_home


def test_night_taken_away_after_publishing_is_asked_of_its_technician() -> None:
    cast, lodging, _visits = published()
    plan = stay(cast, None)
    week_publish(week=WEEK, version=plan.version, actor=cast.planner)
    asked = list(RoundChange.objects.order_by("round__date"))
    assert len({row.together for row in asked}) == 1
    assert [row.state for row in asked] == ["asked", "asked"]
    assert "You drive home and do not stay at Pine Lodge." in asked[0].words
    assert "The day begins at home." in asked[1].words
    published_now = times_published(rounds()[MONDAY])
    assert published_now is not None
    assert published_now.lodging_id == lodging.pk


def test_live_round_ends_at_the_lodging() -> None:
    cast, _lodging, _visits = published()
    found = live_round(cast.rob, MONDAY, datetime(2026, 12, 7, 14, tzinfo=UTC))
    assert found is not None
    assert found.ends.end.name == "Pine Lodge"
    assert found.run.back_travel_s < 300
    assert found.run.as_times().nights == (None, found.going.times.lodging_id)


def test_urgent_desk_reads_where_the_day_begins_and_ends() -> None:
    cast, lodging, _visits = published()
    days = {row.date: row.day for row in entries_of(MONDAY, WEDNESDAY)}
    monday, tuesday = days[MONDAY], days[TUESDAY]
    assert monday is not None
    assert tuesday is not None
    home, away_at = (cast.rob.home_latitude, cast.rob.home_longitude), (lodging.latitude, lodging.longitude)
    assert (monday.start, monday.end, tuesday.start, tuesday.end) == (home, away_at, away_at, home)


def test_hours_and_costs_drive_from_and_to_the_lodging() -> None:
    cast, _lodging, visits = published()
    plan = a_plan()
    visit_move(
        week=WEEK, version=plan.version, visit=visits[1], technician_id=None, day=None, position=None,
        actor=cast.planner,
    )  # fmt: skip
    for change in Round.objects.filter(date=TUESDAY):  # as if the technician had accepted
        change.published = {**(change.published or {}), "stops": []}
        change.save()
    Visit.objects.filter(pk=visits[0].pk).update(
        started_at=datetime(2026, 12, 7, 18, tzinfo=UTC), ended_at=datetime(2026, 12, 7, 19, tzinfo=UTC),
        state=Visit.State.STARTED,
    )  # fmt: skip
    with time_machine.travel(datetime(2026, 12, 10, 12, tzinfo=UTC)):
        days = {row.day: row for row in actual_days([cast.rob], MONDAY, TUESDAY)}
        work = work_between([cast.rob], MONDAY, TUESDAY)
    assert days[MONDAY].spans[-1].words == "drive to Pine Lodge"
    (only,) = days[TUESDAY].spans
    assert (only.kind, only.words) == ("drive", "drive home")
    assert only.seconds > 2 * H
    assert sum(leg.lodging for leg in work) == Decimal(90)


def test_calendar_tells_the_night() -> None:
    """RFC 5545: a transparent event takes no time; GEO and LOCATION say where."""
    cast, _lodging, _visits = published()
    body = calendar_of(cast.rob, feeds.appointments(cast.rob), lambda _row: "x", feeds.nights_away(cast.rob))
    events = [row for row in Calendar.from_ical(body).walk("VEVENT") if str(row["SUMMARY"]).startswith("Night")]
    (night,) = events
    assert str(night["SUMMARY"]) == "Night at Pine Lodge"
    assert str(night["LOCATION"]) == "4 Ridge Road, Knoxville"
    assert str(night["TRANSP"]) == "TRANSPARENT"
    assert night.decoded("DTSTART").date() == MONDAY
    assert night.decoded("DTEND").date() == TUESDAY
    assert timedelta(hours=11) <= night.decoded("DTEND") - night.decoded("DTSTART")


def test_tracks_and_map_end_at_the_lodging() -> None:
    cast, lodging, _visits = published()
    view = round_view(cast.rob, MONDAY, draft=False)
    line = round_geojson(view)["features"][-1]["geometry"]["coordinates"]
    assert line[0] == [cast.rob.home_longitude, cast.rob.home_latitude]
    assert line[-1] == [lodging.longitude, lodging.latitude]
    assert "End: Pine Lodge" in round_gpx(view)
    assert [row["kind"] for row in documents.map_data(view)["points"]] == ["base", "stop", "lodging"]


# ---- pages


def test_panel_offers_the_night_and_takes_it(signed_in: SignedIn) -> None:
    cast, lodging, _visits = a_scene_by_hand()
    client = signed_in(Role.PLANNER)
    page = f"/week/{WEEK.year}/{WEEK.number}/night/{cast.rob.pk}/{MONDAY}/"
    shown = client.get(page, headers={"HX-Request": "true"}).content.decode()
    assert "90.00 USD a night" in shown
    assert "cheaper than driving home" in shown
    answer = client.post(page, {"version": a_plan().version, "lodging": lodging.pk}, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert rounds()[MONDAY].lodging == lodging
    panel = client.get(f"/week/{WEEK.year}/{WEEK.number}/round/{cast.rob.pk}/{TUESDAY}/").content.decode()
    assert "leaves Pine Lodge, after the night" in panel


def test_panel_says_why_not(signed_in: SignedIn) -> None:
    cast, lodging, _visits = a_scene_by_hand()
    Leave.objects.create(technician=cast.rob, first_day=TUESDAY, last_day=TUESDAY, reason="wedding")
    page = f"/week/{WEEK.year}/{WEEK.number}/night/{cast.rob.pk}/{MONDAY}/"
    client = signed_in(Role.PLANNER)
    assert "does not work on the next day" in client.get(page).content.decode()
    answer = client.post(page, {"version": a_plan().version, "lodging": lodging.pk}, headers={"HX-Request": "true"})
    assert answer.status_code == 422
    assert "does not work on the next day" in answer.content.decode()


def test_my_round_ends_at_the_lodging_and_begins_there() -> None:
    cast, _lodging, _visits = published()
    client = Client()
    client.force_login(cast.rob.user, backend="django.contrib.auth.backends.ModelBackend")
    evening = client.get(f"/round/{MONDAY}/").content.decode()
    assert "Night at Pine Lodge" in evening
    assert "geo:35.960600,-83.920700" in evening
    assert "Ring 555-0177" in evening
    morning = client.get(f"/round/{TUESDAY}/").content.decode()
    assert "Leave Pine Lodge" in morning


def test_round_sheet_tells_the_night() -> None:
    cast, _lodging, _visits = published()
    context = documents.sheet_context(round_view(cast.rob, MONDAY, draft=False))
    text = render_to_string("routes/parts/sheet.html", context)
    assert "Night at Pine Lodge" in text
    assert "4 Ridge Road, Knoxville" in text
    assert "ring 555-0177" in text
