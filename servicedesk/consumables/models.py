from decimal import Decimal
from typing import Any

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
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
