from celery import shared_task

from servicedesk.stores import services


@shared_task(name="stores.raise_reminders")
def raise_reminders() -> None:
    services.reminders_raise()
