"""What the round's drawings, map and paper show."""

from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from servicedesk.common.display import current_display
from servicedesk.common.pdf import render_pdf
from servicedesk.installations.models import Installation
from servicedesk.people.models import Firm
from servicedesk.readings.models import Band, Reading
from servicedesk.readings.queries import latest_of_many
from servicedesk.routes.queries.ends import Base
from servicedesk.routes.queries.round import RoundView, StopView
from servicedesk.routes.ribbons import driven_span, round_ribbon, span_of
from servicedesk.science import units


@dataclass(frozen=True, slots=True)
class ValueBox:
    """A box of the round sheet to write a reading into, with the band and the last value beside it."""

    name: str
    unit: str
    band: str
    last: str


@dataclass(frozen=True, slots=True)
class SheetInstallation:
    installation: Installation
    boxes: list[ValueBox]


@dataclass(frozen=True, slots=True)
class SheetStop:
    stop: StopView
    installations: list[SheetInstallation]


def ribbon_of(view: RoundView) -> SafeString | None:
    """The round drawn alone, on its own scale."""
    times = view.times
    if times is None or times.is_empty or times.leave_s is None or times.return_s is None:
        return None
    driven = driven_span(times.leave_s, times.return_s, *times.nights)
    hours = (times.leave_s, times.return_s)
    sites = {str(stop.visit.pk): stop.site for stop in view.stops}
    warned = frozenset(str(row["visit"]) for row in view.warnings if row.get("visit"))
    zone = ZoneInfo(view.technician.time_zone)
    return round_ribbon(
        str(view.technician), view.day, zone, times, sites, span_of([driven]), hours, warned, ends=view.ends
    )


def map_data(view: RoundView) -> dict[str, Any]:
    """Start, stops in order and end for the map of a round."""
    start, end = (_map_base(base) for base in (view.ends.start, view.ends.end))
    stops = [
        {
            "lat": stop.site.latitude,
            "lng": stop.site.longitude,
            "label": f"{stop.position}. {stop.site.name}",
            "kind": "stop",
            "number": stop.position,
        }
        for stop in view.stops
    ]
    points = [start, *stops] if start == end else [start, *stops, end]
    return {"points": points, "line": [[p["lat"], p["lng"]] for p in (start, *stops, end)]}


def _map_base(base: Base) -> dict[str, Any]:
    label = str(base.technician) if base.is_home else _("Night at %(lodging)s") % {"lodging": base.name}
    return {"lat": base.point[0], "lng": base.point[1], "label": label, "kind": "base" if base.is_home else "lodging"}


def sheet_context(view: RoundView) -> dict[str, Any]:
    """The round sheet: usable if the tablet drowns, with boxes so that it can be typed in later."""
    own = [stop for stop in view.stops if not stop.helps]
    installations = [cover.installation for stop in own for cover in stop.visit.covers.all()]
    bands: dict[int, list[Band]] = {}
    rows = Band.objects.filter(installation__in=installations, parameter__at_each_visit=True)
    for band in rows.select_related("parameter").order_by("parameter__position"):
        bands.setdefault(band.installation_id, []).append(band)
    last = latest_of_many(installations)
    stops = [SheetStop(stop, _sheet_installations(stop, bands, last)) for stop in view.stops]
    return {"round": view, "stops": stops, "ribbon": ribbon_of(view), "firm": Firm.objects.first()}


def _sheet_installations(
    stop: StopView, bands: dict[int, list[Band]], last: dict[int, dict[str, Reading]]
) -> list[SheetInstallation]:
    """The systems with boxes for their values; whoever helps writes none."""
    found: list[SheetInstallation] = []
    for cover in () if stop.helps else stop.visit.covers.all():
        own = bands.get(cover.installation_id, [])
        readings = last.get(cover.installation_id, {})
        boxes = [_box(band, readings.get(band.parameter_id)) for band in own]
        found.append(SheetInstallation(cover.installation, boxes))
    return found


def _box(band: Band, reading: Reading | None) -> ValueBox:
    quantity = band.parameter.quantity
    unit = units.unit_of(quantity, current_display().unit_for(quantity) or units.canonical_unit(quantity).key)
    low, high = (units.show(quantity, value, unit.key).split(" ")[0] for value in (band.low, band.high))
    shown = units.show(quantity, reading.value, unit.key) if reading is not None else ""
    name = band.parameter.name
    return ValueBox(name, "" if unit.label == name else unit.label, f"{low}–{high}", shown)


def sheet_pdf(view: RoundView) -> bytes:
    context = sheet_context(view)
    title = _("Round sheet: %(name)s, %(day)s") % {"name": view.technician, "day": date_format(view.day)}
    paper = context["firm"].paper if context["firm"] else Firm.Paper.LETTER
    return render_pdf(
        "routes/pdf/round_sheet.html", context | {"title": title, "seller": context["firm"]}, paper=str(paper)
    )
