"""A table service on this machine that speaks the protocol of OSRM's HTTP interface (version 5, service "table").

Written from the published description of that interface (Project OSRM, HTTP API documentation, "Table service"):
coordinates as lon,lat;lon,lat, ``sources`` and ``destinations`` by index, ``annotations=duration,distance``, code
``Ok``, or HTTP 400 with ``TooBig``, ``NoSegment``, ``InvalidQuery``; null where there is no route.
"""

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

Point = tuple[float, float]


@dataclass
class Roads:
    """How the service behaves, and what it was asked. Every drive takes 60 s and 1 km per started 0.01 degree."""

    most: int = 100
    cut_off: set[Point] = field(default_factory=set)  # points to and from which there is no route
    off_road: set[Point] = field(default_factory=set)  # points with no road near
    failing: list[str] = field(default_factory=list)  # what to do at the next questions: 500, slow, junk, hang up
    asked: list[tuple[int, int]] = field(default_factory=list)
    url: str = ""

    def drive(self, start: Point, end: Point) -> tuple[float, float] | None:
        if {start, end} & self.cut_off and start != end:
            return None
        steps = round((abs(start[0] - end[0]) + abs(start[1] - end[1])) * 100)
        return 60.4 * steps, 1000.0 * steps


class _Handler(BaseHTTPRequestHandler):
    roads: Roads

    def do_GET(self) -> None:
        roads = self.roads
        parts = urlsplit(self.path)
        service, version, _profile, listed = parts.path.strip("/").split("/")
        query = parse_qs(parts.query)
        points: list[Point] = []
        for text in listed.split(";"):
            longitude, latitude = (round(float(part), 4) for part in text.split(","))
            points.append((latitude, longitude))
        sources = [int(part) for part in query["sources"][0].split(";")]
        destinations = [int(part) for part in query["destinations"][0].split(";")]
        roads.asked.append((len(sources), len(destinations)))
        if roads.failing and self._fails(roads.failing.pop(0)):
            return
        if (service, version) != ("table", "v1") or query["annotations"] != ["duration,distance"]:
            self._answer(400, {"code": "InvalidQuery", "message": "Query string malformed"})
        elif len(points) > roads.most:
            self._answer(400, {"code": "TooBig", "message": "Too many table coordinates"})
        elif lost := [number for number, point in enumerate(points) if point in roads.off_road]:
            message = f"Could not find a matching segment for coordinate {lost[0]}"
            self._answer(400, {"code": "NoSegment", "message": message})
        else:
            cells = [[roads.drive(points[i], points[j]) for j in destinations] for i in sources]
            durations = [[cell[0] if cell else None for cell in row] for row in cells]
            distances = [[cell[1] if cell else None for cell in row] for row in cells]
            self._answer(200, {"code": "Ok", "durations": durations, "distances": distances})

    def _fails(self, how: str) -> bool:
        if how == "500":
            self._answer(500, {"code": "Oops"})
        elif how == "junk":
            self._send(200, b"<html>gateway</html>")
        elif how == "short":
            self._answer(200, {"code": "Ok", "durations": [[1.0]], "distances": [[1.0]]})
        elif how == "negative":
            self._answer(200, {"code": "Ok", "durations": [[-1.0]], "distances": [[1.0]]})
        elif how == "slow":
            time.sleep(1.5)
        elif how == "drip":
            self.send_response(200)
            self.end_headers()
            for _byte in range(20):
                self.wfile.write(b" ")
                time.sleep(0.15)
        elif how == "redirect":
            self.send_response(302)
            self.send_header("Location", "http://127.0.0.1:1/")
            self.end_headers()
        elif how == "hang up":
            self.connection.close()
        else:
            return False
        return True

    def _answer(self, status: int, body: dict[str, Any]) -> None:
        self._send(status, json.dumps(body).encode())

    def _send(self, status: int, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_args: Any) -> None:
        """Say nothing."""


class _Quiet(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_args: Any) -> None:
        """A client that went away is what is tested."""


@contextmanager
def road_server(**behaviour: Any) -> Iterator[Roads]:
    roads = Roads(**behaviour)
    handler = type("Handler", (_Handler,), {"roads": roads})
    server = _Quiet(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    roads.url = f"http://127.0.0.1:{server.server_address[1]}"
    try:
        yield roads
    finally:
        server.shutdown()
        server.server_close()
