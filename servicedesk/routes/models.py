from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import GateCode
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import LoanMachine
from servicedesk.people.models import Lodging, Technician, User, Van
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal  # noqa: F401
from servicedesk.routes.notice_models import ClientNotice
from servicedesk.routes.travel_models import TravelDrive, TravelFill, TravelRule  # noqa: F401
from servicedesk.routes.week_models import PlanProposal, PlanVersion, ProposalNotice  # noqa: F401
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
    start_lodging = models.ForeignKey(
        Lodging, on_delete=models.PROTECT, null=True, blank=True, related_name="+",
        help_text="where the round begins after a night away; empty: at home",
    )  # fmt: skip
    lodging = models.ForeignKey(
        Lodging, on_delete=models.PROTECT, null=True, blank=True, related_name="+",
        help_text="where the round ends and the night is spent; the next day's round begins there",
    )  # fmt: skip
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
    published_at = models.DateTimeField(null=True, blank=True, help_text="when ``published`` last changed")

    class Meta:
        ordering = ["date", "technician"]
        constraints = [models.UniqueConstraint(fields=["plan", "technician", "date"], name="round_once")]

    def __str__(self) -> str:
        return f"{self.technician.initials} {self.date}"


@audited()
class Stop(models.Model):
    """A visit on a round or, where it ``helps``, the second person's part of a visit that another round has."""

    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="stops")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="stops")
    position = models.PositiveSmallIntegerField()
    travel_s = models.PositiveIntegerField(default=0, help_text="drive to this stop")
    distance_m = models.PositiveIntegerField(default=0)
    arrive_s = models.PositiveIntegerField()
    start_s = models.PositiveIntegerField(help_text="arrive plus waiting for the window")
    leave_s = models.PositiveIntegerField()
    locked = models.BooleanField(default=False)
    helps = models.BooleanField(default=False, help_text="the second person's part, not the visit itself")

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "helps"], name="stop_one_round_per_part"),
            models.UniqueConstraint(fields=["round", "visit"], name="stop_parts_on_two_rounds"),
        ]

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

    ACTIVE = (State.QUEUED, State.RUNNING)

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plan = models.ForeignKey(WeekPlan, on_delete=models.CASCADE, related_name="runs")
    state = models.CharField(max_length=8, choices=State, default=State.QUEUED)
    seconds = models.PositiveSmallIntegerField(default=5)
    seed = models.PositiveIntegerField(default=1)
    scope = models.JSONField(
        null=True,
        blank=True,
        help_text="replan from a moment on: {since, out: [{technician, until, reason}]}; empty: the week as usual",
    )
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


@audited()
class UrgentCall(models.Model):
    """What was chosen for an urgent call: who goes when, and what that moved."""

    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="urgent_call")
    round = models.ForeignKey(Round, on_delete=models.SET_NULL, null=True, related_name="urgent_calls")
    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, related_name="+")
    date = models.DateField()
    machine = models.ForeignKey(LoanMachine, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    choice = models.JSONField(help_text="the figures that were chosen from, as shown")
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.visit} {self.technician} {self.date}"


@audited()
class MoveNotice(ClientNotice):
    """A message to a client whose visit an urgent call moves."""

    call = models.ForeignKey(UrgentCall, on_delete=models.CASCADE, related_name="notices")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="move_notices")

    class Meta(ClientNotice.Meta):
        constraints = [models.UniqueConstraint(fields=["call", "visit"], name="move_notice_once")]


@audited()
class HoursEntry(models.Model):
    """Hours that no visit shows: other work, or a break taken. What was typed wrong is archived, never changed."""

    class Kind(models.TextChoices):
        WORK = "work", _("other work")
        BREAK = "break", _("break, not paid")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, related_name="hours_entries")
    kind = models.CharField(_("what"), max_length=5, choices=Kind)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    note = models.CharField(_("note"), max_length=120, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["began_at"]
        indexes = [models.Index(fields=["technician", "began_at"], name="hours_entry_of")]
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__gt=models.F("began_at")),
                name="hours_entry_in_order",
                violation_error_message=_("The end is not after the beginning."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician} {self.began_at}"


@audited(exclude=["proposed"])
class RoundChange(models.Model):
    """A change of a published round, put to its technician as a question; nothing moves until it is accepted.

    Rounds that exchange visits are asked ``together``: the change comes into force when all have accepted, and one
    refusal ends it for all. A round that was never published has nobody to ask and counts as accepted; so does what
    is taken off somebody who is out, which is in force at once.
    """

    class State(models.TextChoices):
        ASKED = "asked", _("waits for an answer")
        ACCEPTED = "accepted", _("accepted")
        REFUSED = "refused", _("refused")
        WITHDRAWN = "withdrawn", _("withdrawn")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    together = models.UUIDField(default=new_id, editable=False, db_index=True)
    round = models.ForeignKey(Round, on_delete=models.CASCADE, related_name="changes")
    proposed = models.JSONField(null=True, blank=True, help_text="the round as it would be; empty: no stops")
    running = models.BooleanField(default=False, help_text="asked of a round under way: the plan follows the answer")
    words = models.JSONField(default=list, help_text="what changes, a sentence each")
    why = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=9, choices=State, default=State.ASKED)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    asked_at = models.DateTimeField(auto_now_add=True)
    answered_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    in_force_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["round"],
                condition=Q(state="asked") | Q(state="accepted", in_force_at=None),
                name="one_open_change_per_round",
            ),
            models.CheckConstraint(
                condition=~Q(state="refused") | ~Q(reason=""),
                name="change_refused_with_reason",
                violation_error_message=_("Say why, so that the planner can find another way."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.round} {self.state}"

    @property
    def is_told(self) -> bool:
        """In force without an answer: nobody had to be asked."""
        return self.state == self.State.ACCEPTED and self.in_force_at is not None and self.answered_by_id is None


@audited(exclude=["token_hash"])
class CalendarFeed(models.Model):
    """The secret address of a technician's calendar. Only a digest of the secret is kept; the address is told once."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="calendar_feeds")
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    last_read_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["technician"], condition=Q(revoked_at=None), name="one_calendar_address_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician} {self.made_at:%Y-%m-%d}"
