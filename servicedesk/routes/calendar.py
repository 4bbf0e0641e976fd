"""A technician's published stops as an iCalendar object (RFC 5545), with the zones it speaks of.

Whoever has the address can read it, so it says only where and when: no door codes, keys, notes or telephone numbers.
"""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime, timedelta

from django.utils.translation import gettext as _
from icalendar import Calendar, Event, Timezone, vDatetime, vGeo

from servicedesk.people.models import Technician
from servicedesk.routes.queries.feeds import Appointment, NightAway
from servicedesk.routes.vtimezone import vtimezone

PRODUCT = "-//Saltround//Rounds 1//EN"
SEQUENCE_FROM = datetime(2020, 1, 1, tzinfo=UTC)
REFRESH = timedelta(minutes=30)


def calendar_of(
    technician: Technician,
    rows: Iterable[Appointment],
    link: Callable[[Appointment], str],
    nights: Iterable[NightAway] = (),
) -> bytes:
    """The feed, byte for byte the same while nothing changes. ``link``: the page of a stop, behind the sign-in."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    calendar.add("name", _("Rounds of %(name)s") % {"name": technician})
    calendar.add("x-wr-calname", _("Rounds of %(name)s") % {"name": technician})
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    found, away = list(rows), list(nights)
    for zone in _zones(found, away):
        calendar.add_component(zone)
    for row in found:
        calendar.add_component(_event(row, link(row)))
    for night in away:
        calendar.add_component(_night(night))
    return bytes(calendar.to_ical())


def _zones(rows: Iterable[Appointment], nights: Iterable[NightAway]) -> list[Timezone]:
    """Each zone that a time is told in, once."""
    years: dict[str, set[int]] = {}
    for row in rows:
        years.setdefault(row.visit.site.time_zone, set()).update({row.begins.year, row.ends.year})
    for night in nights:
        years.setdefault(night.lodging.time_zone, set()).update({night.begins.year, night.ends.year})
    return [vtimezone(key, min(found), max(found)) for key, found in sorted(years.items())]


def _event(row: Appointment, url: str) -> Event:
    site, event = row.visit.site, _stamped(row.uid, row)
    event.add("summary", f"{site.name}: {row.help_words}" if row.helps else site.name)
    event.add("location", f"{site.street}, {site.city}, {site.region} {site.postcode}".strip())
    event["geo"] = vGeo((site.latitude, site.longitude))
    event.add("description", "\n".join(_lines(row)))
    event.add("url", url)
    event.add("status", "CONFIRMED")
    event.add("transp", "OPAQUE")
    event.add("class", "PRIVATE")
    return event


def _night(row: NightAway) -> Event:
    """A night away: where to sleep, without taking the time from other things."""
    lodging, event = row.lodging, _stamped(str(row.id), row)
    event.add("summary", _("Night at %(lodging)s") % {"lodging": lodging.name})
    event.add("location", f"{lodging.address}, {lodging.city}")
    event["geo"] = vGeo((lodging.latitude, lodging.longitude))
    event.add("status", "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    event.add("class", "PRIVATE")
    return event


def _stamped(uid: str, row: Appointment | NightAway) -> Event:
    """An event with what tells a calendar whether it knows it already, and when it is."""
    event = Event()
    changed = row.changed_at.astimezone(UTC).replace(microsecond=0)
    event.add("uid", uid)
    event["dtstamp"] = vDatetime(changed)
    event["last-modified"] = vDatetime(changed)
    event.add("sequence", max(int((changed - SEQUENCE_FROM).total_seconds() // 60), 0))
    begins, ends = _told(row)
    event.add("dtstart", begins)
    event.add("dtend", ends)
    return event


def _told(row: Appointment | NightAway) -> tuple[datetime, datetime]:
    """Local times with their zone; in the hour that the clock strikes twice UTC, as local time there means the first
    (RFC 5545, section 3.3.5)."""
    if row.begins.fold or row.ends.fold:
        return row.begins.astimezone(UTC), row.ends.astimezone(UTC)
    return row.begins, row.ends


def _lines(row: Appointment) -> list[str]:
    lines = [_("Stop %(n)d of the round.") % {"n": row.number}] if row.number else []
    if row.helps:
        lines.append(_("The visit is that of %(name)s, who fills in the form.") % {"name": row.helps})
    else:
        lines += [row.helper_words] if row.helper_words else []
        lines += [task.title for task in row.visit.tasks.all()]
    return [*lines, _("Keys, codes and notes are in My round.")]
