from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import Item, Lot
from servicedesk.installations.models import Installation, SystemKind
from servicedesk.people.models import User


class Parameter(models.Model):
    """What is measured: reference data by natural key, loaded from fixtures/reference/parameters.json."""

    key = models.CharField(max_length=30, primary_key=True)
    name = models.CharField(max_length=60)
    symbol = models.CharField(max_length=12)
    quantity = models.CharField(max_length=20, help_text="quantity of science.units: which units may be typed")
    unit = models.CharField(max_length=12, help_text="canonical unit")
    digits = models.PositiveSmallIntegerField(default=1)
    possible_min = models.FloatField()
    possible_max = models.FloatField()
    plausible_min = models.FloatField()
    plausible_max = models.FloatField()
    sd_abs = models.FloatField(help_text="method standard deviation, absolute part")
    sd_rel = models.FloatField(default=0, help_text="relative part, fraction")
    rise_per_day = models.FloatField(null=True, blank=True, help_text="greatest safe daily rise")
    fall_per_day = models.FloatField(null=True, blank=True)
    at_each_visit = models.BooleanField(default=True)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position"]

    def __str__(self) -> str:
        return self.name


class BandTemplate(models.Model):
    """Usual bands of a kind of system; copied to an installation and edited there."""

    kind = models.CharField(max_length=12, choices=SystemKind)
    parameter = models.ForeignKey(Parameter, on_delete=models.CASCADE)
    alarm_low = models.FloatField(null=True, blank=True)
    low = models.FloatField()
    target = models.FloatField()
    high = models.FloatField()
    alarm_high = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "parameter"], name="band_template_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.parameter_id}"


@audited()
class Band(models.Model):
    installation = models.ForeignKey(Installation, on_delete=models.CASCADE, related_name="bands")
    parameter = models.ForeignKey(Parameter, on_delete=models.PROTECT)
    alarm_low = models.FloatField(_("alarm below"), null=True, blank=True)
    low = models.FloatField(_("low"))
    target = models.FloatField(_("target"))
    high = models.FloatField(_("high"))
    alarm_high = models.FloatField(_("alarm above"), null=True, blank=True)
    product = models.CharField(
        _("corrected with"), max_length=40, blank=True, help_text="product key of science.water.dosing"
    )

    class Meta:
        ordering = ["parameter__position"]
        constraints = [
            models.UniqueConstraint(fields=["installation", "parameter"], name="band_once"),
            models.CheckConstraint(
                condition=Q(low__lte=models.F("target"))
                & Q(target__lte=models.F("high"))
                & Q(low__lt=models.F("high"))
                & (Q(alarm_low=None) | Q(alarm_low__lte=models.F("low")))
                & (Q(alarm_high=None) | Q(alarm_high__gte=models.F("high"))),
                name="band_in_order",
                violation_error_message=_("A band runs: alarm below ≤ low ≤ target ≤ high ≤ alarm above."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.installation.code} {self.parameter_id} {self.low}–{self.high}"


class Method(models.Model):
    """How a parameter is measured and how exactly."""

    key = models.CharField(max_length=40, primary_key=True)
    name = models.CharField(max_length=80)
    parameter = models.ForeignKey(Parameter, on_delete=models.CASCADE, related_name="methods")
    sd_abs = models.FloatField()
    sd_rel = models.FloatField(default=0)
    resolution = models.FloatField(null=True, blank=True)
    reagent = models.ForeignKey(Item, on_delete=models.SET_NULL, null=True, blank=True)
    is_default = models.BooleanField(default=False)

    class Meta:
        ordering = ["parameter__position", "name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Instrument(models.Model):
    """A meter, probe, kit or hydrometer and what it remembers: scale, reference temperatures, resolution, blank."""

    name = models.CharField(_("name on the instrument"), max_length=80, unique=True)
    data = models.JSONField(default=dict, help_text="{what an input recalls: canonical value or option}")
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Sampling(models.Model):
    """Water taken from one place of an installation at one time; carries its readings."""

    class Source(models.TextChoices):
        VISIT = "visit", _("visit")
        TYPED = "typed", _("typed in outside a visit")
        IMPORT = "import", _("imported")
        LAB = "lab", _("laboratory")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="samplings")
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    source = models.CharField(max_length=8, choices=Source)
    point = models.CharField(_("sampled at"), max_length=40, default="display")
    note = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["-taken_at"]

    def __str__(self) -> str:
        return f"{self.installation.code} {self.taken_at:%Y-%m-%d %H:%M}"


@audited()
class Reading(models.Model):
    """A measured value, canonical and as typed. A correction supersedes; nothing is overwritten."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    sampling = models.ForeignKey(Sampling, on_delete=models.PROTECT, related_name="readings")
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="readings")
    parameter = models.ForeignKey(Parameter, on_delete=models.PROTECT)
    taken_at = models.DateTimeField()
    value = models.FloatField()
    below_detection = models.BooleanField(default=False, help_text="value is an upper bound")
    sd = models.FloatField(help_text="standard deviation of the method at this value")
    typed_value = models.CharField(max_length=40)
    typed_unit = models.CharField(max_length=16)
    method = models.ForeignKey(Method, on_delete=models.PROTECT, null=True, blank=True)
    reagent_lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="readings")
    reagent_expired = models.BooleanField(default=False)
    confirmed_odd = models.BooleanField(
        default=False, help_text="outside the plausible, kept as typed when asked again"
    )
    superseded_by = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="supersedes"
    )

    class Meta:
        ordering = ["-taken_at"]
        indexes = [models.Index(fields=["installation", "parameter", "-taken_at"], name="reading_series")]
        constraints = [
            models.UniqueConstraint(
                fields=["sampling", "parameter"],
                condition=Q(superseded_by=None),
                name="reading_once_per_sampling",
            )
        ]

    def __str__(self) -> str:
        return f"{self.parameter_id} {self.value}"
