"""What is known of driving: the constants of the estimate, drives read from roads or a file, and how reading went."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import User


def _between(least: float, most: float) -> list[MinValueValidator | MaxValueValidator]:
    return [MinValueValidator(least), MaxValueValidator(most)]


@audited(exclude=["version"])
class TravelRule(models.Model):
    """How drives are estimated, and which road service knows better. One row."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    detour = models.FloatField(_("detour factor"), default=1.32, validators=_between(1, 3))
    per_move_s = models.PositiveSmallIntegerField(_("seconds for each move"), default=150, validators=_between(0, 1800))
    city_kmh = models.FloatField(_("speed in town"), default=24, validators=_between(5, 130))
    city_to_km = models.FloatField(_("… for the first"), default=4, validators=_between(0.2, 50))
    town_kmh = models.FloatField(_("speed in the outskirts"), default=40, validators=_between(5, 130))
    town_to_km = models.FloatField(_("… up to"), default=14, validators=_between(0.5, 150))
    country_kmh = models.FloatField(_("speed in the country"), default=68, validators=_between(5, 130))
    country_to_km = models.FloatField(_("… up to"), default=45, validators=_between(1, 400))
    motorway_kmh = models.FloatField(_("speed beyond"), default=92, validators=_between(5, 130))
    service_url = models.CharField(_("address of the road service"), max_length=300, blank=True)
    service_profile = models.CharField(_("profile"), max_length=40, default="driving")
    timeout_s = models.PositiveSmallIntegerField(
        _("seconds to wait for an answer"), default=10, validators=_between(1, 15)
    )
    version = models.PositiveIntegerField(default=1, help_text="rises when any drive may have become another")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="travel_rule_only_one"),
            models.CheckConstraint(
                condition=Q(city_to_km__lt=F("town_to_km")) & Q(town_to_km__lt=F("country_to_km")),
                name="travel_bands_in_order",
                violation_error_message=_("Each stretch must end farther out than the one before."),
            ),
        ]

    def __str__(self) -> str:
        return "travel"


class TravelDrive(models.Model):
    """A drive between two points, each written as latitude and longitude to four decimals (some 11 m).

    Without seconds there is no road: the estimate stands in.
    """

    class Source(models.TextChoices):
        FILE = "file", _("imported")
        ROADS = "roads", _("road service")

    start = models.CharField(max_length=20)
    end = models.CharField(max_length=20)
    source = models.CharField(max_length=5, choices=Source)
    seconds = models.PositiveIntegerField(null=True, blank=True)
    metres = models.PositiveIntegerField(null=True, blank=True)
    known_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["start", "end", "source"], name="travel_drive_once"),
            models.CheckConstraint(
                condition=Q(seconds=None, metres=None) | Q(seconds__isnull=False, metres__isnull=False),
                name="travel_drive_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.start} → {self.end}"


class TravelFill(models.Model):
    """A reading of drives from the road service by the worker, and what it left to the estimate."""

    class State(models.TextChoices):
        QUEUED = "queued", _("waiting")
        RUNNING = "running", _("asking")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plan = models.ForeignKey(
        "routes.WeekPlan", on_delete=models.CASCADE, null=True, blank=True, related_name="travel_fills"
    )
    state = models.CharField(max_length=7, choices=State, default=State.QUEUED)
    wanted = models.PositiveIntegerField(default=0, help_text="drives that the places make")
    asked = models.PositiveIntegerField(default=0, help_text="drives not known before")
    no_road = models.PositiveIntegerField(default=0, help_text="drives for which there is no road")
    estimated = models.PositiveIntegerField(default=0, help_text="drives that stay estimated")
    message = models.CharField(max_length=300, blank=True)
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    requested_at = models.DateTimeField(auto_now_add=True)
    heartbeat_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-requested_at"]
        indexes = [models.Index(fields=["-requested_at"], name="travel_fill_newest")]

    def __str__(self) -> str:
        return f"{self.requested_at:%Y-%m-%d %H:%M} {self.state}"
