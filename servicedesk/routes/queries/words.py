"""Why a visit is due and when its site is open, in words."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.clients.models import Site
from servicedesk.visits.models import Visit


def window_words(site: Site, day: date) -> list[str]:
    """When one may work at a site on a date, with a window of the evening before that still runs."""
    rows = []
    for window in site.access_windows.all():
        span = f"{window.opens:%H:%M}–{window.closes:%H:%M}"
        if window.weekday == day.weekday():
            rows.append(_("%(span)s next day") % {"span": span} if window.ends_next_day else span)
        elif window.ends_next_day and (window.weekday + 1) % 7 == day.weekday():
            rows.append(_("until %(closes)s, open since the evening before") % {"closes": f"{window.closes:%H:%M}"})
    return rows


def due_words(visit: Visit, late_days: int = 0) -> str:
    """Why a visit is due, in one sentence."""
    if visit.needed_by is not None and visit.needed_by < visit.due_on:
        return _("Needed by %(day)s: %(why)s") % {
            "day": date_format(visit.needed_by, "D j M"),
            "why": visit.needed_why,
        }
    words = _("Due %(day)s") % {"day": date_format(visit.due_on, "D j M")}
    if late_days:
        words += ", " + ngettext("%(n)d day overdue", "%(n)d days overdue", late_days) % {"n": late_days}
    elif visit.earliest_on != visit.latest_on:
        words += ", " + _("may be done from %(first)s to %(last)s") % {
            "first": date_format(visit.earliest_on, "D j M"),
            "last": date_format(visit.latest_on, "D j M"),
        }
    return f"{words}. {visit.due_why}" if visit.due_why else f"{words}."
