"""Publishing a week: visits are given to technicians, and the hours may be told to the clients.

A round that a technician has in hand already is not changed under them: its changes are asked (services/changes).
Only what somebody who is out cannot do any more is taken off them at once, so that nobody waits for their answer.
"""

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import User
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries.absence import rounds_to_publish, set_apart
from servicedesk.routes.queries.changes import Part, linked, needs_asking, part_of
from servicedesk.routes.queries.refusals import refusals_overridden
from servicedesk.routes.services.changes import changes_ask, changes_tell, changes_withdraw
from servicedesk.routes.services.in_force import rounds_in_force
from servicedesk.routes.services.versions import RuleBrokenError, plan_locked, refuse_while_planned
from servicedesk.routes.times import Week


@transaction.atomic
def week_publish(*, week: Week, version: int, actor: User, ask_again: bool = False) -> WeekPlan:
    """Give each visit its technician, date and hour, or ask those who were given another. Twice changes nothing.

    What a technician refused is put to them a second time only when the planner means to ``ask_again``.
    """
    plan = plan_locked(week, version)
    if plan.state == WeekPlan.State.PUBLISHED:
        return plan
    refuse_while_planned(plan)
    parts = [part_of(row) for row in rounds_to_publish(plan)]
    if not any(part.new or part.old for part in parts):
        raise RuleBrokenError([_("There is nothing to publish: no visit is on a round.")])
    apart = set_apart(parts)
    groups = linked(apart.rest)
    if not ask_again:
        _refuse_unawares(groups)
    if apart.told:
        changes_tell(parts=apart.told, waiting={pk for part in apart.rest for pk in part.after}, actor=actor)
    for group in groups:
        if needs_asking(group):
            changes_ask(parts=group, came_from=apart.told, why=_why(group, apart.told), actor=actor)
        else:
            changes_withdraw(rounds=[part.round.pk for part in group])
            rounds_in_force([(part.round, part.new) for part in group], actor)
    plan.state, plan.published_at, plan.published_by = WeekPlan.State.PUBLISHED, timezone.now(), actor
    plan.save(update_fields=["state", "published_at", "published_by"])
    return plan


def _refuse_unawares(groups: Sequence[Sequence[Part]]) -> None:
    refused = refusals_overridden([part for group in groups if needs_asking(group) for part in group])
    if refused:
        advice = _("Publishing would ask the same again: plan it otherwise, or confirm that you mean to ask again.")
        raise RuleBrokenError([*(f"{row.words}." for row in refused), advice])


def _why(group: Sequence[Part], told: Sequence[Part]) -> str:
    """Whose visits come to a group because they are out."""
    coming = {pk for part in group for pk in part.after}
    names = dict.fromkeys(str(part.round.technician) for part in told if coming & set(part.before) - set(part.after))
    return _("Out: %(names)s.") % {"names": ", ".join(names)} if names else ""
