"""What a week looked like after each change, the plans proposed for it, and what its clients are to be told."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import User
from servicedesk.routes.notice_models import ClientNotice
from servicedesk.visits.models import Visit


class PlanVersion(models.Model):
    """A week's rounds as they were at one version: to compare, and to go back to."""

    plan = models.ForeignKey("WeekPlan", on_delete=models.CASCADE, related_name="versions")
    number = models.PositiveIntegerField(help_text="the plan's version that this is")
    restores = models.PositiveIntegerField(null=True, blank=True, help_text="the version that was gone back to")
    rounds = models.JSONField(default=list)
    left_out = models.JSONField(default=list)
    score = models.JSONField(null=True, blank=True)
    words = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-number"]
        constraints = [models.UniqueConstraint(fields=["plan", "number"], name="plan_version_once")]

    def __str__(self) -> str:
        return f"{self.plan} {self.number}"


@audited(exclude=["rounds", "left_out", "score", "calls"])
class PlanProposal(models.Model):
    """A plan that the search found for a week already planned. Nothing moves until a planner takes it."""

    class State(models.TextChoices):
        OPEN = "open", _("to be decided")
        TAKEN = "taken", _("taken")
        PART = "part", _("taken in part")
        REFUSED = "refused", _("refused")
        OVERTAKEN = "overtaken", _("overtaken by a newer one")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plan = models.ForeignKey("WeekPlan", on_delete=models.CASCADE, related_name="proposals")
    run = models.OneToOneField("PlanRun", on_delete=models.CASCADE, related_name="proposal")
    based_on = models.PositiveIntegerField(help_text="the version of the plan that was searched from")
    rounds = models.JSONField(default=list)
    left_out = models.JSONField(default=list)
    score = models.JSONField(default=dict)
    calls = models.JSONField(default=list, help_text="the telephone calls that would save most, the best first")
    state = models.CharField(max_length=9, choices=State, default=State.OPEN)
    made_at = models.DateTimeField(auto_now_add=True)
    decided_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.UniqueConstraint(fields=["plan"], condition=models.Q(state="open"), name="one_open_proposal")
        ]

    def __str__(self) -> str:
        return f"{self.plan} {self.state}"


@audited()
class ProposalNotice(ClientNotice):
    """A message to a client whose promised hour a proposed plan moves."""

    proposal = models.ForeignKey(PlanProposal, on_delete=models.CASCADE, related_name="notices")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="proposal_notices")

    class Meta(ClientNotice.Meta):
        constraints = [models.UniqueConstraint(fields=["proposal", "visit"], name="proposal_notice_once")]
