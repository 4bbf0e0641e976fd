from uuid import UUID

from celery import shared_task

from servicedesk.routes.services import late, runs


@shared_task(name="routes.plan_week")
def plan_week(run_id: str) -> None:
    runs.run_execute(UUID(run_id))


@shared_task(name="routes.sweep_runs")
def sweep_runs() -> None:
    runs.runs_sweep()


@shared_task(name="routes.tell_late")
def tell_late() -> None:
    late.late_tell()
