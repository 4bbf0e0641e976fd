from celery import shared_task

from servicedesk.people import services


@shared_task(name="people.warn_renewals")
def warn_renewals() -> None:
    services.renewals_warn()
