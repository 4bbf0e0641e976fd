"""Messages to clients whose visit moves: read, changed and sent by a person, never by themselves."""

from uuid import UUID

from django.db import models
from django.utils.translation import gettext_lazy as _

from servicedesk.common.ids import new_id
from servicedesk.people.models import User


class ClientNotice(models.Model):
    """A drafted message; what called for it and the visit it speaks of are the kinds' own."""

    class State(models.TextChoices):
        DRAFT = "draft", _("to be told")
        SENT = "sent", _("sent")
        TOLD = "told", _("told by telephone")

    visit_id: UUID  # each kind has its own link to the visit
    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    what = models.CharField(max_length=200, help_text="the change in words, as the planner reads it")
    to = models.JSONField(default=list, help_text="addresses")
    phone = models.CharField(max_length=40, blank=True)
    subject = models.CharField(_("subject"), max_length=160)
    body = models.TextField(_("message"), max_length=4000)
    state = models.CharField(max_length=5, choices=State, default=State.DRAFT)
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        abstract = True
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.what
