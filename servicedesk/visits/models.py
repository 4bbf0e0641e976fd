import pgtrigger
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.clients.models import Agreement, Site
from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import QUANTITY, Item, Lot, Move, StockPlace
from servicedesk.installations.models import Installation, PlantItem
from servicedesk.people.models import User
from servicedesk.readings.models import Sampling


@audited()
class Visit(models.Model):
    """One planned or done call at a site. What is planned is local date and time in the site's zone."""

    class Kind(models.TextChoices):
        ROUTINE = "routine", _("routine")
        EXTRA = "extra", _("extra")
        URGENT = "urgent", _("urgent")

    class State(models.TextChoices):
        DUE = "due", _("to be planned")
        PLANNED = "planned", _("planned")
        PUBLISHED = "published", _("on a round")
        STARTED = "started", _("being done")
        SIGNED = "signed", _("signed")
        NOT_DONE = "not_done", _("not done")
        CANCELLED = "cancelled", _("cancelled")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, null=True, blank=True, related_name="visits")
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.ROUTINE)
    state = models.CharField(max_length=10, choices=State, default=State.DUE)
    occurrence_on = models.DateField(null=True, blank=True, help_text="the rule's own date: identifies the occurrence")
    due_on = models.DateField(help_text="after holidays and closures were honoured")
    earliest_on = models.DateField()
    latest_on = models.DateField()
    due_why = models.CharField(max_length=200, blank=True, help_text="what moved it and why")
    needed_by = models.DateField(null=True, blank=True, help_text="earlier than due: a reading or a dose asks for it")
    needed_why = models.CharField(max_length=200, blank=True)
    duration_min = models.PositiveSmallIntegerField(validators=[MinValueValidator(1)])
    technician = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="visits")
    planned_on = models.DateField(null=True, blank=True)
    planned_start = models.TimeField(null=True, blank=True)
    promised_start = models.TimeField(null=True, blank=True, help_text="told to the client, ± half an hour")
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    not_done_reason = models.CharField(max_length=300, blank=True)
    cancelled_by = models.ForeignKey(
        User, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="empty: by the agreement"
    )
    form_version = models.PositiveIntegerField(default=0, help_text="rises with each stored answer")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["due_on", "site__name"]
        indexes = [
            models.Index(fields=["due_on"], name="visit_due"),
            models.Index(fields=["planned_on", "technician"], name="visit_round"),
            models.Index(fields=["site", "-due_on"], name="visit_site"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["agreement", "occurrence_on"], name="visit_occurrence_once"),
            models.CheckConstraint(condition=Q(earliest_on__lte=models.F("latest_on")), name="visit_days_in_order"),
            models.CheckConstraint(
                condition=~Q(state="signed") | Q(signed_at__isnull=False), name="visit_signed_has_time"
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="visit_keep", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="visit_frozen",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__signed_at__isnull=False)
                & (
                    pgtrigger.Q(old__signed_at__df=pgtrigger.F("new__signed_at"))
                    | pgtrigger.Q(old__state__df=pgtrigger.F("new__state"))
                    | pgtrigger.Q(old__site_id__df=pgtrigger.F("new__site_id"))
                    | pgtrigger.Q(old__started_at__df=pgtrigger.F("new__started_at"))
                    | pgtrigger.Q(old__ended_at__df=pgtrigger.F("new__ended_at"))
                    | pgtrigger.Q(old__technician_id__df=pgtrigger.F("new__technician_id"))
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.planned_on or self.due_on}"


@audited()
class VisitInstallation(models.Model):
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="covers")
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="visit_covers")
    sampling = models.OneToOneField(
        Sampling, on_delete=models.PROTECT, null=True, blank=True, related_name="visit_cover"
    )

    class Meta:
        ordering = ["installation__code"]
        constraints = [models.UniqueConstraint(fields=["visit", "installation"], name="visit_covers_once")]

    def __str__(self) -> str:
        return f"{self.visit_id} {self.installation.code}"


@audited()
class HandOn(models.Model):
    """A note for whoever comes next; it may carry a task, a part or a load line."""

    class Kind(models.TextChoices):
        NOTE = "note", _("note")
        TASK = "task", _("task")
        LOAD = "load", _("bring along")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="hand_ons")
    installation = models.ForeignKey(
        Installation, on_delete=models.PROTECT, null=True, blank=True, related_name="hand_ons"
    )
    from_visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="hand_ons_left")
    kind = models.CharField(max_length=6, choices=Kind, default=Kind.NOTE)
    text = models.CharField(max_length=400)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, null=True, blank=True)
    quantity = models.DecimalField(**QUANTITY, null=True, blank=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    at = models.DateTimeField()
    settled_by_visit = models.ForeignKey(
        Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="hand_ons_settled"
    )

    class Meta:
        ordering = ["-at"]
        indexes = [models.Index(fields=["site"], condition=Q(settled_by_visit=None), name="hand_on_open")]

    def __str__(self) -> str:
        return self.text


@audited()
class VisitTask(models.Model):
    """A line of the visit's checklist."""

    class Origin(models.TextChoices):
        AGREEMENT = "agreement", _("agreement")
        PLANT = "plant", _("service interval")
        PROGRAMME = "programme", _("programme")
        HAND_ON = "hand_on", _("note of the last visit")
        PERSON = "person", _("asked for")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="tasks")
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, null=True, blank=True)
    origin = models.CharField(max_length=10, choices=Origin)
    title = models.CharField(max_length=200)
    plant_item = models.ForeignKey(PlantItem, on_delete=models.PROTECT, null=True, blank=True)
    hand_on = models.ForeignKey(HandOn, on_delete=models.PROTECT, null=True, blank=True)
    dedupe_key = models.CharField(max_length=120)
    position = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["position", "title"]
        constraints = [models.UniqueConstraint(fields=["visit", "dedupe_key"], name="visit_task_once")]

    def __str__(self) -> str:
        return self.title


class VisitEntry(models.Model):
    """The latest answer to one field of a visit's form, exactly as typed, stored at each change.

    ``key`` is the field's key in the form declaration. ``operation`` is the UUIDv7 made by the
    tablet: the same operation sent again changes nothing.
    """

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="entries")
    key = models.CharField(max_length=120)
    typed = models.TextField(blank=True)
    unit = models.CharField(max_length=16, blank=True)
    not_done_reason = models.CharField(max_length=200, blank=True)
    confirmed = models.BooleanField(default=False, help_text="odd, asked again, kept as typed")
    operation = models.UUIDField(unique=True, default=new_id)
    entered_at = models.DateTimeField(help_text="by the tablet's clock")
    stored_at = models.DateTimeField(auto_now=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["visit", "key"], name="visit_entry_once")]

    def __str__(self) -> str:
        return f"{self.key}={self.typed}"


@audited()
class VisitPhoto(models.Model):
    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="photos")
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, null=True, blank=True)
    field_key = models.CharField(max_length=120, blank=True)
    file = models.ImageField(upload_to="visit_photos/%Y/%m/")
    sha256 = models.CharField(max_length=64)
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    for_client = models.BooleanField(default=True)
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)

    class Meta:
        ordering = ["taken_at"]
        constraints = [models.UniqueConstraint(fields=["visit", "sha256"], name="visit_photo_once")]

    def __str__(self) -> str:
        return self.caption or str(self.pk)


@audited()
class VisitUse(models.Model):
    """A consumable used at a visit, with the move it made in the ledger on sign-off."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="uses")
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, null=True, blank=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, blank=True)
    place = models.ForeignKey(StockPlace, on_delete=models.PROTECT)
    quantity = models.DecimalField(**QUANTITY)
    move = models.OneToOneField(Move, on_delete=models.PROTECT, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0),
                name="visit_use_positive",
                violation_error_message=_("The quantity must be more than nothing."),
            )
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.item.unit} {self.item}"


@audited()
class Signature(models.Model):
    class Who(models.TextChoices):
        TECHNICIAN = "technician", _("technician")
        CLIENT = "client", _("for the client")

    class How(models.TextChoices):
        DRAWN = "drawn", _("signed")
        ABSENT = "absent", _("nobody there")
        REFUSED = "refused", _("refused")

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="signatures")
    who = models.CharField(max_length=10, choices=Who)
    how = models.CharField(max_length=8, choices=How)
    name = models.CharField(max_length=120, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    strokes = models.JSONField(default=list, blank=True, help_text="[[[x, y], …], …] in a box of 600 × 200")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "who"], name="signature_once"),
            models.CheckConstraint(
                condition=Q(how="drawn") | ~Q(reason=""),
                name="signature_or_reason",
                violation_error_message=_("Say why there is no signature."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.who} {self.how}"


@audited()
class VisitReport(models.Model):
    """A revision of the report: a frozen canonical snapshot with its digest, and the PDF made from it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="reports")
    revision = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=300, blank=True, help_text="why this revision replaces the one before")
    snapshot = models.TextField(help_text="canonical JSON (RFC 8785 order), exactly the bytes that were hashed")
    sha256 = models.CharField(max_length=64)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    made_at = models.DateTimeField(auto_now_add=True)
    pdf = models.FileField(upload_to="visit_reports/%Y/%m/", blank=True)
    pdf_made_at = models.DateTimeField(null=True, blank=True)
    pdf_error = models.CharField(max_length=300, blank=True)
    reviewed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reviewed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    sent_to = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["visit", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "revision"], name="report_revision_once"),
            models.CheckConstraint(
                condition=Q(revision=1) | ~Q(reason=""),
                name="report_revision_has_reason",
                violation_error_message=_("Say why the report is corrected."),
            ),
        ]
        triggers = [
            pgtrigger.Protect(name="report_keep", operation=pgtrigger.Delete),
            pgtrigger.Protect(
                name="report_frozen",
                operation=pgtrigger.Update,
                condition=pgtrigger.Q(old__snapshot__df=pgtrigger.F("new__snapshot"))
                | pgtrigger.Q(old__sha256__df=pgtrigger.F("new__sha256"))
                | pgtrigger.Q(old__revision__df=pgtrigger.F("new__revision"))
                | pgtrigger.Q(old__visit_id__df=pgtrigger.F("new__visit_id")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.visit_id} revision {self.revision}"
