from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeOperators
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.people.models import User

POSITIVE = [MinValueValidator(0)]


class SystemKind(models.TextChoices):
    REEF_STONY = "reef_stony", _("reef with stony corals")
    SOFT_CORAL = "soft_coral", _("soft corals")
    FISH_ONLY = "fish_only", _("fish only")
    JELLYFISH = "jellyfish", _("jellyfish")


@audited()
class Installation(models.Model):
    """One water system: display, sump, plant, animals, programme."""

    code = models.CharField(_("code"), max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=12, choices=SystemKind)
    display_l = models.FloatField(_("display, to the weir"), validators=[MinValueValidator(1)])
    sump_l = models.FloatField(_("sump and filters, running"), default=0, validators=POSITIVE)
    displacement_l = models.FloatField(_("displaced by rock, sand and gear"), default=0, validators=POSITIVE)
    evaporation_l_day = models.FloatField(_("top-off a day"), null=True, blank=True, validators=POSITIVE)
    is_quarantine = models.BooleanField(_("quarantine system"), default=False)
    started_on = models.DateField(_("in water since"), null=True, blank=True)
    where = models.CharField(_("where in the building"), max_length=160, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                condition=Q(display_l__gt=0, sump_l__gte=0, displacement_l__gte=0)
                & Q(displacement_l__lt=F("display_l") + F("sump_l")),
                name="installation_has_water",
                violation_error_message=_("Displacement must be less than display and sump together."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def net_volume_l(self) -> float:
        return self.display_l + self.sump_l - self.displacement_l


@audited()
class Placement(models.Model):
    """Where an installation stands, from a day on; a move ends the old row and adds one."""

    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="placements")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="placements")
    valid = DateRangeField(help_text=_("[from, to)"))

    class Meta:
        ordering = ["valid"]
        constraints = [
            ExclusionConstraint(
                name="installation_at_one_site",
                expressions=[("installation", RangeOperators.EQUAL), ("valid", RangeOperators.OVERLAPS)],
            )
        ]

    def __str__(self) -> str:
        return f"{self.installation.code} at {self.site}"


@audited()
class Coverage(models.Model):
    """Which installations an agreement's visits look after, and since when."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="coverages")
    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="coverages")
    valid = DateRangeField(help_text=_("[from, to)"))

    class Meta:
        constraints = [
            ExclusionConstraint(
                name="coverage_once_at_a_time",
                expressions=[
                    ("agreement", RangeOperators.EQUAL),
                    ("installation", RangeOperators.EQUAL),
                    ("valid", RangeOperators.OVERLAPS),
                ],
            )
        ]

    def __str__(self) -> str:
        return f"{self.agreement.number}: {self.installation.code}"


class PlantKind(models.TextChoices):
    RETURN_PUMP = "return_pump", _("return pump")
    FLOW_PUMP = "flow_pump", _("circulation pump")
    CHILLER = "chiller", _("chiller")
    HEATER = "heater", _("heater")
    REACTOR = "reactor", _("calcium reactor")
    STIRRER = "stirrer", _("limewater stirrer")
    DOSER = "doser", _("doser")
    SKIMMER = "skimmer", _("skimmer")
    SCRUBBER = "scrubber", _("algal scrubber")
    UV = "uv", _("UV steriliser")
    EXCHANGER = "exchanger", _("heat exchanger")
    PROBE = "probe", _("probe")
    LIGHT = "light", _("lights")
    FEEDER = "feeder", _("feeder")
    TOP_OFF = "top_off", _("top-off")
    RODI = "rodi", _("RO/DI unit")


@audited()
class PlantItem(models.Model):
    """A machine of an installation with its nameplate."""

    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="plant")
    kind = models.CharField(_("kind"), max_length=12, choices=PlantKind)
    label = models.CharField(_("name on its label"), max_length=80)
    model = models.CharField(_("make and model"), max_length=80, blank=True)
    serial = models.CharField(_("serial number"), max_length=60, blank=True)
    power_w = models.FloatField(_("electrical input"), null=True, blank=True, validators=POSITIVE)
    capacity = models.FloatField(
        _("capacity"),
        null=True,
        blank=True,
        validators=POSITIVE,
        help_text=_("pump L/h, chiller W, reactor L, UV W …"),
    )
    capacity_unit = models.CharField(max_length=12, blank=True)
    settings = models.JSONField(default=dict, blank=True, help_text="as left: {check key: canonical value}")
    where = models.CharField(_("where"), max_length=80, blank=True)
    installed_on = models.DateField(_("installed"), null=True, blank=True)
    removed_on = models.DateField(_("removed"), null=True, blank=True)
    service_interval_days = models.PositiveSmallIntegerField(_("service every (days)"), null=True, blank=True)
    position = models.PositiveSmallIntegerField(default=0, help_text=_("order of the walk"))

    class Meta:
        ordering = ["position", "kind", "label"]
        constraints = [models.UniqueConstraint(fields=["installation", "label"], name="plant_label_once")]

    def __str__(self) -> str:
        return self.label


@audited()
class PlantService(models.Model):
    """Something done to a machine: service, repair, part changed."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plant_item = models.ForeignKey(PlantItem, on_delete=models.CASCADE, related_name="services")
    done_on = models.DateField()
    done_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    what = models.CharField(max_length=200)
    is_interval_service = models.BooleanField(default=True)

    class Meta:
        ordering = ["-done_on"]

    def __str__(self) -> str:
        return f"{self.plant_item}: {self.what}"


@audited()
class PlantCheck(models.Model):
    """A value read or set on a machine at a moment: as found, or as left."""

    class Moment(models.TextChoices):
        FOUND = "found", _("as found")
        LEFT = "left", _("as left")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    plant_item = models.ForeignKey(PlantItem, on_delete=models.CASCADE, related_name="checks")
    key = models.CharField(max_length=40, help_text="a check of installations.plant_checks")
    moment = models.CharField(max_length=6, choices=Moment, default=Moment.FOUND)
    value = models.FloatField(null=True, blank=True)
    word = models.CharField(max_length=40, blank=True, help_text="ok, failed, not done …")
    note = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["plant_item", "key", "-at"], name="plant_check_latest")]

    def __str__(self) -> str:
        return f"{self.plant_item} {self.key}"


@audited()
class Animal(models.Model):
    """Animals of one species in an installation, from arrival to leaving."""

    class Group(models.TextChoices):
        FISH = "fish", _("fish")
        STONY = "stony_coral", _("stony coral")
        SOFT = "soft_coral", _("soft coral")
        INVERTEBRATE = "invertebrate", _("other invertebrate")

    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="animals")
    group = models.CharField(_("group"), max_length=14, choices=Group)
    name = models.CharField(_("common name"), max_length=80)
    species = models.CharField(_("species"), max_length=80, blank=True)
    count = models.PositiveIntegerField(_("how many"), default=1)
    mass_g = models.FloatField(_("mass of one"), null=True, blank=True, validators=POSITIVE)
    arrived_on = models.DateField(_("arrived"), null=True, blank=True)
    left_on = models.DateField(_("left"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)

    class Meta:
        ordering = ["group", "name"]

    def __str__(self) -> str:
        return f"{self.count} × {self.name}"
