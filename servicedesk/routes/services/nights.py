"""A planner's own nights away: set one, change where it is spent, or take it away."""

from datetime import date

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Lodging, User
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.queries.nights import Evening
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.services.arranging import rounds_arrange
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked, refuse_while_planned
from servicedesk.routes.times import Week


@transaction.atomic
def night_set(
    *, week: Week, version: int, technician_id: int, day: date, lodging_id: int | None, actor: User
) -> WeekPlan:
    """Spend the night after a technician's day at a lodging, or at home; both days are timed anew.

    The rounds of others that share a visit for two go along. A rule broken refuses it in words. Twice changes nothing.
    """
    plan = plan_locked(week, version)
    refuse_while_planned(plan)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    if technician_id not in technicians or day not in week.days:
        raise RuleBrokenError([_("Choose a technician and a day of this week.")])
    evening = Evening(week, plan, technicians[technician_id], day)
    lodging = next((row for row in evening.lodgings if row.pk == lodging_id), None)
    if lodging_id is not None and lodging is None:
        raise RuleBrokenError([_("That lodging is not in use any more. Choose another.")])
    if evening.lodging == lodging:
        return plan
    choice = evening.choice(lodging) if not evening.refused() else None
    broken = evening.refused() or (evening.forbidden() if lodging is not None else [])
    if choice is None or broken or choice.broken:
        raise RuleBrokenError(broken or (choice.broken if choice is not None else []))
    before = plan.score
    Round.objects.filter(plan=plan, technician=technician_id, date=evening.morning[1]).update(start_lodging=lodging)
    problem = evening.with_night(lodging)
    rounds_arrange(plan=plan, problem=problem, technicians=technicians, orders=evening.orders, asked=evening.own)
    plan.score = with_change(score_of(week, plan), before)
    plan_changed(plan, actor=actor, words=_words(evening, lodging))
    return plan


def _words(evening: Evening, lodging: Lodging | None) -> str:
    words = {"name": evening.technician, "day": date_format(evening.night[1], "D j M"), "lodging": lodging}
    if lodging is None:
        return _("%(name)s drives home on %(day)s.") % words
    return _("%(name)s stays the night of %(day)s at %(lodging)s.") % words
