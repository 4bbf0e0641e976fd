"""Keeping what a week looked like after each change."""

from servicedesk.people.models import User
from servicedesk.routes.kept import as_json
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries.versions import rounds_kept
from servicedesk.routes.week_models import PlanVersion

KEEP = 40


def version_keep(plan: WeekPlan, *, actor: User | None, words: str, restores: int | None = None) -> None:
    """Keep the plan as it stands now under its version; the oldest beyond ``KEEP`` are let go."""
    PlanVersion.objects.update_or_create(
        plan=plan,
        number=plan.version,
        defaults={
            "rounds": as_json(rounds_kept(plan).values()),
            "left_out": plan.left_out,
            "score": plan.score,
            "words": words[:200],
            "by": actor,
            "restores": restores,
        },
    )
    PlanVersion.objects.filter(plan=plan, number__lte=plan.version - KEEP).delete()


def version_ensure(plan: WeekPlan) -> None:
    """Before a first change: keep what it starts from."""
    if not PlanVersion.objects.filter(plan=plan, number=plan.version).exists():
        version_keep(plan, actor=plan.changed_by, words=plan.change)
