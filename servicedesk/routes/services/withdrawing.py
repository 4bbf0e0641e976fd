"""An urgent call is taken back from whoever was given it, so that it can be given to somebody else."""

from uuid import uuid5

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.consumables.models import LoanReservation
from servicedesk.consumables.services import loan_reservation_end
from servicedesk.people.models import User
from servicedesk.routes.models import MoveNotice, Round, RoundChange, UrgentCall, WeekPlan
from servicedesk.routes.queries.changes import part_of
from servicedesk.routes.services.changes import change_take_back, changes_tell
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.versions import RuleBrokenError, plan_locked, plan_open, refuse_while_planned
from servicedesk.routes.times import Week
from servicedesk.visits.models import HandOn, Visit
from servicedesk.visits.queries.schedule import OPEN
from servicedesk.visits.services.schedule import visit_cancel

ASKED, REFUSED = RoundChange.State.ASKED, RoundChange.State.REFUSED


@transaction.atomic
def call_withdraw(*, call: UrgentCall, actor: User) -> None:
    """Give the call to nobody; twice changes nothing.

    A question not accepted is withdrawn and the round is as published again; what is in force already is taken off
    at once, and the technician is told. The drafts to clients whose hour moved go with it.
    """
    visit = Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=call.visit_id)
    if visit.state == Visit.State.CANCELLED:
        return
    names = {"site": visit.site, "name": call.technician, "day": date_format(call.date, "D j M")}
    if visit.state not in OPEN:
        raise RuleBrokenError([_("%(name)s has begun at %(site)s or was there; nothing is taken back.") % names])
    week = Week.of(call.date)
    plan = plan_locked(week, plan_open(week).version)
    refuse_while_planned(plan)
    was_published = plan.state == WeekPlan.State.PUBLISHED
    question = call.round.changes.first() if call.round is not None else None
    if question is not None and question.state in {ASKED, REFUSED}:
        change_take_back(change_id=question.pk, version=plan.version, actor=actor)
    else:
        _take_off(week, plan, visit, call, actor)
    visit_cancel(visit=visit, reason=_("The urgent call was taken back from %(name)s, %(day)s.") % names, actor=actor)
    plan = WeekPlan.objects.get(pk=plan.pk)
    plan.left_out = [row for row in plan.left_out if str(row["visit"]) != str(visit.pk)]
    if was_published:
        plan.state = WeekPlan.State.PUBLISHED
    plan.save(update_fields=["left_out", "state"])
    MoveNotice.objects.filter(call=call, state=MoveNotice.State.DRAFT).delete()
    _free_machine(visit, actor)


def _take_off(week: Week, plan: WeekPlan, visit: Visit, call: UrgentCall, actor: User) -> None:
    if not visit.stops.filter(round__plan=plan).exists():
        return
    visit_move(
        week=week, version=plan.version, visit=visit, technician_id=None, day=None, position=None, actor=actor
    )  # fmt: skip
    row = Round.objects.filter(urgent_calls=call, published__isnull=False).first()
    if row is not None:
        changes_tell(
            parts=[part_of(row)], waiting=(), actor=actor,
            why=_("The urgent call at %(site)s was taken back.") % {"site": visit.site},
        )  # fmt: skip


def _free_machine(visit: Visit, actor: User) -> None:
    kept = LoanReservation.objects.filter(pk=uuid5(visit.pk, "machine")).first()
    if kept is not None:
        loan_reservation_end(reservation=kept, actor=actor)
    HandOn.objects.filter(pk=uuid5(visit.pk, "bring"), settled_by_visit=None).update(settled_by_visit=visit)
