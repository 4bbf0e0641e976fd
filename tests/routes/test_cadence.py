"""The look ahead from the database, and what accepting a proposal does to an agreement's visits."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from servicedesk.clients.models import Agreement, Closure
from servicedesk.common.recurrence import Cadence, to_rule
from servicedesk.people.models import Leave
from servicedesk.planner.cadence import Call, Slot
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal
from servicedesk.routes.queries.cadence import WEEKS, change_of, first_monday, look_input, slot_of
from servicedesk.routes.services import cadence as services
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import agreement_extend
from tests.routes.cast import MURFREESBORO, NASHVILLE, WEEK, Cast, a_round, a_site, an_agreement, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("before_the_week")]
TODAY, FIRST = date(2026, 12, 3), WEEK.monday
WEEKDAYS = [(day, time(8), time(17)) for day in range(5)]
TUESDAY, THURSDAY = 1, 3


def agreed(cast: Cast, name: str, first: date, every: int = 1, at: tuple[float, float] = MURFREESBORO,
           **over: object) -> Agreement:  # fmt: skip
    """An agreement on the weekday of its first visit, with its visits made."""
    site = a_site(cast, name, at, WEEKDAYS)
    rule = to_rule(Cadence("weeks", every, (first.weekday(),)))
    agreement = an_agreement(site, rule=rule, first_visit_on=first, **over)
    agreement_extend(agreement=agreement, today=TODAY)
    return agreement


def looked(cast: Cast) -> CadenceLook:
    look = services.look_request(today=TODAY, actor=cast.planner)
    services.look_execute(look.pk)
    look.refresh_from_db()
    assert look.state == "done", look.message
    return look


def call_of(agreement: Agreement) -> Call:
    return next(row for row in look_input(FIRST, WEEKS).look.calls if row.id == f"{agreement.pk:08}")


def days(agreement: Agreement) -> list[date]:
    rows = agreement.visits.exclude(state="cancelled").order_by("due_on")
    return list(rows.values_list("due_on", flat=True))


def test_slot_is_the_weekday_and_the_week_of_the_cycle() -> None:
    first = date(2026, 12, 8)
    rule = to_rule(Cadence("weeks", 2, (TUESDAY,)))
    slots = [slot_of(Agreement(rule=rule, first_visit_on=first + timedelta(days=7 * n))) for n in range(3)]
    assert slots[0] == slots[2] != slots[1]
    assert {slot[0].weekday for slot in slots if slot} == {TUESDAY}


@pytest.mark.parametrize(
    ("cadence", "anchored"),
    [(Cadence("months", 1, (1,), 2), True), (Cadence("weeks", 1, (1, 3)), True), (Cadence("weeks", 1, (1,)), False)],
)
def test_what_has_no_single_slot_is_counted_but_not_moved(cadence: Cadence, anchored: bool) -> None:
    cast = the_cast()
    site = a_site(cast, "Pier", MURFREESBORO, WEEKDAYS)
    first = date(2026, 12, 8)
    agreement = an_agreement(site, rule=to_rule(cadence), first_visit_on=first, anchored=anchored)
    agreement_extend(agreement=agreement, today=TODAY)
    row = call_of(agreement)
    assert len(row.options) == 1
    assert row.options[0].days


def test_holidays_closures_and_leave_are_seen_months_before() -> None:
    cast = the_cast()
    site = a_site(cast, "Pier", MURFREESBORO, WEEKDAYS, holiday_region="US-TN")
    agreement = an_agreement(site, rule=to_rule(Cadence("weeks", 1, (4,))), first_visit_on=date(2026, 12, 11))
    Closure.objects.create(site=site, first_day=date(2027, 2, 1), last_day=date(2027, 2, 5), reason="works")
    Leave.objects.create(technician=cast.rob, first_day=date(2027, 2, 8), last_day=date(2027, 2, 12))
    data = look_input(FIRST, WEEKS)
    (row,) = data.look.calls
    due = [FIRST + timedelta(days=day) for day in row.options[0].days]
    assert date(2026, 12, 25) not in due  # Christmas Day, a Friday: later by the agreement's rule
    assert date(2026, 12, 28) in due
    assert date(2027, 2, 5) not in due  # closed: earlier by the agreement's rule
    assert date(2027, 1, 29) in due
    rob = next(base for base in data.look.bases if base.id == f"{cast.rob.pk:08}")
    assert rob.hours.get((date(2027, 2, 8) - FIRST).days) is None
    assert rob.hours[(date(2027, 2, 15) - FIRST).days] == 8 * 3600
    assert agreement.pk == int(row.id)


def test_only_allowed_days_are_offered() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 12, 8), allowed_weekdays=[1, 2])
    assert {option.slot.weekday for option in call_of(agreement).options} == {1, 2}


def test_far_neighbours_are_proposed_onto_one_day_and_the_saving_is_told() -> None:
    cast = the_cast()
    agreed(cast, "Pier", date(2026, 12, 8))
    agreed(cast, "Quay", date(2026, 12, 10))
    look = looked(cast)
    (row,) = look.proposals.all()
    assert row.saved_m > 9 * 2 * 50_000 * 0.9
    assert (row.saved_m, row.saved_s) == (row.alone_m, row.alone_s)
    assert row.neighbours == [{"Pier": "Quay", "Quay": "Pier"}[row.agreement.site.name]]
    weeks = (look.result or {})["weeks"]
    assert len(weeks) == WEEKS
    saved = sum(week["now"]["metres"] - week["proposed"]["metres"] for week in weeks)
    assert saved == row.saved_m


def test_look_twice_delivered_is_worked_once_and_one_at_a_time_is_asked() -> None:
    cast = the_cast()
    agreed(cast, "Pier", date(2026, 12, 8))
    first = services.look_request(today=TODAY, actor=cast.planner)
    assert services.look_request(today=TODAY, actor=cast.planner) == first
    services.look_execute(first.pk)
    services.look_execute(first.pk)
    assert CadenceLook.objects.get().state == "done"


def test_look_of_a_lost_worker_is_ended_at_the_next() -> None:
    cast = the_cast()
    first = services.look_request(today=TODAY, actor=cast.planner)
    CadenceLook.objects.update(state="running", heartbeat_at=datetime(2026, 12, 3, 14, tzinfo=UTC))
    assert services.look_request(today=TODAY, actor=cast.planner) != first
    first.refresh_from_db()
    assert first.state == "failed"


def proposal(cast: Cast, agreement: Agreement, weekday: int, phase: int = 0, every: int = 1) -> CadenceProposal:
    look = CadenceLook.objects.create(first_day=FIRST, state="done", result={"weeks": []})
    change = change_of(agreement, Slot(weekday, phase), every, TODAY)
    return CadenceProposal.objects.create(
        look=look, agreement=agreement, rule_before=agreement.rule, first_visit_before=agreement.first_visit_on,
        rule=to_rule(Cadence("weeks", every, (weekday,))), first_on=change.first_on, saved_s=1, saved_m=1, alone_s=1,
        alone_m=1,
    )  # fmt: skip


def test_accepted_weekday_holds_from_the_next_week_on_and_this_week_stays() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 11, 27))  # Fridays
    services.proposal_accept(proposal=proposal(cast, agreement, TUESDAY), actor=cast.planner)
    found = days(agreement)
    assert found[:3] == [date(2026, 12, 4), date(2026, 12, 8), date(2026, 12, 15)]
    assert {day.weekday() for day in found[1:]} == {TUESDAY}
    agreement.refresh_from_db()
    assert agreement.first_visit_on == date(2026, 12, 8)
    agreement_extend(agreement=agreement, today=TODAY)
    assert days(agreement) == found


def test_other_week_of_the_fortnight_shortens_one_wait_and_never_lengthens_it() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 12, 1), 2)
    Visit.objects.create(
        site=agreement.site, agreement=agreement, due_on=date(2026, 12, 1), earliest_on=date(2026, 12, 1),
        latest_on=date(2026, 12, 1), occurrence_on=date(2026, 12, 1), duration_min=60, state="signed",
        signed_at=datetime(2026, 12, 1, 15, tzinfo=UTC),
    )  # fmt: skip
    now = slot_of(agreement)
    assert now is not None
    other = (now[0].phase + 1) % 2
    services.proposal_accept(proposal=proposal(cast, agreement, TUESDAY, other, 2), actor=cast.planner)
    found = days(agreement)
    assert found[:3] == [date(2026, 12, 1), date(2026, 12, 8), date(2026, 12, 22)]


def test_visits_given_out_or_on_a_plan_stay_and_the_new_days_begin_after_them() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 12, 11))
    planned = agreement.visits.get(due_on=date(2026, 12, 11))
    a_round(cast.rob, [planned], date(2026, 12, 11))
    agreement.visits.filter(due_on=date(2026, 12, 18)).update(state="published")
    services.proposal_accept(proposal=proposal(cast, agreement, TUESDAY), actor=cast.planner)
    assert days(agreement)[:4] == [date(2026, 12, 11), date(2026, 12, 18), date(2026, 12, 22), date(2026, 12, 29)]


def test_accepting_twice_changes_nothing_more() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 11, 27))
    row = proposal(cast, agreement, TUESDAY)
    services.proposal_accept(proposal=row, actor=cast.planner)
    found = days(agreement)
    services.proposal_accept(proposal=row, actor=cast.planner)
    assert days(agreement) == found


def test_agreement_changed_since_is_not_overwritten() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 11, 27))
    row = proposal(cast, agreement, TUESDAY)
    Agreement.objects.update(rule=to_rule(Cadence("weeks", 2, (4,))))
    with pytest.raises(ValidationError, match="changed since"):
        services.proposal_accept(proposal=row, actor=cast.planner)
    row.refresh_from_db()
    assert row.state == "open"


def test_refused_stays_as_it_is_and_what_was_accepted_is_not_refused() -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 11, 27))
    row, found = proposal(cast, agreement, TUESDAY), days(agreement)
    services.proposal_refuse(proposal=row, actor=cast.planner)
    assert days(agreement) == found
    services.proposal_accept(proposal=row, actor=cast.planner)
    with pytest.raises(ValidationError, match="accepted"):
        services.proposal_refuse(proposal=row, actor=cast.planner)


def test_clock_change_moves_no_day() -> None:
    """The clocks go forward on 14 March 2027 in the site's zone: visits are dates there."""
    cast = the_cast()
    with time_machine.travel(datetime(2027, 3, 4, 15, tzinfo=UTC)):
        site = a_site(cast, "Pier", NASHVILLE, WEEKDAYS)
        agreement = an_agreement(site, rule=to_rule(Cadence("weeks", 1, (3,))), first_visit_on=date(2027, 3, 4))
        agreement_extend(agreement=agreement, today=date(2027, 3, 4))
        look = CadenceLook.objects.create(first_day=first_monday(date(2027, 3, 4)), state="done", result={"weeks": []})
        row = CadenceProposal.objects.create(
            look=look, agreement=agreement, rule_before=agreement.rule, first_visit_before=agreement.first_visit_on,
            rule=to_rule(Cadence("weeks", 1, (0,))), first_on=date(2027, 3, 8), saved_s=1, saved_m=1, alone_s=1,
            alone_m=1,
        )  # fmt: skip
        services.proposal_accept(proposal=row, actor=cast.planner)
        assert days(agreement)[:3] == [date(2027, 3, 4), date(2027, 3, 8), date(2027, 3, 15)]


def test_planner_looks_ahead_and_accepts_on_the_page(client: Client) -> None:
    cast = the_cast()
    agreed(cast, "Pier", date(2026, 12, 8))
    agreed(cast, "Quay", date(2026, 12, 10))
    client.force_login(cast.planner, backend="django.contrib.auth.backends.ModelBackend")
    url = reverse("routes:cadence")
    assert "Look 10 weeks ahead" in client.get(url).content.decode()
    client.post(reverse("routes:cadence-look"))
    assert "Looking ahead" in client.get(url).content.decode()
    services.look_execute(CadenceLook.objects.get().pk)
    assert client.get(reverse("routes:cadence-progress"))["HX-Refresh"] == "true"
    with CaptureQueriesContext(connection) as queries:
        page = client.get(url).content.decode()
    assert len(queries) <= 30
    row = CadenceProposal.objects.get()
    assert "What it saves if all is accepted" in page
    assert f"Accept for {row.agreement.site.name}" in page
    client.post(reverse("routes:cadence-decide", args=[row.pk]), {"answer": "accept"})
    row.refresh_from_db()
    assert (row.state, row.decided_by) == ("accepted", cast.planner)
    row.agreement.refresh_from_db()
    assert row.agreement.rule == row.rule


def test_office_sees_it_but_does_not_decide(client: Client) -> None:
    cast = the_cast()
    agreement = agreed(cast, "Pier", date(2026, 11, 27))
    row = proposal(cast, agreement, TUESDAY)
    client.force_login(cast.office, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(reverse("routes:cadence")).content.decode()
    assert "to be decided" in page
    assert "Accept" not in page.replace("Accept after", "").replace("accepted", "").replace("if all is", "")
    assert client.post(reverse("routes:cadence-decide", args=[row.pk]), {"answer": "accept"}).status_code == 403
