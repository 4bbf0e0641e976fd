"""A client of the table service that OSRM (Open Source Routing Machine) and compatible servers speak over HTTP.

``GET {address}/table/v1/{profile}/{lon,lat;lon,lat…}?annotations=duration,distance&sources=…&destinations=…``
answers ``{"code": "Ok", "durations": [[s]], "distances": [[m]]}``; a drive without a road is null. A server takes so
many coordinates (100 by default) and says ``TooBig`` beyond.
"""

import json
import math
import re
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit

from servicedesk.routes.travel import Point

BLOCK = 50  # 50 sources and 50 destinations are 100 coordinates
TRIES = 2
BACK_OFF_S = 0.3
MOST_BYTES = 8 * 1024 * 1024
MOST_SECONDS, MOST_METRES = 7 * 86_400, 20_000_000
Cell = tuple[int, int] | None  # seconds and metres; None: no road


class RoadServiceError(Exception):
    """The service did not answer as it should; ``kind`` says how: silent, refused, odd."""

    def __init__(self, kind: str, detail: str = "") -> None:
        self.kind, self.detail = kind, detail
        super().__init__(f"{kind}: {detail}")


class TooBigError(RoadServiceError):
    """More coordinates than the service takes."""


class NoSegmentError(RoadServiceError):
    """A point with no road near it; ``number`` is its place among the coordinates sent."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__("no road near", str(number))


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_args: Any, **_kwargs: Any) -> None:
        return None


@dataclass(frozen=True, slots=True)
class Block:
    """Drives from each start to each end."""

    starts: tuple[Point, ...]
    ends: tuple[Point, ...]
    cells: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class RoadService:
    """Where the service is and how long to wait for it."""

    address: str
    profile: str = "driving"
    timeout_s: float = 10.0

    def blocks(
        self, starts: Sequence[Point], ends: Sequence[Point], before_each: Callable[[], None] = lambda: None
    ) -> Iterator[Block]:
        """All drives from starts to ends, in as many questions as the service needs."""
        if not starts or not ends:
            return
        try:
            before_each()
            yield self.block(starts, ends)
        except TooBigError:
            if len(starts) == len(ends) == 1:
                raise
            for some_starts, some_ends in _halved(starts, ends):
                yield from self.blocks(some_starts, some_ends, before_each)
        except NoSegmentError as error:
            coordinates = list(dict.fromkeys([*starts, *ends]))
            if not 0 <= error.number < len(coordinates):
                raise RoadServiceError("odd", str(error)) from error
            lost = coordinates[error.number]
            yield from _no_road(lost, starts, ends)
            kept_starts, kept_ends = [p for p in starts if p != lost], [p for p in ends if p != lost]
            yield from self.blocks(kept_starts, kept_ends, before_each)

    def block(self, starts: Sequence[Point], ends: Sequence[Point]) -> Block:
        """One question; a service that is silent or broken is asked once more."""
        for left in reversed(range(TRIES)):
            try:
                return self._asked(starts, ends)
            except (TooBigError, NoSegmentError):
                raise
            except RoadServiceError as error:
                if not left or error.kind == "refused":
                    raise
                time.sleep(BACK_OFF_S)
        raise AssertionError("unreachable")

    def _asked(self, starts: Sequence[Point], ends: Sequence[Point]) -> Block:
        coordinates = {point: number for number, point in enumerate(dict.fromkeys([*starts, *ends]))}
        listed = ";".join(f"{longitude:.6f},{latitude:.6f}" for latitude, longitude in coordinates)
        sources = ";".join(str(coordinates[point]) for point in starts)
        destinations = ";".join(str(coordinates[point]) for point in ends)
        answer = self._get(
            f"{self.address.rstrip('/')}/table/v1/{self.profile}/{listed}"
            f"?annotations=duration,distance&sources={sources}&destinations={destinations}"
        )
        seconds = _grid(answer, "durations", len(starts), len(ends), MOST_SECONDS)
        metres = _grid(answer, "distances", len(starts), len(ends), MOST_METRES)
        cells = tuple(
            tuple(None if s is None or m is None else (s, m) for s, m in zip(row, other, strict=True))
            for row, other in zip(seconds, metres, strict=True)
        )
        return Block(tuple(starts), tuple(ends), cells)

    def _get(self, url: str) -> dict[str, Any]:
        if urlsplit(url).scheme not in {"http", "https"}:
            raise RoadServiceError("refused", "address")
        opener = urllib.request.build_opener(_NoRedirect)
        deadline = time.monotonic() + self.timeout_s
        try:
            with opener.open(url, timeout=self.timeout_s) as response:
                return _json(_read(response, deadline))
        except urllib.error.HTTPError as error:
            if error.code >= 500:
                raise RoadServiceError("odd", f"HTTP {error.code}") from error
            if error.code < 400:
                raise RoadServiceError("refused", f"HTTP {error.code}") from error
            try:
                _refused(_json(_read(error, deadline)), error.code)
            except (OSError, HTTPException) as broken:
                raise RoadServiceError("refused", f"HTTP {error.code}") from broken
            raise RoadServiceError("refused", f"HTTP {error.code}") from error
        except (OSError, HTTPException) as error:  # no connection, no answer in time, line cut
            raise RoadServiceError("silent", type(error).__name__) from error
        except ValueError as error:
            raise RoadServiceError("refused", "address") from error


def _read(response: Any, deadline: float) -> bytes:
    """The body, unless it drips in too slowly or never ends."""
    parts, size = [], 0
    while chunk := response.read1(65_536) if hasattr(response, "read1") else response.read(65_536):
        parts.append(chunk)
        size += len(chunk)
        if size > MOST_BYTES:
            raise RoadServiceError("odd", "answer too long")
        if time.monotonic() > deadline:
            raise RoadServiceError("silent", "too slow")
    return b"".join(parts)


def _json(body: bytes) -> dict[str, Any]:
    try:
        answer = json.loads(body)
    except ValueError as error:
        raise RoadServiceError("odd", "no JSON") from error
    if not isinstance(answer, dict):
        raise RoadServiceError("odd", "no object")
    if answer.get("code") != "Ok":
        _refused(answer, 200)
    return answer


def _refused(answer: dict[str, Any], status: int) -> None:
    code, message = str(answer.get("code", "")), str(answer.get("message", ""))
    if code == "TooBig":
        raise TooBigError("refused", code)
    if code == "NoSegment" and (found := re.search(r"\d+", message)):
        raise NoSegmentError(int(found.group()))
    raise RoadServiceError("refused", (code or f"HTTP {status}")[:60])


def _grid(answer: dict[str, Any], name: str, rows: int, columns: int, most: int) -> list[list[int | None]]:
    grid = answer.get(name)
    if not isinstance(grid, list) or len(grid) != rows:
        raise RoadServiceError("odd", f"no {name}")
    return [_row(row, name, columns, most) for row in grid]


def _row(row: Any, name: str, columns: int, most: int) -> list[int | None]:
    if not isinstance(row, list) or len(row) != columns:
        raise RoadServiceError("odd", f"{name} lack cells")
    found: list[int | None] = []
    for value in row:
        if value is None:
            found.append(None)
        elif isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise RoadServiceError("odd", f"{name} hold no number")
        elif not 0 <= value <= most:
            raise RoadServiceError("odd", f"{name} out of range")
        else:
            found.append(round(value))
    return found


def _halved(starts: Sequence[Point], ends: Sequence[Point]) -> list[tuple[Sequence[Point], Sequence[Point]]]:
    if len(starts) >= len(ends):
        middle = len(starts) // 2
        return [(starts[:middle], ends), (starts[middle:], ends)]
    middle = len(ends) // 2
    return [(starts, ends[:middle]), (starts, ends[middle:])]


def _no_road(lost: Point, starts: Sequence[Point], ends: Sequence[Point]) -> Iterator[Block]:
    """No drive from or to a point that lies by no road."""
    if lost in starts:
        yield Block((lost,), tuple(ends), (tuple(None for _end in ends),))
    if lost in ends:
        rest = tuple(point for point in starts if point != lost)
        yield Block(rest, (lost,), tuple((None,) for _start in rest))
