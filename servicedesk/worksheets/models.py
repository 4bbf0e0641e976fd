import pgtrigger
from django.db import models
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.installations.models import Installation
from servicedesk.people.models import User


@audited()
class KeptWorksheet(models.Model):
    """A worked worksheet as it stood when it was kept for an installation; never changed, at most withdrawn."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="kept_worksheets")
    worksheet = models.CharField(max_length=60)
    title = models.CharField(max_length=120)
    record = models.JSONField(help_text="science.worksheets.record: canonical values and what was shown")
    note = models.CharField(_("note"), max_length=200, blank=True)
    kept_at = models.DateTimeField(auto_now_add=True)
    kept_by = models.ForeignKey(User, on_delete=models.PROTECT)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        ordering = ["-kept_at"]
        indexes = [models.Index(fields=["installation", "worksheet", "-kept_at"], name="kept_worksheet_latest")]
        triggers = [
            pgtrigger.ReadOnly(
                name="kept_worksheet_stands",
                fields=["installation", "worksheet", "title", "record", "note", "kept_at", "kept_by"],
            ),
            pgtrigger.Protect(name="kept_worksheet_stays", operation=pgtrigger.Delete),
        ]

    def __str__(self) -> str:
        return f"{self.title} {self.kept_at:%Y-%m-%d}"

    def output(self, key: str) -> float | None:
        """A result by its key, canonical."""
        for row in self.record["outputs"]:
            if row["key"] == key and isinstance(row["value"], int | float):
                return float(row["value"])
        return None
