"""Queue a mail in the caller's transaction and send it from the worker, once."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import timedelta
from uuid import UUID

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.mail import EmailMessage
from django.db.models import Q
from django.utils import timezone

from servicedesk.common import jobs
from servicedesk.common.models import MailMessage

RETRY_MINUTES = (1, 5, 20, 60, 240)


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file already in storage."""

    name: str
    media_type: str
    storage_name: str


def mail_queue(
    *,
    dedupe_key: str,
    kind: str,
    to: Sequence[str],
    subject: str,
    body: str,
    attachments: Sequence[Attachment] = (),
    about: str = "",
    created_by: str = "",
) -> MailMessage:
    """Queue one mail; the same ``dedupe_key`` never makes a second."""
    message, created = MailMessage.objects.get_or_create(
        dedupe_key=dedupe_key,
        defaults={
            "kind": kind,
            "to": list(to),
            "subject": subject,
            "body": body,
            "attachments": [asdict(attachment) for attachment in attachments],
            "about": about,
            "created_by": created_by,
        },
    )
    if created:
        jobs.enqueue("common.send_mail", str(message.pk))
    return message


def mail_send(message_id: UUID | str) -> None:
    """Send a queued mail if nobody else is sending it; a failure is retried later by the sweeper."""
    claimed = MailMessage.objects.filter(pk=message_id, state=MailMessage.State.QUEUED).update(
        state=MailMessage.State.SENDING, next_attempt_at=timezone.now() + timedelta(minutes=10)
    )
    if not claimed:
        return
    message = MailMessage.objects.get(pk=message_id)
    if not settings.SMTP_HOST:
        message.state = MailMessage.State.KEPT
        message.save(update_fields=["state"])
        return
    try:
        _as_email(message).send()
    except OSError as error:  # smtplib's errors are OSErrors too
        _note_failure(message, error)
        return
    message.state, message.sent_at, message.last_error = MailMessage.State.SENT, timezone.now(), ""
    message.save(update_fields=["state", "sent_at", "last_error"])


def mail_sweep() -> None:
    """Take up mails whose retry is due, or whose sender died half-way."""
    now = timezone.now()
    MailMessage.objects.filter(state=MailMessage.State.SENDING, next_attempt_at__lt=now).update(
        state=MailMessage.State.QUEUED
    )
    due = MailMessage.objects.filter(state=MailMessage.State.QUEUED).filter(
        Q(next_attempt_at=None) | Q(next_attempt_at__lte=now)
    )
    for message_id in list(due.values_list("pk", flat=True)[:200]):
        mail_send(message_id)


def _as_email(message: MailMessage) -> EmailMessage:
    mail = EmailMessage(
        message.subject,
        message.body,
        to=message.to,
        headers={"Message-ID": f"<{message.pk}@saltround.example>"},
    )
    for attachment in message.attachments:
        with default_storage.open(attachment["storage_name"]) as stored:
            mail.attach(attachment["name"], stored.read(), attachment["media_type"])
    return mail


def _note_failure(message: MailMessage, error: OSError) -> None:
    message.attempts += 1
    message.last_error = str(error)[:300]
    permanent = 500 <= getattr(error, "smtp_code", 0) < 600
    if permanent or message.attempts > len(RETRY_MINUTES):
        message.state = MailMessage.State.FAILED
    else:
        message.state = MailMessage.State.QUEUED
        message.next_attempt_at = timezone.now() + timedelta(minutes=RETRY_MINUTES[message.attempts - 1])
    message.save(update_fields=["attempts", "last_error", "state", "next_attempt_at"])
