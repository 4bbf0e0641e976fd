"""A round as GPX 1.1 and GeoJSON: structure by the standards, and read back by other readers."""

import json
from datetime import UTC, datetime
from xml.etree import ElementTree

import gpxpy
import jsonschema
import pytest

from servicedesk.routes.queries.round import round_view
from servicedesk.routes.tracks import _box, round_geojson, round_gpx
from tests.conftest import SignedIn
from tests.routes.cast import MONDAY, MURFREESBORO, NASHVILLE, Cast, a_round, a_site, a_visit, the_cast

pytestmark = pytest.mark.django_db
GPX = "{http://www.topografix.com/GPX/1/1}"
# The GPX 1.1 schema (topografix.com/GPX/1/1/gpx.xsd): children of gpxType, wptType and rteType in their sequence.
GPX_ORDER = ["metadata", "wpt", "rte", "trk", "extensions"]
WPT_ORDER = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix", "sat"]
RTE_ORDER = ["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "rtept"]
# RFC 7946 sections 2 and 3, as a schema.
POSITION = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 3}
GEOMETRY = {
    "oneOf": [
        {"properties": {"type": {"const": "Point"}, "coordinates": POSITION}, "required": ["type", "coordinates"]},
        {
            "properties": {
                "type": {"const": "LineString"},
                "coordinates": {"type": "array", "items": POSITION, "minItems": 2},
            },
            "required": ["type", "coordinates"],
        },
    ]
}
COLLECTION = {
    "type": "object",
    "required": ["type", "features"],
    "not": {"required": ["crs"]},  # section 4: the reference system is always WGS 84, "crs" is no member any more
    "properties": {
        "type": {"const": "FeatureCollection"},
        "bbox": {"type": "array", "items": {"type": "number"}, "minItems": 4, "maxItems": 4},
        "features": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "geometry", "properties"],
                "properties": {
                    "type": {"const": "Feature"},
                    "geometry": GEOMETRY,
                    "properties": {"type": ["object", "null"]},
                    "id": {"type": ["string", "number"]},
                },
            },
        },
    },
}


def a_driven_round(cast: Cast) -> None:
    a_round(cast.rob, [a_visit(a_site(cast, "Pier & <Sons>")), a_visit(a_site(cast, "South", at=MURFREESBORO))])


def view(cast: Cast) -> object:
    a_driven_round(cast)
    return round_view(cast.rob, MONDAY, draft=True)


def in_order(element: ElementTree.Element, order: list[str]) -> bool:
    places = [order.index(child.tag.removeprefix(GPX)) for child in element]
    return places == sorted(places)


@pytest.mark.source("GPX 1.1 schema, topografix.com/GPX/1/1/gpx.xsd")
def test_gpx_has_the_structure_of_the_schema() -> None:
    root = ElementTree.fromstring(round_gpx(view(the_cast())))  # type: ignore[arg-type]  # noqa: S314 - our own text
    assert (root.tag, root.attrib["version"], root.attrib["creator"]) == (f"{GPX}gpx", "1.1", "Saltround")
    assert in_order(root, GPX_ORDER)
    points = [*root.iter(f"{GPX}wpt"), *root.iter(f"{GPX}rtept")]
    assert len(points) == 2 + 4
    for point in points:
        assert in_order(point, WPT_ORDER)
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) < 180  # longitudeType: 180 itself is excluded
    for route in root.iter(f"{GPX}rte"):
        assert in_order(route, RTE_ORDER)


def test_gpx_reads_back_in_order_from_home_and_back_at_the_planned_instants() -> None:
    read = gpxpy.parse(round_gpx(view(the_cast())))  # type: ignore[arg-type]
    route = read.routes[0]
    assert [point.name for point in route.points] == ["Start", "1. Pier & <Sons>", "2. South", "End"]
    assert (route.points[0].latitude, route.points[-1].longitude) == pytest.approx(NASHVILLE)
    # 09:00 in Nashville in December is 15:00 UTC; GPX 1.1 times are UTC (schema, element time).
    assert read.waypoints[0].time == datetime(2026, 12, 7, 15, tzinfo=UTC)


@pytest.mark.source("RFC 7946, The GeoJSON Format, 2016")
def test_geojson_keeps_the_rules_of_the_format() -> None:
    found = json.loads(json.dumps(round_geojson(view(the_cast()))))  # type: ignore[arg-type]
    jsonschema.Draft202012Validator(COLLECTION).validate(found)
    south = found["features"][2]
    # Section 3.1.1: longitude, then latitude.
    assert south["geometry"]["coordinates"] == [MURFREESBORO[1], MURFREESBORO[0]]
    # Section 5: west, south, east, north.
    assert found["bbox"] == [NASHVILLE[1], MURFREESBORO[0], MURFREESBORO[1], NASHVILLE[0]]


@pytest.mark.source("RFC 7946, section 5.2: the antimeridian")
def test_box_across_the_antimeridian_runs_eastwards() -> None:
    # The example of section 5.2: the Fijian archipelago, 16° S to 20° S, 177° E to 178° W.
    assert _box([[177.0, -20.0], [-178.0, -16.0]]) == [177.0, -20.0, -178.0, -16.0]


def test_files_are_for_whoever_may_see_the_round(signed_in: SignedIn) -> None:
    from servicedesk.routes.services.publishing import week_publish
    from tests.routes.cast import WEEK

    cast = the_cast()
    a_driven_round(cast)
    week_publish(week=WEEK, version=1, actor=cast.planner)
    url = f"/round/{MONDAY}/{cast.rob.pk}/round"
    own = signed_in(user=cast.rob.user)
    assert own.get(f"{url}.gpx")["Content-Type"] == "application/gpx+xml"
    assert own.get(f"{url}.geojson")["Content-Type"] == "application/geo+json"
    assert signed_in(user=cast.ana.user).get(f"{url}.gpx").status_code == 404
