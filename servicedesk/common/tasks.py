from celery import shared_task

from servicedesk.common.mail import send


@shared_task(name="common.send_mail")
def send_mail(message_id: str) -> None:
    send.mail_send(message_id)


@shared_task(name="common.sweep_mail")
def sweep_mail() -> None:
    send.mail_sweep()
