"""Whether a day is over, by the clock of whoever drives it: the reader may sit in another zone."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.queries.round import today_of


def over_words(technician: Technician, day: date) -> str:
    """Says that a technician's day is over, else an empty text."""
    if day >= today_of(technician):
        return ""
    return _("%(day)s is over; its rounds stay as they are.") % {"day": date_format(day, "D j M")}
