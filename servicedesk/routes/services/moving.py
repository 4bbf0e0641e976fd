"""A planner's own changes of a week: move a visit, take it off, lock it or a whole round."""

from datetime import date
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician, User
from servicedesk.routes.models import PlanRun, Round, Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.services.storing import round_store
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

Key = tuple[int, date]


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
    """Put a visit on a technician's day, at a place in its order, and time both rounds anew.

    A hard rule broken refuses the move in words; a soft one is kept as a warning on the round.
    Without a technician the visit goes back to the tray; without a position it goes where it costs least.
    """
    plan = plan_locked(week, version)
    _refuse_while_planned(plan)
    stop = Stop.objects.filter(round__plan=plan, visit=visit).select_related("round").first()
    _refuse_fixed(visit, stop)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    target = _target(week, technicians, technician_id, day)
    if (
        target is not None
        and Round.objects.filter(plan=plan, technician=target[0], date=target[1], locked=True).exists()
    ):
        raise RuleBrokenError([_("That round is locked. Free it first.")])
    source = (stop.round.technician_id, stop.round.date) if stop is not None else None
    touched = {key for key in (source, target) if key is not None}
    problem = week_problem(week, plan, technicians, wanted=visit, only=touched)
    orders = {key: list(order) for key, order in problem.data.orders.items()}
    if source is not None:
        orders[source].remove(str(visit.pk))
    before = plan.score
    if target is not None:
        _insert(problem, orders, target, str(visit.pk), position)
    for key in touched:
        _store(plan, problem, technicians, key, orders.get(key, []))
    plan.left_out = [row for row in plan.left_out if row["visit"] != str(visit.pk)]
    if target is None:
        plan.left_out.append(
            {"visit": str(visit.pk), "state": "waits", "reason": _("Taken off its round by hand."), "cost": None}
        )
    plan.score = with_change(score_of(week, plan), before)
    plan_changed(plan, actor=actor, words=_move_words(visit, technicians, target))
    return plan


def _refuse_while_planned(plan: WeekPlan) -> None:
    if plan.runs.filter(state__in=[PlanRun.State.QUEUED, PlanRun.State.RUNNING]).exists():
        raise RuleBrokenError([_("The week is being planned. Stop the planning or wait for it, then make the change.")])


def _refuse_fixed(visit: Visit, stop: Stop | None) -> None:
    if visit.state not in OPEN:
        raise RuleBrokenError([_("%(site)s was started or ended; it cannot be moved any more.") % {"site": visit.site}])
    if stop is not None and (stop.locked or stop.round.locked):
        raise RuleBrokenError([_("%(site)s is locked where it is. Free it first.") % {"site": visit.site}])


def _target(week: Week, technicians: dict[int, Technician], technician_id: int | None, day: date | None) -> Key | None:
    if technician_id is None or day is None:
        return None
    if technician_id not in technicians or day not in week.days:
        raise RuleBrokenError([_("Choose a technician and a day of this week.")])
    zone_today = timezone.localdate()
    if day < zone_today:
        raise RuleBrokenError([_("%(day)s is over; choose today or later.") % {"day": date_format(day)}])
    return technician_id, day


def _insert(problem: WeekProblem, orders: dict[Key, list[str]], target: Key, visit: str, position: int | None) -> None:
    """Put the visit into the order, or say which hard rules forbid it."""
    order = orders.setdefault(target, [])
    if position is None:
        position = problem.best_place(target, order, visit) + 1
    order.insert(min(position, len(order) + 1) - 1, visit)
    broken = [*problem.timed(target, order).hard, *problem.too_near(target, visit)]
    if broken:
        raise RuleBrokenError(broken)


def _store(
    plan: WeekPlan, problem: WeekProblem, technicians: dict[int, Technician], key: Key, order: list[str]
) -> None:
    locked = frozenset(
        str(pk)
        for pk in Stop.objects.filter(round__plan=plan, locked=True, visit_id__in=order).values_list(
            "visit_id", flat=True
        )
    )
    timed, pks = problem.timed(key, order), [UUID(pk) for pk in order]
    if order and not timed.stops:  # the technician no longer works that day: the rest stays until it is moved too
        Stop.objects.filter(round__technician=key[0], round__date=key[1]).exclude(visit__in=pks).delete()
        return
    Stop.objects.filter(round__plan=plan, visit__in=pks).delete()
    round_store(plan, technicians[key[0]], key[1], timed, locked)


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
    """Lock a visit to its round and day, or free it; planning leaves what is locked where it is."""
    plan = plan_locked(week, version)
    _refuse_while_planned(plan)
    stop = Stop.objects.filter(round__plan=plan, visit=visit_id).select_related("visit__site").first()
    if stop is None:
        raise RuleBrokenError([_("This visit is on no round of the week.")])
    if stop.locked == locked:
        return plan
    stop.locked = locked
    stop.save(update_fields=["locked"])
    words = _("%(site)s was locked.") if locked else _("%(site)s was freed.")
    _noted(plan, actor, words % {"site": stop.visit.site})
    return plan


@transaction.atomic
def round_lock(*, week: Week, version: int, technician_id: int, day: date, locked: bool, actor: User) -> WeekPlan:
    """Lock a whole round, or free it."""
    plan = plan_locked(week, version)
    _refuse_while_planned(plan)
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
