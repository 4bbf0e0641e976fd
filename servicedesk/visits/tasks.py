from celery import shared_task

from servicedesk.visits.services import lengths, report, schedule


@shared_task(name="visits.render_report")
def render_report(report_id: str) -> None:
    report.report_render(report_id=report_id)


@shared_task(name="visits.sweep_reports")
def sweep_reports() -> None:
    report.reports_sweep()


@shared_task(name="visits.refresh_lengths")
def refresh_lengths() -> None:
    lengths.lengths_refresh()


@shared_task(name="visits.extend_all")
def extend_all() -> None:
    schedule.extend_all()
