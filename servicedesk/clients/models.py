from decimal import Decimal
from typing import Any

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DateRangeField, RangeOperators
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.crypto import SecretTextField
from servicedesk.people.models import LATITUDE, LONGITUDE, PermissionKind, User

WEEKDAY_NAMES = [
    _("Monday"),
    _("Tuesday"),
    _("Wednesday"),
    _("Thursday"),
    _("Friday"),
    _("Saturday"),
    _("Sunday"),
]


@audited()
class Client(models.Model):
    """Who pays."""

    class CustomerType(models.TextChoices):
        BUSINESS = "business", _("business")
        PRIVATE = "private", _("private person")
        PUBLIC = "public", _("public body or tax-exempt")

    number = models.CharField(max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=120)
    customer_type = models.CharField(max_length=10, choices=CustomerType, default=CustomerType.BUSINESS)
    tax_id = models.CharField(_("tax or exemption number"), max_length=40, blank=True)
    currency = models.CharField(
        max_length=3,
        default="USD",
        validators=[RegexValidator(r"^[A-Z]{3}$", _("Three capital letters, such as USD."))],
    )
    payment_days = models.PositiveSmallIntegerField(_("days to pay"), default=30, validators=[MaxValueValidator(180)])
    buyer_reference = models.CharField(_("their reference on invoices"), max_length=60, blank=True)
    language = models.CharField(max_length=10, default="en-us")
    unit_system = models.CharField(max_length=8, choices=User.UnitSystem, default=User.UnitSystem.US)
    alkalinity_unit = models.CharField(
        max_length=10, default="dKH", choices=[("dKH", "dKH"), ("meq_l", "meq/L"), ("ppm_caco3", "ppm CaCO₃")]
    )
    notes = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]
        indexes = [models.Index(fields=["name"], name="client_name")]

    def __str__(self) -> str:
        return self.name


@audited()
class ClientAddress(models.Model):
    """A client's billing address in force from a day; a move adds a row and ends the old one."""

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="addresses")
    valid = DateRangeField(help_text=_("[from, to)"))
    street = models.CharField(max_length=200)
    city = models.CharField(max_length=80)
    region = models.CharField(_("state or region"), max_length=40, blank=True)
    postcode = models.CharField(max_length=20)
    country = models.CharField(max_length=2, default="US")

    class Meta:
        ordering = ["valid"]
        constraints = [
            ExclusionConstraint(
                name="client_address_one_at_a_time",
                expressions=[("client", RangeOperators.EQUAL), ("valid", RangeOperators.OVERLAPS)],
            )
        ]

    def __str__(self) -> str:
        return f"{self.street}, {self.city}"


@audited()
class Site(models.Model):
    """A place we drive to."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(_("name"), max_length=120)
    street = models.CharField(_("street"), max_length=200)
    city = models.CharField(_("city"), max_length=80)
    region = models.CharField(_("state or region"), max_length=40)
    postcode = models.CharField(_("postcode"), max_length=20)
    country = models.CharField(max_length=2, default="US")
    latitude = models.FloatField(_("latitude"), validators=LATITUDE)
    longitude = models.FloatField(_("longitude"), validators=LONGITUDE)
    time_zone = models.CharField(_("time zone"), max_length=64)
    holiday_region = models.CharField(
        _("public holidays of"), max_length=12, blank=True, help_text=_("country and state, such as US-TN")
    )
    access_notes = models.TextField(_("how to get in"), blank=True)
    parking_notes = models.TextField(_("parking and unloading"), blank=True)
    phone = models.CharField(_("the one number to ring"), max_length=40, blank=True)
    needed_permissions = models.ManyToManyField(
        PermissionKind, blank=True, related_name="sites", verbose_name=_("a person needs")
    )
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(latitude__range=(-90, 90)) & Q(longitude__range=(-180, 180)), name="site_on_earth"
            ),
            models.UniqueConstraint(fields=["client", "name"], name="site_name_once_per_client"),
        ]

    def __str__(self) -> str:
        return self.name


@audited()
class Contact(models.Model):
    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="contacts")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, null=True, blank=True, related_name="contacts")
    name = models.CharField(_("name"), max_length=120)
    role = models.CharField(_("what they do"), max_length=80, blank=True)
    email = models.EmailField(_("email"), blank=True)
    phone = models.CharField(_("phone"), max_length=40, blank=True)
    gets_reports = models.BooleanField(_("gets visit reports"), default=False)
    gets_invoices = models.BooleanField(_("gets invoices"), default=False)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


@audited()
class AccessWindow(models.Model):
    """When we may work there. Closing at or before opening means the next date: still one window."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="access_windows")
    weekday = models.PositiveSmallIntegerField(_("day"), choices=list(enumerate(WEEKDAY_NAMES)))
    opens = models.TimeField(_("from"))
    closes = models.TimeField(_("to"))

    class Meta:
        ordering = ["weekday", "opens"]
        constraints = [
            models.CheckConstraint(condition=Q(weekday__lte=6), name="window_weekday"),
            models.UniqueConstraint(fields=["site", "weekday", "opens"], name="window_once"),
        ]

    def __str__(self) -> str:
        return f"{WEEKDAY_NAMES[self.weekday]} {self.opens:%H:%M}–{self.closes:%H:%M}"

    @property
    def ends_next_day(self) -> bool:
        return self.closes <= self.opens


@audited()
class Closure(models.Model):
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="closures")
    first_day = models.DateField(_("first day"))
    last_day = models.DateField(_("last day"))
    reason = models.CharField(_("reason"), max_length=120)

    class Meta:
        ordering = ["first_day"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="closure_days_in_order",
                violation_error_message=_("The last day is before the first."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.reason} {self.first_day}–{self.last_day}"


@audited()
class SiteKey(models.Model):
    """A key, fob or card of the site and who holds it now; the audit trail keeps who held it before."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="keys")
    label = models.CharField(_("key"), max_length=60)
    holder = models.ForeignKey(
        User,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="keys_held",
        verbose_name=_("held by"),
    )
    kept_at = models.CharField(_("or kept at"), max_length=120, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["label"]

    def __str__(self) -> str:
        return self.label


@audited(exclude=["secret"])
class GateCode(models.Model):
    """A door or alarm code, encrypted at rest, shown only to whoever is on the round."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="gate_codes")
    label = models.CharField(_("door"), max_length=60)
    secret = SecretTextField(_("code"))
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["label"]

    def __str__(self) -> str:
        return self.label


@audited()
class Agreement(models.Model):
    """What the client bought for a site: how often, on which days, how long, for how much."""

    class DayRule(models.TextChoices):
        SKIP = "skip", _("leave that visit out")
        EARLIER = "earlier", _("come on the last open day before")
        LATER = "later", _("come on the first open day after")
        KEEP = "keep", _("come all the same")

    class FeeBasis(models.TextChoices):
        PER_VISIT = "visit", _("per visit")
        MONTHLY = "month", _("per month")

    class Cadence(models.TextChoices):
        WEEKLY = "weekly", _("weeks")
        MONTHLY_DAY = "monthly", _("months, on a weekday of the month")
        DAILY = "daily", _("days")

    number = models.CharField(max_length=16, unique=True)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="agreements")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="agreements")
    title = models.CharField(_("title"), max_length=120)
    starts_on = models.DateField(_("first day"))
    ends_on = models.DateField(_("last day"), null=True, blank=True)
    rule = models.CharField(
        _("recurrence"),
        max_length=200,
        help_text="RFC 5545 RRULE without DTSTART; people see it in words only",
    )
    first_visit_on = models.DateField(_("first visit"))
    allowed_weekdays = ArrayField(
        models.PositiveSmallIntegerField(),
        default=list,
        blank=True,
        help_text=_("empty: any day with an access window"),
    )
    slack_days_before = models.PositiveSmallIntegerField(
        _("may come earlier by (days)"), default=1, validators=[MaxValueValidator(14)]
    )
    slack_days_after = models.PositiveSmallIntegerField(
        _("may come later by (days)"), default=2, validators=[MaxValueValidator(14)]
    )
    duration_min = models.PositiveSmallIntegerField(
        _("minutes on site"), default=90, validators=[MinValueValidator(10), MaxValueValidator(960)]
    )
    learn_duration = models.BooleanField(
        _("plan with the length learned from past visits"),
        default=True,
        help_text=_("otherwise with the minutes typed here"),
    )
    people_needed = models.PositiveSmallIntegerField(
        _("people"), default=1, validators=[MinValueValidator(1), MaxValueValidator(4)]
    )
    second_person_min = models.PositiveSmallIntegerField(_("minutes with the second person"), default=0)
    preferred_technician = models.ForeignKey(
        User, on_delete=models.SET_NULL, null=True, blank=True, related_name="preferred_by"
    )
    only_preferred = models.BooleanField(_("only this person"), default=False)
    barred_technicians = models.ManyToManyField(User, blank=True, related_name="barred_by")
    anchored = models.BooleanField(
        _("keep to the calendar"), default=True, help_text=_("a late visit does not shift the next one")
    )
    holiday_rule = models.CharField(_("on a public holiday"), max_length=10, choices=DayRule, default=DayRule.LATER)
    closure_rule = models.CharField(
        _("when the site is closed"), max_length=10, choices=DayRule, default=DayRule.EARLIER
    )
    visits_sold_per_year = models.PositiveSmallIntegerField(_("visits sold a year"), default=26)
    lateness_cost_per_day = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("20"))
    skip_cost = models.DecimalField(max_digits=8, decimal_places=2, default=Decimal("400"))
    fee_basis = models.CharField(max_length=8, choices=FeeBasis, default=FeeBasis.PER_VISIT)
    included_labour_min = models.PositiveSmallIntegerField(
        _("minutes included in the fee"), null=True, blank=True, help_text=_("empty: all time is included")
    )
    archived_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on=None) | Q(ends_on__gte=F("starts_on")),
                name="agreement_days_in_order",
                violation_error_message=_("The last day is before the first."),
            ),
            models.CheckConstraint(
                condition=Q(first_visit_on__gte=F("starts_on")),
                name="agreement_first_visit_inside",
                violation_error_message=_("The first visit is before the agreement starts."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    def in_force(self, day: Any) -> bool:
        return bool(self.starts_on <= day and (self.ends_on is None or day <= self.ends_on))


@audited()
class AgreementPrice(models.Model):
    """Prices of an agreement from a day on; last year's invoice keeps last year's price."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="prices")
    valid_from = models.DateField()
    fee = models.DecimalField(max_digits=10, decimal_places=2, validators=[MinValueValidator(Decimal(0))])
    hourly_rate = models.DecimalField(max_digits=8, decimal_places=2, validators=[MinValueValidator(Decimal(0))])
    callout_fee = models.DecimalField(
        max_digits=8, decimal_places=2, default=Decimal(0), validators=[MinValueValidator(Decimal(0))]
    )

    class Meta:
        ordering = ["-valid_from"]
        constraints = [models.UniqueConstraint(fields=["agreement", "valid_from"], name="agreement_price_once")]

    def __str__(self) -> str:
        return f"{self.agreement.number} {self.fee} from {self.valid_from}"
