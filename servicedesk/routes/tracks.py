"""A round for other navigation: GPX 1.1 and GeoJSON (RFC 7946). Lines are straight: the device finds the roads."""

from typing import Any
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

from servicedesk.routes.queries.ends import Base
from servicedesk.routes.queries.round import RoundView, StopView
from servicedesk.routes.times import instant

CREATOR = "Saltround"
PLACES = 6  # decimals of a degree: a tenth of a metre


def _title(view: RoundView) -> str:
    return _("Round of %(name)s, %(day)s") % {"name": view.technician, "day": date_format(view.day)}


def _said(stop: StopView) -> str:
    """When and where, for the description of a point."""
    at = f"{stop.start.text}–{stop.leave.text}, " if stop.start and stop.leave else ""
    words = f", {stop.crew_words}" if stop.crew_words else ""
    return f"{at}{stop.site.street}, {stop.site.city}{words}"


def round_gpx(view: RoundView) -> str:
    """Stops as way points, and the round as a route from where it begins to where it ends."""
    gpx = GPX()
    gpx.creator, gpx.name = CREATOR, _title(view)
    zone = ZoneInfo(view.technician.time_zone)
    route = GPXRoute(name=_title(view), description=_("Straight lines between the stops in order."))
    start, end = view.ends.start, view.ends.end
    route.points.append(GPXRoutePoint(*start.point, name=_base_name(start, _("Start")), symbol="start"))
    for stop in view.stops:
        at = instant(view.day, stop.times.start_s, zone) if stop.times else None
        name = f"{stop.position}. {stop.site.name}"
        where = stop.site.latitude, stop.site.longitude
        gpx.waypoints.append(GPXWaypoint(*where, name=name, time=at, description=_said(stop), type="visit"))
        route.points.append(GPXRoutePoint(*where, name=name, time=at))
    if not end.is_home:
        gpx.waypoints.append(GPXWaypoint(*end.point, name=end.name, description=end.address, type="lodging"))
    route.points.append(GPXRoutePoint(*end.point, name=_base_name(end, _("End")), symbol="end"))
    gpx.routes.append(route)
    return str(gpx.to_xml(version="1.1"))


def round_geojson(view: RoundView) -> dict[str, Any]:
    """Points and the line of a round; longitude before latitude, WGS 84."""
    zone = ZoneInfo(view.technician.time_zone)
    start, end = (_position(base.point[1], base.point[0]) for base in (view.ends.start, view.ends.end))
    places = [_position(stop.site.longitude, stop.site.latitude) for stop in view.stops]
    features = _base_points(view)
    for stop, place in zip(view.stops, places, strict=True):
        times = stop.times
        begins, ends = (
            (instant(view.day, at, zone).isoformat() for at in (times.start_s, times.leave_s))
            if times
            else (None, None)
        )
        properties = {
            "kind": "stop", "number": stop.position, "name": stop.site.name,
            "address": f"{stop.site.street}, {stop.site.city}", "begins": begins, "ends": ends,
            "state": stop.visit.state, "helps": stop.helps,
        }  # fmt: skip
        features.append(_point(place, properties, str(stop.visit.pk)))
    line = {"type": "LineString", "coordinates": [start, *places, end]}
    features.append(
        {"type": "Feature", "geometry": line, "properties": {"kind": "round", "name": _title(view), "roads": False}}
    )
    return {"type": "FeatureCollection", "bbox": _box([start, *places, end]), "features": features}


def _base_name(base: Base, word: str) -> str:
    return word if base.is_home else f"{word}: {base.name}"


def _base_points(view: RoundView) -> list[dict[str, Any]]:
    """Home once, or start and end by themselves where a night away makes them two."""
    start, end = view.ends.start, view.ends.end
    rows = [("start and end", start)] if start == end else [("start", start), ("end", end)]
    return [
        _point(
            _position(base.point[1], base.point[0]),
            {"kind": kind, "name": str(view.technician) if base.is_home else base.name}
            | ({} if base.is_home else {"address": base.address}),
            None,
        )
        for kind, base in rows
    ]


def _position(longitude: float, latitude: float) -> list[float]:
    return [round(longitude, PLACES), round(latitude, PLACES)]


def _point(place: list[float], properties: dict[str, Any], pk: str | None) -> dict[str, Any]:
    feature = {"type": "Feature", "geometry": {"type": "Point", "coordinates": place}, "properties": properties}
    return feature | {"id": pk} if pk else feature


def _box(positions: list[list[float]]) -> list[float]:
    """West, south, east, north; east is less than west where the round crosses the antimeridian (section 5.2)."""
    longitudes = sorted(position[0] for position in positions)
    latitudes = [position[1] for position in positions]
    west, east = longitudes[0], longitudes[-1]
    if east - west > 180:
        west = min(value for value in longitudes if value >= 0)
        east = max(value for value in longitudes if value < 0)
    return [west, min(latitudes), east, max(latitudes)]
