"""Rounds put into another order by hand: timed together, refused in words where a hard rule is broken, stored."""

from collections.abc import Collection, Mapping, Sequence
from uuid import UUID

from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.crews import Key, helper_of, visit_of
from servicedesk.routes.models import Stop, WeekPlan
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.refusals import broken_by
from servicedesk.routes.services.storing import rounds_store, site_elsewhere
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.routes.timed import Timed

Orders = Mapping[Key, Sequence[str]]


def rounds_arrange(
    *,
    plan: WeekPlan,
    problem: WeekProblem,
    technicians: dict[int, Technician],
    orders: Orders,
    asked: Collection[Key],
) -> None:
    """Make rounds what ``orders`` says. ``asked``: those that somebody puts something into, or ends elsewhere.

    What this breaks refuses the change.
    """
    stand = {call for order in problem.data.orders.values() for call in order}
    refuse_elsewhere(plan, {visit_of(call) for order in orders.values() for call in order if call not in stand})
    timed = problem.together(orders)
    broken = broken_by(problem, orders, timed, asked)
    if broken:
        raise RuleBrokenError(broken)
    stay = {key for key, order in orders.items() if order and not timed[key].stops}
    for key in stay:
        _shorten(plan, key, orders[key])
    visits = {UUID(visit_of(call)) for key, order in orders.items() if key not in stay for call in order}
    locked = Stop.objects.filter(round__plan=plan, locked=True, visit__in=visits).values_list("visit_id", flat=True)
    new = {
        key: row
        for key, row in timed.items()
        if key not in stay and (key in asked or _is_otherwise(problem, key, orders, row))
    }
    rounds_store(plan, technicians, new, frozenset(map(str, locked)))


def refuse_elsewhere(plan: WeekPlan, visits: Collection[str]) -> None:
    """What comes from another week has to leave its round there first."""
    site = site_elsewhere(plan, visits)
    if site is not None:
        words = _("%(site)s is on a round of another week meanwhile; take it off there first.")
        raise RuleBrokenError([words % {"site": site.name}])


def _is_otherwise(problem: WeekProblem, key: Key, orders: Orders, timed: Timed) -> bool:
    """A round that only stands beside those that change is not written anew."""
    old = problem.data.orders.get(key, [])
    return list(orders[key]) != old or timed.stops != problem.timed(key, old).stops


def _shorten(plan: WeekPlan, key: Key, order: Sequence[str]) -> None:
    """The technician no longer works that day: the rest stays as it is until it is moved too."""
    for stop in Stop.objects.filter(round__plan=plan, round__technician=key[0], round__date=key[1]):
        pk = str(stop.visit_id)
        if (helper_of(pk) if stop.helps else pk) not in order:
            stop.delete()
