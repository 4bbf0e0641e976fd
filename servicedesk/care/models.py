from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import Item
from servicedesk.installations.models import Installation
from servicedesk.people.models import User
from servicedesk.readings.models import Parameter


@audited()
class ProgrammeVersion(models.Model):
    """The settings of an installation from a moment on; a new version supersedes, nothing is overwritten."""

    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed")
        APPROVED = "approved", _("approved, to be set at the next visit")
        IN_FORCE = "in_force", _("in force")
        REJECTED = "rejected", _("rejected")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="programme_versions")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=10, choices=State)
    valid = DateTimeRangeField(null=True, blank=True, help_text="[set at, superseded at), once it was in force")
    settings = models.JSONField(help_text="care.programme: {key: {value, unit}} in canonical units")
    reason = models.CharField(max_length=300, blank=True)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    approved_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["installation", "number"], name="programme_number_once"),
            ExclusionConstraint(
                name="programme_one_in_force",
                expressions=[("installation", RangeOperators.EQUAL), ("valid", RangeOperators.OVERLAPS)],
                condition=Q(state="in_force"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.installation.code} programme {self.number}"


@audited()
class Addition(models.Model):
    """Something that entered the water."""

    class Kind(models.TextChoices):
        DOSE = "dose", _("dose")
        WATER_CHANGE = "water_change", _("water change")
        TOP_OFF = "top_off", _("top-off")
        FEED = "feed", _("feed")
        OTHER = "other", _("other")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="additions")
    kind = models.CharField(max_length=14, choices=Kind)
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    product = models.CharField(max_length=40, blank=True, help_text="product key of science.water.dosing")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True)
    parameter = models.ForeignKey(Parameter, on_delete=models.PROTECT, null=True, blank=True)
    mass_g = models.FloatField(null=True, blank=True)
    volume_l = models.FloatField(null=True, blank=True)
    change = models.FloatField(null=True, blank=True, help_text="intended change of the parameter, canonical")
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["installation", "-at"], name="addition_series")]

    def __str__(self) -> str:
        return f"{self.installation.code} {self.kind} {self.at:%Y-%m-%d}"
