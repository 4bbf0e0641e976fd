"""A planner's own changes of a week: move a visit, take it off, lock it or a whole round."""

from datetime import date
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician, User
from servicedesk.routes.crews import Key, helper_of
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.services.arranging import rounds_arrange
from servicedesk.routes.services.versions import (
    RuleBrokenError,
    plan_changed,
    plan_locked,
    refuse_over,
    refuse_while_planned,
)
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

Orders = dict[Key, list[str]]


@transaction.atomic
def visit_move(
    *,
    week: Week,
    version: int,
    visit: Visit,
    technician_id: int | None,
    day: date | None,
    position: int | None,
    actor: User,
) -> WeekPlan:
    """Put a visit on a technician's day, at a place in its order, and time anew all rounds that this touches.

    A hard rule broken refuses the move in words; a soft one is kept as a warning on the round.
    Without a technician the visit goes back to the tray; without a position it goes where it costs least.
    Whoever helps goes on helping where the visit stays on the day, else is freed.
    """
    plan = plan_locked(week, version)
    refuse_while_planned(plan)
    stops = list(Stop.objects.filter(round__plan=plan, visit=visit).select_related("round__technician__user"))
    refuse_fixed(visit, stops)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    target = _target(week, technicians, technician_id, day)
    if target is not None:
        refuse_locked(plan, target)
    own = {stop.helps: (stop.round.technician_id, stop.round.date) for stop in stops}
    touched = {*own.values(), *([target] if target is not None else [])}
    problem = week_problem(week, plan, technicians, wanted=visit, only=touched)
    orders = orders_without(problem, str(visit.pk), own.get(False))
    helper = own.get(True)
    freed = helper is not None and (target is None or target[1] != helper[1] or target[0] == helper[0])
    if helper is not None and freed:
        orders[helper].remove(helper_of(str(visit.pk)))
    before = plan.score
    if target is not None:
        insert(problem, orders, target, str(visit.pk), position)
        too_near = problem.too_near(target, str(visit.pk))
        if too_near:
            raise RuleBrokenError(too_near)
    asked = {target} if target is not None else set()
    rounds_arrange(plan=plan, problem=problem, technicians=technicians, orders=orders, asked=asked)
    plan.left_out = [row for row in plan.left_out if row["visit"] != str(visit.pk)]
    if target is None:
        plan.left_out.append(
            {"visit": str(visit.pk), "state": "waits", "reason": _("Taken off its round by hand."), "cost": None}
        )
    plan.score = with_change(score_of(week, plan), before)
    words = _move_words(visit, technicians, target)
    if helper is not None and freed:
        words = f"{words} {_('%(name)s does not help there any more.') % {'name': technicians[helper[0]]}}"
    plan_changed(plan, actor=actor, words=words)
    return plan


def refuse_fixed(visit: Visit, stops: list[Stop]) -> None:
    if visit.state not in OPEN:
        raise RuleBrokenError([_("%(site)s was started or ended; it cannot be moved any more.") % {"site": visit.site}])
    if any(stop.locked or (stop.round.locked and not stop.helps) for stop in stops):
        raise RuleBrokenError([_("%(site)s is locked where it is. Free it first.") % {"site": visit.site}])


def refuse_locked(plan: WeekPlan, target: Key) -> None:
    if Round.objects.filter(plan=plan, technician=target[0], date=target[1], locked=True).exists():
        raise RuleBrokenError([_("That round is locked. Free it first.")])


def orders_without(problem: WeekProblem, call: str, key: Key | None) -> Orders:
    """The rounds as they stand, less a call."""
    orders = {own: list(order) for own, order in problem.data.orders.items()}
    if key is not None:
        orders[key].remove(call)
    return orders


def insert(problem: WeekProblem, orders: Orders, target: Key, call: str, position: int | None) -> None:
    """Put a call into a round; without a position where it costs least."""
    order = orders.setdefault(target, [])
    if position is None:
        position = problem.best_place(target, order, call) + 1
    order.insert(min(position, len(order) + 1) - 1, call)


def _target(week: Week, technicians: dict[int, Technician], technician_id: int | None, day: date | None) -> Key | None:
    if technician_id is None or day is None:
        return None
    if technician_id not in technicians or day not in week.days:
        raise RuleBrokenError([_("Choose a technician and a day of this week.")])
    refuse_over(technicians[technician_id], day)
    return technician_id, day


def _move_words(visit: Visit, technicians: dict[int, Technician], target: Key | None) -> str:
    if target is None:
        return _("%(site)s was taken off its round.") % {"site": visit.site}
    return _("%(site)s was moved to %(name)s, %(day)s.") % {
        "site": visit.site,
        "name": technicians[target[0]],
        "day": date_format(target[1], "D j M"),
    }


@transaction.atomic
def stop_lock(*, week: Week, version: int, visit_id: UUID, locked: bool, actor: User) -> WeekPlan:
    """Lock a visit to its round and day, or free it; planning leaves what is locked where it is.

    Of a visit for two both parts are locked, and their hour with them.
    """
    plan = plan_locked(week, version)
    refuse_while_planned(plan)
    stops = Stop.objects.filter(round__plan=plan, visit=visit_id).select_related("visit__site").order_by("helps")
    first = stops.first()
    if first is None:
        raise RuleBrokenError([_("This visit is on no round of the week.")])
    if not stops.exclude(locked=locked).exists():
        return plan
    stops.update(locked=locked)
    words = _("%(site)s was locked.") if locked else _("%(site)s was freed.")
    _noted(plan, actor, words % {"site": first.visit.site})
    return plan


@transaction.atomic
def round_lock(*, week: Week, version: int, technician_id: int, day: date, locked: bool, actor: User) -> WeekPlan:
    """Lock a whole round, or free it."""
    plan = plan_locked(week, version)
    refuse_while_planned(plan)
    row = plan.rounds.filter(technician=technician_id, date=day).select_related("technician__user").first()
    if row is None:
        raise RuleBrokenError([_("There is no such round in this week.")])
    if row.locked == locked:
        return plan
    row.locked = locked
    row.save(update_fields=["locked"])
    words = (
        _("The round of %(name)s, %(day)s was locked.") if locked else _("The round of %(name)s, %(day)s was freed.")
    )
    _noted(plan, actor, words % {"name": row.technician, "day": date_format(day, "D j M")})
    return plan


def _noted(plan: WeekPlan, actor: User, words: str) -> None:
    """A lock changes no round, so a published week stays published."""
    state = plan.state
    plan_changed(plan, actor=actor, words=words)
    WeekPlan.objects.filter(pk=plan.pk).update(state=state)
    plan.state = state
