from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import GateCode
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import Technician, User, Van
from servicedesk.visits.models import Visit


@audited(exclude=["problem", "score"])
class WeekPlan(models.Model):
    """All rounds of one ISO week, with its score and what it left out and why."""

    class State(models.TextChoices):
        DRAFT = "draft", _("draft")
        PUBLISHED = "published", _("published")

    iso_year = models.PositiveSmallIntegerField()
    iso_week = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT)
    version = models.PositiveIntegerField(default=1, help_text="rises with each change: two planners never lose one")
    problem = models.JSONField(null=True, blank=True)
    score = models.JSONField(
        null=True,
        blank=True,
        help_text="{cost, km, hours, overtime, lateness, left_out}, and of the plan before",
    )
    left_out = models.JSONField(default=list, blank=True, help_text="[{visit, state: waits|cannot, reason, cost}]")
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    change = models.CharField(max_length=200, blank=True, help_text="what the last change did, in words")
    changed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    changed_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-iso_year", "-iso_week"]
        constraints = [
            models.UniqueConstraint(fields=["iso_year", "iso_week"], name="week_plan_once"),
            models.CheckConstraint(condition=Q(iso_week__range=(1, 53)), name="week_number"),
        ]

    def __str__(self) -> str:
        return f"{self.iso_year}-W{self.iso_week:02}"


@audited()
class Round(models.Model):
    """One technician, one date. Times are seconds from local midnight of that date in the technician's zone."""

    plan = models.ForeignKey(WeekPlan, on_delete=models.CASCADE, related_name="rounds")
    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, related_name="rounds")
    van = models.ForeignKey(Van, on_delete=models.PROTECT, null=True, blank=True)
    date = models.DateField()
    locked = models.BooleanField(default=False)
    leave_s = models.PositiveIntegerField(null=True, blank=True)
    return_s = models.PositiveIntegerField(null=True, blank=True)
    travel_s = models.PositiveIntegerField(default=0)
    distance_m = models.PositiveIntegerField(default=0)
    overtime_s = models.PositiveIntegerField(default=0)
    break_start_s = models.PositiveIntegerField(null=True, blank=True)
    break_s = models.PositiveIntegerField(default=0)
    warnings = models.JSONField(default=list, blank=True, help_text="broken soft rules: [{visit or null, words}]")
    published = models.JSONField(
        null=True,
        blank=True,
        help_text="the round as last published, whatever is being planned now: what My round shows",
    )

    class Meta:
        ordering = ["date", "technician"]
        constraints = [models.UniqueConstraint(fields=["plan", "technician", "date"], name="round_once")]

    def __str__(self) -> str:
        return f"{self.technician.initials} {self.date}"


@audited()
class Stop(models.Model):
    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="stops")
    position = models.PositiveSmallIntegerField()
    travel_s = models.PositiveIntegerField(default=0, help_text="drive to this stop")
    distance_m = models.PositiveIntegerField(default=0)
    arrive_s = models.PositiveIntegerField()
    start_s = models.PositiveIntegerField(help_text="arrive plus waiting for the window")
    leave_s = models.PositiveIntegerField()
    locked = models.BooleanField(default=False)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["visit"], name="stop_one_round_per_visit")]

    def __str__(self) -> str:
        return f"{self.position} {self.visit}"


class CodeReveal(models.Model):
    """A gate code was shown to a person, on the strength of a round."""

    code = models.ForeignKey(GateCode, on_delete=models.PROTECT, related_name="reveals")
    round = models.ForeignKey(Round, on_delete=models.PROTECT, related_name="reveals")
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.code} {self.at}"


class PlanRun(models.Model):
    """A run of the planner in the worker, with its progress."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting")
        RUNNING = "running", _("planning")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")
        STOPPED = "stopped", _("stopped, best plan kept")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plan = models.ForeignKey(WeekPlan, on_delete=models.CASCADE, related_name="runs")
    state = models.CharField(max_length=8, choices=State, default=State.QUEUED)
    seconds = models.PositiveSmallIntegerField(default=5)
    seed = models.PositiveIntegerField(default=1)
    percent = models.PositiveSmallIntegerField(default=0)
    message = models.CharField(max_length=300, blank=True)
    stop_asked = models.BooleanField(default=False)
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    requested_at = models.DateTimeField(auto_now_add=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-requested_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["plan"], condition=Q(state__in=["queued", "running"]), name="one_run_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"{self.plan} {self.state}"
