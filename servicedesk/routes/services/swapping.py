"""Two rounds change places: what one technician's day holds goes to the other, and back."""

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician, User
from servicedesk.routes.kept import Key
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.planning import week_problem
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
from servicedesk.visits.queries.schedule import OPEN


@transaction.atomic
def rounds_swap(*, week: Week, version: int, one: Key, other: Key, actor: User) -> WeekPlan:
    """Exchange the visits of two rounds in their order and time both anew; a hard rule broken refuses it in words."""
    plan = plan_locked(week, version)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    _refuse(week, plan, technicians, one, other)
    stops = {key: _stops(plan, key) for key in (one, other)}
    if not stops[one] and not stops[other]:
        raise RuleBrokenError([_("Both days are empty: there is nothing to swap.")])
    problem = week_problem(week, plan, technicians, only={one, other})
    standing = problem.data.orders
    swapped = {one: standing.get(other, []), other: standing.get(one, [])}
    moved = {call: key[1] for key, order in swapped.items() for call in order}
    near = [words for key, order in swapped.items() for call in order for words in problem.too_near(key, call, moved)]
    if near:
        raise RuleBrokenError(near)
    before = plan.score
    orders = standing | swapped
    rounds_arrange(plan=plan, problem=problem, technicians=technicians, orders=orders, asked=swapped.keys())
    plan.score = with_change(score_of(week, plan), before)
    plan_changed(plan, actor=actor, words=_("%(one)s and %(other)s were swapped.") % {
        "one": _name(technicians, one), "other": _name(technicians, other),
    })  # fmt: skip
    return plan


def _refuse(week: Week, plan: WeekPlan, technicians: dict[int, Technician], one: Key, other: Key) -> None:
    refuse_while_planned(plan)
    if one == other or any(key[0] not in technicians or key[1] not in week.days for key in (one, other)):
        raise RuleBrokenError([_("Choose another technician or another day of this week.")])
    for key in (one, other):
        refuse_over(technicians[key[0]], key[1])
        if Round.objects.filter(plan=plan, technician=key[0], date=key[1], locked=True).exists():
            raise RuleBrokenError(
                [_("The round of %(name)s is locked. Free it first.") % {"name": technicians[key[0]]}]
            )
    for stop in [*_stops(plan, one), *_stops(plan, other)]:
        if stop.locked:
            raise RuleBrokenError([_("%(site)s is locked where it is. Free it first.") % {"site": stop.visit.site}])
        if stop.visit.state not in OPEN:
            words = _("%(site)s was started or ended; its round cannot be swapped any more.")
            raise RuleBrokenError([words % {"site": stop.visit.site}])


def _stops(plan: WeekPlan, key: Key) -> list[Stop]:
    rows = Stop.objects.filter(round__plan=plan, round__technician=key[0], round__date=key[1])
    return list(rows.select_related("visit__site__client").order_by("position"))


def _name(technicians: dict[int, Technician], key: Key) -> str:
    return _("%(name)s, %(day)s") % {"name": technicians[key[0]], "day": date_format(key[1], "D j M")}
