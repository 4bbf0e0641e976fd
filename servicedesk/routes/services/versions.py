"""Two planners on one week: each change names the version it saw, so that none is lost."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.once import once
from servicedesk.people.models import Technician, User
from servicedesk.routes.models import PlanRun, WeekPlan
from servicedesk.routes.queries.over import over_words
from servicedesk.routes.services.keeping import version_ensure, version_keep
from servicedesk.routes.times import Week

FIRST_VERSION = 1


class StaleWeekError(Exception):
    """The week was changed by somebody else since the page was drawn; nothing was done."""

    def __init__(self, plan: WeekPlan) -> None:
        self.plan = plan
        super().__init__(str(plan))


@transaction.atomic
def made_once(*, token: str, asked: str, act: Callable[[], Any]) -> None:
    """Make a change of a week, unless the same form was sent already with the same thing ``asked``.

    A change refused leaves the token free.
    """
    if once(token, "week-change") == asked:
        return
    act()
    once(token, "week-change", asked)


class RuleBrokenError(Exception):
    """A hard rule forbids the change; the sentences say which."""

    def __init__(self, sentences: list[str]) -> None:
        self.sentences = sentences
        super().__init__(" ".join(sentences))


def plan_open(week: Week) -> WeekPlan:
    return WeekPlan.objects.get_or_create(iso_year=week.year, iso_week=week.number)[0]


def plan_locked(week: Week, version: int) -> WeekPlan:
    """The week's row, held until the transaction ends; refused when the page was drawn from another version."""
    plan = WeekPlan.objects.select_for_update().get(pk=plan_open(week).pk)
    if plan.version != version:
        raise StaleWeekError(plan)
    version_ensure(plan)
    return plan


def refuse_while_planned(plan: WeekPlan) -> None:
    if plan.runs.filter(state__in=PlanRun.ACTIVE).exists():
        raise RuleBrokenError([_("The week is being planned. Stop the planning or wait for it, then try again.")])


def refuse_over(technician: Technician, day: date) -> None:
    """A day that is over is not planned again."""
    words = over_words(technician, day)
    if words:
        raise RuleBrokenError([words])


def plan_changed(plan: WeekPlan, *, actor: User | None, words: str, restores: int | None = None) -> None:
    """Note who changed what and keep the state; a published week is a draft again until it is published anew."""
    plan.version += 1
    plan.state = WeekPlan.State.DRAFT
    plan.change, plan.changed_by, plan.changed_at = words[:200], actor, timezone.now()
    plan.save()
    version_keep(plan, actor=actor, words=words, restores=restores)
