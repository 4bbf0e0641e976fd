from uuid import UUID

from celery import shared_task

from servicedesk.routes.services import cadence, late, runs, travel


@shared_task(name="routes.plan_week")
def plan_week(run_id: str) -> None:
    runs.run_execute(UUID(run_id))


@shared_task(name="routes.fill_travel")
def fill_travel(fill_id: str) -> None:
    travel.fill_execute(UUID(fill_id))


@shared_task(name="routes.fill_travel_nightly")
def fill_travel_nightly() -> None:
    travel.fill_nightly()


@shared_task(name="routes.look_ahead")
def look_ahead(look_id: str) -> None:
    cadence.look_execute(UUID(look_id))


@shared_task(name="routes.sweep_runs")
def sweep_runs() -> None:
    runs.runs_sweep()


@shared_task(name="routes.tell_late")
def tell_late() -> None:
    late.late_tell()
