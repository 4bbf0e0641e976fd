from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeOperators
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.installations.models import Installation
from servicedesk.people.models import Depot, User, Van

QUANTITY: dict[str, Any] = {"max_digits": 14, "decimal_places": 3}


@audited()
class Item(models.Model):
    """Something used up: salt, media, gas, reagent, feed, membrane, lamp."""

    class Kind(models.TextChoices):
        SALT_MIX = "salt_mix", _("salt mix")
        CHEMICAL = "chemical", _("dosing salt or solution")
        MEDIA = "media", _("media or resin")
        GAS = "gas", _("gas")
        REAGENT = "reagent", _("test reagent")
        FEED = "feed", _("feed")
        PART = "part", _("part, membrane or lamp")
        WATER = "water", _("mixed water")

    class Unit(models.TextChoices):
        GRAM = "g", "g"
        MILLILITRE = "mL", "mL"
        LITRE = "L", "L"
        EACH = "each", _("each")

    code = models.CharField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=120)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    unit = models.CharField(_("counted in"), max_length=6, choices=Unit)
    pack_quantity = models.DecimalField(
        _("one pack holds"), **QUANTITY, validators=[MinValueValidator(Decimal("0.001"))]
    )
    pack_name = models.CharField(_("pack"), max_length=40, default="pack")
    product = models.CharField(
        _("chemical"), max_length=40, blank=True, help_text="key of a product in science.water.dosing"
    )
    parameter = models.CharField(
        _("tests for"), max_length=30, blank=True, help_text="key of the parameter a reagent measures"
    )
    kg_per_unit = models.DecimalField(_("kg per unit"), max_digits=10, decimal_places=5, default=Decimal("0.001"))
    cost_per_unit = models.DecimalField(
        _("cost per unit"),
        max_digits=10,
        decimal_places=4,
        default=Decimal(0),
        validators=[MinValueValidator(Decimal(0))],
    )
    price_per_unit = models.DecimalField(
        _("price per unit"),
        max_digits=10,
        decimal_places=4,
        default=Decimal(0),
        validators=[MinValueValidator(Decimal(0))],
    )
    shelf_days = models.PositiveSmallIntegerField(_("keeps, closed (days)"), null=True, blank=True)
    opened_days = models.PositiveSmallIntegerField(_("keeps, opened (days)"), null=True, blank=True)
    reorder_point = models.DecimalField(
        _("reorder at"), **QUANTITY, default=Decimal(0), validators=[MinValueValidator(Decimal(0))]
    )
    reorder_quantity = models.DecimalField(
        _("order this much"), **QUANTITY, default=Decimal(0), validators=[MinValueValidator(Decimal(0))]
    )
    supplier = models.CharField(_("supplier"), max_length=120, blank=True)
    hazard = models.CharField(_("caution"), max_length=200, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["kind", "name"]

    def __str__(self) -> str:
        return self.name


@audited()
class Lot(models.Model):
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="lots")
    code = models.CharField(_("lot number"), max_length=40)
    expires_on = models.DateField(_("use by"), null=True, blank=True)
    opened_on = models.DateField(_("opened"), null=True, blank=True)
    blocked_reason = models.CharField(_("blocked because"), max_length=120, blank=True)

    class Meta:
        ordering = ["expires_on", "code"]
        constraints = [models.UniqueConstraint(fields=["item", "code"], name="lot_once_per_item")]

    def __str__(self) -> str:
        return f"{self.item} · {self.code}"


@audited()
class StockPlace(models.Model):
    """Where consumables are: our stores and vans, a site's shelf, and the outside world's ends of the ledger."""

    class Kind(models.TextChoices):
        STORE = "store", _("store")
        VAN = "van", _("van")
        SITE = "site", _("on site")
        SUPPLIER = "supplier", _("supplier")
        USED = "used", _("used")
        WASTE = "waste", _("thrown away")
        COUNT = "count", _("count difference")

    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=10, choices=Kind)
    depot = models.OneToOneField(Depot, on_delete=models.PROTECT, null=True, blank=True, related_name="stock_place")
    van = models.OneToOneField(Van, on_delete=models.PROTECT, null=True, blank=True, related_name="stock_place")
    site = models.OneToOneField(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="stock_place")

    class Meta:
        ordering = ["kind", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="store", depot__isnull=False)
                | Q(kind="van", van__isnull=False)
                | Q(kind="site", site__isnull=False)
                | Q(kind__in=["supplier", "used", "waste", "count"]),
                name="stock_place_is_somewhere",
            )
        ]

    def __str__(self) -> str:
        return self.name


@audited()
class Move(models.Model):
    """One entry of the ledger: a quantity of a lot leaves one place and enters another. Never edited."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    key = models.CharField(max_length=120, unique=True, help_text="idempotency key of the caller")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="moves")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True, related_name="moves")
    quantity = models.DecimalField(**QUANTITY)
    from_place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="moves_out")
    to_place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="moves_in")
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    reason = models.CharField(max_length=160, blank=True)
    document = models.CharField(max_length=80, blank=True, db_index=True, help_text="what caused it, e.g. visit:UUID")
    below_zero = models.BooleanField(default=False, help_text="flagged: the books had less than was taken")

    class Meta:
        ordering = ["-at"]
        indexes = [
            models.Index(fields=["item", "from_place"], name="move_item_from"),
            models.Index(fields=["item", "to_place"], name="move_item_to"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="move_quantity_positive",
                violation_error_message=_("The quantity must be more than nothing."),
            ),
            models.CheckConstraint(
                condition=~Q(from_place=F("to_place")),
                name="move_between_two_places",
                violation_error_message=_("Choose two different places."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.item.unit} {self.item}"


@audited()
class IncludedMaterial(models.Model):
    """What an agreement's fee includes at each visit; more than this is billed."""

    agreement = models.ForeignKey(Agreement, on_delete=models.CASCADE, related_name="included_materials")
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="included_in")
    quantity_per_visit = models.DecimalField(**QUANTITY, validators=[MinValueValidator(Decimal(0))])

    class Meta:
        constraints = [models.UniqueConstraint(fields=["agreement", "item"], name="included_once")]

    def __str__(self) -> str:
        return f"{self.quantity_per_visit} {self.item.unit} {self.item}"


@audited()
class LoanMachine(models.Model):
    """A machine of ours that we hire out: where it is, since when and for whom it is kept, by its stays."""

    class Kind(models.TextChoices):
        CHILLER = "chiller", _("chiller")
        HEATER = "heater", _("heater")
        PUMP = "pump", _("pump")
        AIR = "air", _("air pump")
        SKIMMER = "skimmer", _("skimmer")
        UV = "uv", _("UV steriliser")
        WATER = "water", _("RO/DI unit")
        TUB = "tub", _("holding tub")
        POWER = "power", _("power supply")
        OTHER = "other", _("other")

    code = models.CharField(_("label"), max_length=12, unique=True, help_text=_("what is written on it, such as LC-2"))
    name = models.CharField(_("name"), max_length=80)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind)
    size = models.CharField(_("size"), max_length=60, blank=True, help_text=_("such as 1,200 W, 3,000 L/h, 400 L"))
    mass_kg = models.DecimalField(
        _("weighs (kg)"), max_digits=6, decimal_places=1, null=True, blank=True,
        validators=[MinValueValidator(Decimal(0))],
    )  # fmt: skip
    serial = models.CharField(_("serial number"), max_length=60, blank=True)
    note = models.CharField(_("to know about it"), max_length=200, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["kind", "code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


@audited()
class LoanStay(models.Model):
    """Where a loan machine was from a moment on. The stay without an end is where it is now."""

    machine = models.ForeignKey(LoanMachine, on_delete=models.PROTECT, related_name="stays")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    van = models.ForeignKey(Van, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, blank=True, related_name="loans")
    installation = models.ForeignKey(
        Installation, on_delete=models.PROTECT, null=True, blank=True, related_name="loans"
    )
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    due_back_on = models.DateField(_("due back"), null=True, blank=True)
    note = models.CharField(max_length=160, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-since"]
        constraints = [
            models.UniqueConstraint(fields=["machine"], condition=Q(until=None), name="loan_at_one_place"),
            models.CheckConstraint(condition=Q(until=None) | Q(until__gte=F("since")), name="loan_stay_in_order"),
            models.CheckConstraint(
                condition=Q(depot__isnull=False, van=None, site=None)
                | Q(depot=None, van__isnull=False, site=None)
                | Q(depot=None, van=None, site__isnull=False),
                name="loan_stay_is_somewhere",
            ),
            models.CheckConstraint(
                condition=Q(site__isnull=False) | Q(installation=None, due_back_on=None), name="loan_due_back_from_site"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} {self.where}"

    @property
    def where(self) -> str:
        if self.installation is not None:
            return f"{self.site}, {self.installation}"
        return str(self.site or self.van or self.depot)


@audited()
class LoanReservation(models.Model):
    """A loan machine kept for a site for some days; no two sites have it on one day."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    machine = models.ForeignKey(LoanMachine, on_delete=models.PROTECT, related_name="reservations")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="loan_reservations")
    days = DateRangeField(help_text=_("[from, to)"))
    why = models.CharField(max_length=160, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True, help_text="taken out, or given up")

    class Meta:
        ordering = ["days"]
        constraints = [
            ExclusionConstraint(
                name="loan_reserved_once",
                expressions=[("machine", RangeOperators.EQUAL), ("days", RangeOperators.OVERLAPS)],
                condition=Q(ended_at=None),
                violation_error_message=_("It is kept for somebody else in these days."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.machine} {self.site}"

    @property
    def first_day(self) -> date:
        first: date = self.days.lower
        return first

    @property
    def last_day(self) -> date:
        """The last day it is kept; the range itself ends the day after."""
        after: date = self.days.upper
        return after - timedelta(days=1)
