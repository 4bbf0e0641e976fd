"""Looks ahead over the weeks, and the other weekday or week of the cycle they propose for agreements."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import User


class CadenceLook(models.Model):
    """A look ahead by the worker; ``result`` holds the weeks' figures as they are and as proposed."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting")
        RUNNING = "running", _("looking ahead")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    state = models.CharField(max_length=7, choices=State, default=State.QUEUED)
    first_day = models.DateField(help_text="the Monday it begins with")
    weeks = models.PositiveSmallIntegerField(default=10)
    percent = models.PositiveSmallIntegerField(default=0)
    message = models.CharField(max_length=300, blank=True)
    result = models.JSONField(null=True, blank=True)
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    requested_at = models.DateTimeField(auto_now_add=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-requested_at"]
        constraints = [
            models.UniqueConstraint(
                models.Value(1), condition=Q(state__in=["queued", "running"]), name="one_cadence_look_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"{self.first_day} {self.state}"


@audited()
class CadenceProposal(models.Model):
    """Another slot for an agreement; the planner accepts or refuses it."""

    class State(models.TextChoices):
        OPEN = "open", _("to be decided")
        ACCEPTED = "accepted", _("accepted")
        REFUSED = "refused", _("refused")

    look = models.ForeignKey(CadenceLook, on_delete=models.CASCADE, related_name="proposals")
    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="cadence_proposals")
    rule_before = models.CharField(max_length=200)
    first_visit_before = models.DateField(help_text="with the rule: what must still hold for the proposal to hold")
    rule = models.CharField(max_length=200)
    first_on = models.DateField(help_text="the first visit of the new calendar, as it stood when proposed")
    saved_s = models.IntegerField(help_text="driving of all weeks together, with the others accepted")
    saved_m = models.IntegerField()
    alone_s = models.IntegerField(help_text="the same, were it the only one accepted")
    alone_m = models.IntegerField()
    neighbours = models.JSONField(default=list, blank=True, help_text="names of sites nearby served on the same days")
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    decided_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-saved_s", "pk"]
        constraints = [models.UniqueConstraint(fields=["look", "agreement"], name="cadence_proposal_once")]

    def __str__(self) -> str:
        return f"{self.agreement} {self.state}"
