from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from servicedesk.common.audit import audited
from servicedesk.common.ids import new_id
from servicedesk.consumables.models import QUANTITY, Item
from servicedesk.people.models import User


@audited()
class ReorderReminder(models.Model):
    """One shortage of one item: raised once, closed when it was ordered or stock came back."""

    class State(models.TextChoices):
        OPEN = "open", _("to be ordered")
        ORDERED = "ordered", _("ordered")
        CLOSED = "closed", _("stock is back")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="reminders")
    state = models.CharField(max_length=8, choices=State, default=State.OPEN)
    balance = models.DecimalField(**QUANTITY)
    reorder_point = models.DecimalField(**QUANTITY)
    suggested = models.DecimalField(**QUANTITY)
    reason = models.CharField(max_length=200)
    raised_at = models.DateTimeField(auto_now_add=True)
    ordered_at = models.DateTimeField(null=True, blank=True)
    ordered_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True)
    order_note = models.CharField(max_length=140, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["state", "-raised_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["item"], condition=Q(state__in=["open", "ordered"]), name="one_reminder_per_shortage"
            )
        ]

    def __str__(self) -> str:
        return f"{self.item} {self.state}"
