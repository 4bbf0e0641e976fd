"""Drives from a table. Header: ``from``, ``to``, ``seconds``, ``metres``.

A place is a site (its name, or ``client: site`` where two sites share a name), a technician (initials, name or email:
the home), a store (its name), or coordinates such as ``36.1627, -86.7816``. A drive that a file told before becomes
what this one says. The way back is a row of its own.
"""

from collections.abc import Iterable, Sequence

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.forms import CoordinatesField
from servicedesk.common.tables import Fate, fit, known, wrong
from servicedesk.people.models import Depot, Lodging, Technician, User
from servicedesk.routes.services.travel import drives_import
from servicedesk.routes.travel import Point, point_key
from servicedesk.routes.travel_models import TravelDrive
from servicedesk.routes.travel_osrm import MOST_METRES, MOST_SECONDS

REQUIRED = ("from", "to", "seconds", "metres")
SEVERAL = ""


def fates(rows: Iterable[dict[str, str]]) -> list[Fate]:
    """Judge every row without storing anything; of two rows for one drive the later is wrong."""
    names, now = _names(), timezone.now()
    before = {
        (start, end): (seconds, metres)
        for start, end, seconds, metres in TravelDrive.objects.filter(source=TravelDrive.Source.FILE).values_list(
            "start", "end", "seconds", "metres"
        )
    }
    seen: dict[tuple[str, str], int] = {}
    found = []
    for line, row in enumerate(rows, 2):
        cells = tuple(row.get(name) or "" for name in REQUIRED)
        try:
            start, end = _place(cells[0], "from", names), _place(cells[1], "to", names)
            seconds, metres = _number(cells[2], "seconds", MOST_SECONDS), _number(cells[3], "metres", MOST_METRES)
            if start == end:
                raise ValidationError(_("from and to are the same place."))
            if (start, end) in seen:
                raise ValidationError(_("Line %(line)d has this drive already.") % {"line": seen[start, end]})
        except ValidationError as error:
            found.append(wrong(line, cells, " ".join(error.messages)))
            continue
        seen[start, end] = line
        if before.get((start, end)) == (seconds, metres):
            found.append(known(line, cells))
            continue
        source = TravelDrive.Source.FILE
        drive = TravelDrive(start=start, end=end, source=source, seconds=seconds, metres=metres, known_at=now)
        found.append(fit(line, cells, drive))
    return found


def _names() -> dict[str, str]:
    """The point of each name in use, in small letters; one that several places share is empty."""
    names: dict[str, str] = {}

    def call(name: str, point: Point) -> None:
        key, place = name.strip().lower(), point_key(point)
        if key:
            names[key] = place if names.get(key, place) == place else SEVERAL

    for site in Site.objects.filter(archived_at=None).select_related("client"):
        call(site.name, (site.latitude, site.longitude))
        call(f"{site.client.name}: {site.name}", (site.latitude, site.longitude))
    for who in Technician.objects.select_related("user"):
        for name in (who.initials, who.user.name, who.user.email):
            call(name, (who.home_latitude, who.home_longitude))
    for depot in Depot.objects.filter(archived_at=None):
        call(depot.name, (depot.latitude, depot.longitude))
    for lodging in Lodging.objects.filter(archived_at=None):
        call(lodging.name, (lodging.latitude, lodging.longitude))
    return names


def _place(text: str, column: str, names: dict[str, str]) -> str:
    wanted = text.strip()
    if not wanted:
        raise ValidationError(_("%(column)s is empty.") % {"column": column})
    found = names.get(wanted.lower())
    if found == SEVERAL:
        raise ValidationError(
            _("%(column)s: several places are called “%(name)s”; write “client: site” or coordinates.")
            % {"column": column, "name": wanted}
        )
    if found is not None:
        return found
    try:
        return point_key(CoordinatesField().clean(wanted))
    except ValidationError as error:
        raise ValidationError(
            _("%(column)s: no site, technician or store “%(name)s”.") % {"column": column, "name": wanted}
        ) from error


def _number(text: str, column: str, most: int) -> int:
    try:
        value = float(text.strip().replace(",", ".") if text.count(",") == 1 and "." not in text else text.strip())
    except ValueError as error:
        raise ValidationError(_("%(column)s must be a number.") % {"column": column}) from error
    if not 0 <= value <= most:
        raise ValidationError(_("%(column)s lies between 0 and %(most)d.") % {"column": column, "most": most})
    return round(value)


def store(found: Sequence[Fate], *, actor: User) -> int:
    """Store the fit drives. Returns how many."""
    return drives_import(drives=[row.payload for row in found if isinstance(row.payload, TravelDrive)], actor=actor)
