from django.db import models
from django.utils.translation import gettext_lazy as _

from servicedesk.common.ids import new_id


class MailMessage(models.Model):
    """A mail in our outbox: queued in the transaction that caused it, sent by the worker, kept for the log."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting to be sent")
        SENDING = "sending", _("being sent")
        SENT = "sent", _("sent")
        KEPT = "kept", _("kept here (no mail server is configured)")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    dedupe_key = models.CharField(max_length=200, unique=True)
    kind = models.CharField(max_length=40)
    to = models.JSONField()
    subject = models.CharField(max_length=250)
    body = models.TextField()
    attachments = models.JSONField(default=list, help_text="[{name, media_type, storage_name}]")
    about = models.CharField(max_length=120, blank=True, db_index=True, help_text="client:12, report:… for the log")
    state = models.CharField(max_length=10, choices=State, default=State.QUEUED)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    next_attempt_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.CharField(max_length=200, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at"]
        indexes = [models.Index(fields=["state", "next_attempt_at"], name="mail_state_next")]

    def __str__(self) -> str:
        return self.subject


class FormToken(models.Model):
    """The token of a form and what it made, so that a double click makes one record."""

    token = models.CharField(max_length=64)
    kind = models.CharField(max_length=40)
    made = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["token", "kind"], name="form_token_once")]

    def __str__(self) -> str:
        return self.token
