"""Who comes as the second person of a visit for two: chosen, moved or taken off by a planner."""

from datetime import date

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import User
from servicedesk.routes.crews import helper_of
from servicedesk.routes.models import Stop, WeekPlan
from servicedesk.routes.planning import week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.second import best_way
from servicedesk.routes.services.arranging import rounds_arrange
from servicedesk.routes.services.moving import insert, orders_without, refuse_fixed, refuse_locked
from servicedesk.routes.services.versions import (
    RuleBrokenError,
    plan_changed,
    plan_locked,
    refuse_over,
    refuse_while_planned,
)
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit


@transaction.atomic
def helper_set(
    *,
    week: Week,
    version: int,
    visit: Visit,
    technician_id: int | None,
    day: date | None,
    position: int | None,
    actor: User,
) -> WeekPlan:
    """Put the second person's part of a visit on a technician's round of the visit's own day, or on none.

    Both rounds are timed anew so that both begin together. ``day`` may be left out: it can only be the visit's.
    """
    plan = plan_locked(week, version)
    refuse_while_planned(plan)
    stops = list(Stop.objects.filter(round__plan=plan, visit=visit).select_related("round__technician__user"))
    refuse_fixed(visit, stops)
    own = {stop.helps: stop.round for stop in stops}
    lead, helper = own.get(False), own.get(True)
    if lead is None and technician_id is not None:
        raise RuleBrokenError([_("Put the visit itself on a round first, then choose who helps.")])
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    names = {"site": visit.site.name}
    target = (technician_id, lead.date) if lead is not None and technician_id is not None else None
    if lead is not None and target is not None:
        names |= {"name": str(technicians.get(target[0], "")), "day": date_format(lead.date, "D j M")}
        refuse_over(lead.technician, lead.date)
        if target[0] not in technicians:
            raise RuleBrokenError([_("Choose a technician of this week.")])
        if day not in {None, lead.date}:
            raise RuleBrokenError([_("%(site)s is done on %(day)s: the second person comes on that day.") % names])
        if target[0] == lead.technician_id:
            raise RuleBrokenError([_("%(name)s does %(site)s; the second person is somebody else.") % names])
        refuse_locked(plan, target)
    touched = {(row.technician_id, row.date) for row in (lead, helper) if row is not None}
    problem = week_problem(
        week, plan, technicians, wanted=visit, only=touched | ({target} if target is not None else set())
    )  # fmt: skip
    call = helper_of(str(visit.pk))
    if call not in problem.data.visits:
        raise RuleBrokenError([_("%(site)s needs one person only, as its agreement says.") % names])
    before = plan.score
    orders = orders_without(problem, call, (helper.technician_id, helper.date) if helper is not None else None)
    if target is not None:
        place = best_way(problem, orders, target, call).place + 1 if position is None else position
        insert(problem, orders, target, call, place)
    asked = {target} if target is not None else set()
    rounds_arrange(plan=plan, problem=problem, technicians=technicians, orders=orders, asked=asked)
    plan.score = with_change(score_of(week, plan), before)
    words = _("%(name)s helps at %(site)s, %(day)s.") if target else _("%(site)s: nobody helps any more.")
    plan_changed(plan, actor=actor, words=words % names)
    return plan
