from decimal import Decimal
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.contrib.postgres.fields import ArrayField
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited

LATITUDE = [MinValueValidator(-90), MaxValueValidator(90)]
LONGITUDE = [MinValueValidator(-180), MaxValueValidator(180)]


class Role(models.TextChoices):
    PLANNER = "planner", _("planner")
    TECHNICIAN = "technician", _("technician")
    OFFICE = "office", _("office")
    LEAD_AQUARIST = "lead_aquarist", _("lead aquarist")
    OWNER = "owner", _("owner")


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        user = self.model(email=email.strip().lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> "User":
        return self.create_user(email, password, roles=[Role.OWNER], is_superuser=True, **fields)

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email__iexact=username)


@audited(exclude=["password", "last_login"])
class User(AbstractBaseUser, PermissionsMixin):
    """A person who signs in. What they may do follows from ``roles`` (people/permissions.py)."""

    class Theme(models.TextChoices):
        LIGHT = "light", _("light")
        DARK = "dark", _("dark")
        LAMP = "lamp", _("night lamp")

    class UnitSystem(models.TextChoices):
        METRIC = "metric", _("metric (L, °C)")
        US = "us", _("US (gal, °F)")

    email = models.EmailField(_("email"))
    name = models.CharField(_("name"), max_length=120)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    roles = ArrayField(models.CharField(max_length=20, choices=Role), default=list, blank=True)
    is_active = models.BooleanField(_("may sign in"), default=True)
    theme = models.CharField(max_length=8, choices=Theme, default=Theme.LIGHT)
    unit_system = models.CharField(max_length=8, choices=UnitSystem, default=UnitSystem.US)
    alkalinity_unit = models.CharField(
        max_length=10, default="dKH", choices=[("dKH", "dKH"), ("meq_l", "meq/L"), ("ppm_caco3", "ppm CaCO₃")]
    )
    created_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects: ClassVar[UserManager] = UserManager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                Lower("email"),
                name="user_email_once",
                violation_error_message=_("Somebody already signs in with this email."),
            ),
            models.CheckConstraint(
                condition=Q(roles__contained_by=[role.value for role in Role]), name="user_roles_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def has_role(self, *roles: str) -> bool:
        return bool(set(roles) & set(self.roles))


@audited()
class Firm(models.Model):
    """The firm itself: one row; letterhead, paper, currency and rules that hold for all."""

    class Paper(models.TextChoices):
        LETTER = "Letter", _("US Letter")
        A4 = "A4", "A4"

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.CharField(max_length=120)
    strapline = models.CharField(max_length=160, blank=True)
    address = models.TextField()
    phone = models.CharField(max_length=40)
    emergency_phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField()
    office_list = models.JSONField(default=list, help_text=_("addresses that get reorder and renewal reminders"))
    tax_id = models.CharField(max_length=40, blank=True)
    bank_details = models.TextField(blank=True)
    currency = models.CharField(max_length=3, default="USD")
    paper = models.CharField(max_length=8, choices=Paper, default=Paper.LETTER)
    time_zone = models.CharField(max_length=64, default="America/Chicago")
    invoice_prefix = models.CharField(max_length=8, default="S")

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="firm_only_one")]

    def __str__(self) -> str:
        return self.name


@audited()
class Depot(models.Model):
    """A store where vans are loaded; also a technician's place of start and end if not at home."""

    name = models.CharField(max_length=80, unique=True)
    address = models.CharField(max_length=200)
    city = models.CharField(max_length=80)
    latitude = models.FloatField(validators=LATITUDE)
    longitude = models.FloatField(validators=LONGITUDE)
    time_zone = models.CharField(max_length=64)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Technician(models.Model):
    """What the planner needs to know about a person who drives rounds."""

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="technician")
    initials = models.CharField(max_length=4, unique=True)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="technicians")
    home_address = models.CharField(_("home base"), max_length=200, blank=True)
    home_latitude = models.FloatField(validators=LATITUDE)
    home_longitude = models.FloatField(validators=LONGITUDE)
    time_zone = models.CharField(max_length=64)
    hourly_cost = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("32"))
    overtime_factor = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal("1.5"))
    max_overtime_min = models.PositiveSmallIntegerField(default=120)
    km_cost = models.DecimalField(max_digits=6, decimal_places=3, default=Decimal("0.42"))
    may_stay_away = models.BooleanField(
        _("may stay away at night"),
        default=False,
        help_text=_("Nights in a lodging are planned only for people who agreed to them."),
    )
    most_nights = models.PositiveSmallIntegerField(
        _("most nights away a week"), default=2, validators=[MaxValueValidator(6)]
    )
    first_day = models.DateField()
    last_day = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["user__name"]
        constraints = [models.CheckConstraint(condition=Q(most_nights__lte=6), name="technician_most_nights")]

    def __str__(self) -> str:
        return self.user.name


@audited()
class WorkingHours(models.Model):
    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="working_hours")
    weekday = models.PositiveSmallIntegerField(validators=[MaxValueValidator(6)], help_text=_("0 is Monday"))
    starts = models.TimeField()
    ends = models.TimeField()
    lunch_min = models.PositiveSmallIntegerField(default=30)
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["weekday", "starts"]
        constraints = [
            models.UniqueConstraint(fields=["technician", "weekday", "valid_from"], name="hours_once_per_day"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="hours_weekday"),
        ]

    def __str__(self) -> str:
        return f"{self.technician} {self.weekday} {self.starts}–{self.ends}"


@audited()
class PayRule(models.Model):
    """How a person's hours are paid from a day on: what is overtime, which hours are night, what they earn more."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="pay_rules")
    valid_from = models.DateField(_("from"))
    day_hours = models.DecimalField(
        _("overtime after hours a day"), max_digits=4, decimal_places=2, null=True, blank=True,
        validators=[MinValueValidator(Decimal("0.25")), MaxValueValidator(Decimal(24))],
    )  # fmt: skip
    week_hours = models.DecimalField(
        _("overtime after hours a week"), max_digits=5, decimal_places=2, null=True, blank=True, default=Decimal(40),
        validators=[MinValueValidator(Decimal(1)), MaxValueValidator(Decimal(168))],
    )  # fmt: skip
    night_from = models.TimeField(_("night from"), null=True, blank=True)
    night_to = models.TimeField(_("night to"), null=True, blank=True)
    night_premium = models.DecimalField(
        _("more for an hour at night"), max_digits=6, decimal_places=2, default=Decimal(0),
        validators=[MinValueValidator(Decimal(0))],
    )  # fmt: skip

    class Meta:
        ordering = ["valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["technician", "valid_from"],
                name="pay_rule_once_a_day",
                violation_error_message=_("There is a rule from this day on already."),
            ),
            models.CheckConstraint(
                condition=Q(night_from=None, night_to=None) | Q(night_from__isnull=False, night_to__isnull=False),
                name="pay_rule_night_whole",
                violation_error_message=_("A night needs its beginning and its end."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.technician} {self.valid_from}"


@audited()
class Leave(models.Model):
    class Part(models.TextChoices):
        DAY = "day", _("whole days")
        MORNING = "morning", _("mornings")
        AFTERNOON = "afternoon", _("afternoons")

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="leave")
    first_day = models.DateField()
    last_day = models.DateField()
    part = models.CharField(max_length=10, choices=Part, default=Part.DAY)
    reason = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["first_day"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="leave_days_in_order",
                violation_error_message=_("The last day is before the first."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician} {self.first_day}–{self.last_day}"


@audited()
class Van(models.Model):
    name = models.CharField(max_length=60, unique=True)
    plate = models.CharField(max_length=20, unique=True)
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="vans")
    technician = models.OneToOneField(Technician, on_delete=models.SET_NULL, null=True, blank=True, related_name="van")
    payload_kg = models.FloatField(validators=[MinValueValidator(0)], help_text=_("with driver and fixed kit"))
    fixed_kit_kg = models.FloatField(default=0, validators=[MinValueValidator(0)])
    driver_kg = models.FloatField(default=90, validators=[MinValueValidator(0)])
    water_tank_l = models.FloatField(default=0, validators=[MinValueValidator(0)])
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Lodging(models.Model):
    """Where people sleep who do not drive home from a far city."""

    name = models.CharField(max_length=80, unique=True)
    address = models.CharField(max_length=200)
    city = models.CharField(max_length=80)
    phone = models.CharField(max_length=40, blank=True)
    latitude = models.FloatField(validators=LATITUDE)
    longitude = models.FloatField(validators=LONGITUDE)
    time_zone = models.CharField(max_length=64)
    price_per_night = models.DecimalField(max_digits=8, decimal_places=2, validators=[MinValueValidator(Decimal(0))])
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=Q(price_per_night__gte=0), name="lodging_price")]

    def __str__(self) -> str:
        return self.name


@audited()
class PermissionKind(models.Model):
    """A skill, ticket, licence or site badge that a visit may need."""

    class Kind(models.TextChoices):
        SKILL = "skill", _("skill")
        TICKET = "ticket", _("ticket")
        LICENCE = "licence", _("licence")
        BADGE = "badge", _("site badge")

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    warn_days = models.PositiveSmallIntegerField(default=30, help_text=_("days ahead to warn of renewal"))

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Permission(models.Model):
    """A person's permission with its first and last day; what counts is validity on the day of the visit."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="permissions_held")
    kind = models.ForeignKey(PermissionKind, on_delete=models.PROTECT, related_name="held")
    number = models.CharField(max_length=60, blank=True)
    first_day = models.DateField()
    last_day = models.DateField()
    warned_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["last_day"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="permission_days_in_order",
                violation_error_message=_("The last day is before the first."),
            ),
            models.UniqueConstraint(fields=["user", "kind", "first_day"], name="permission_once"),
        ]

    def __str__(self) -> str:
        return f"{self.user}: {self.kind} to {self.last_day}"
