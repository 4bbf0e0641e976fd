"""What a schema cannot say: references lead somewhere, identifiers are single, spans end after they begin."""

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from servicedesk.planner.problem import Problem, ProblemError, Technician, Visit

LONGEST_DAYS = 70


def sense_check(problem: Problem) -> None:
    """Raise a ``ProblemError`` for the first contradiction, naming its field."""
    if problem.last_day < problem.first_day:
        _refuse("last_day", f"{problem.last_day} is before first_day, {problem.first_day}")
    if (problem.last_day - problem.first_day).days >= LONGEST_DAYS:
        _refuse("last_day", f"at most {LONGEST_DAYS} days are planned at once")
    for name in ("places", "depots", "technicians", "visits", "things"):
        _single(name, [row.id for row in getattr(problem, name)])
    places = {row.id for row in problem.places}
    for number, place in enumerate(problem.places):
        _zone(f"places[{number}].zone", place.zone)
    for number, depot in enumerate(problem.depots):
        _known(f"depots[{number}].place", depot.place, places, "place")
    for number, who in enumerate(problem.technicians):
        _technician(f"technicians[{number}]", who, problem, places)
    for number, visit in enumerate(problem.visits):
        _visit(f"visits[{number}]", visit, problem, places)
    _between_visits(problem)
    _settled(problem)
    _travel(problem, places)


def _technician(path: str, who: Technician, problem: Problem, places: set[str]) -> None:
    _zone(f"{path}.zone", who.zone)
    _known(f"{path}.start", who.start, places, "place")
    _known(f"{path}.end", who.end, places, "place")
    if who.depot is not None:
        _known(f"{path}.depot", who.depot, {row.id for row in problem.depots}, "depot")
    _single(f"{path}.days", [str(day.date) for day in who.days])
    for number, day in enumerate(who.days):
        own = f"{path}.days[{number}]"
        _span(own, day.opens, day.closes)
        if not problem.first_day <= day.date <= problem.last_day:
            _refuse(f"{own}.date", f"{day.date} is outside {problem.first_day} to {problem.last_day}")
        if day.opens.date() != day.date:
            _refuse(f"{own}.opens", f"the day {day.date} does not begin on {day.opens.date()}")
        for name, place in (("start", day.start), ("end", day.end)):
            if place is not None:
                _known(f"{own}.{name}", place, places, "place")
        for n, rule in enumerate(day.breaks):
            if rule.latest.timestamp() < rule.earliest.timestamp():
                _refuse(f"{own}.breaks[{n}].latest", "it is before earliest")
    for number, row in enumerate(who.permissions):
        if row.last_day < row.first_day:
            _refuse(f"{path}.permissions[{number}].last_day", f"{row.last_day} is before first_day, {row.first_day}")
    for number, absence in enumerate(who.leave):
        if absence.ends.timestamp() <= absence.begins.timestamp():
            _refuse(f"{path}.leave[{number}].ends", "it is not after begins")
    for number, span in enumerate(who.night.spans if who.night else ()):
        _span(f"{path}.night.spans[{number}]", span.opens, span.closes)


def _visit(path: str, visit: Visit, problem: Problem, places: set[str]) -> None:
    people = {row.id for row in problem.technicians}
    _known(f"{path}.place", visit.place, places, "place")
    for number, window in enumerate(visit.windows or ()):
        _span(f"{path}.windows[{number}]", window.opens, window.closes)
    for number, booking in enumerate(visit.bookings):
        _span(f"{path}.bookings[{number}]", booking.opens, booking.closes)
    if visit.prefers is not None:
        _known(f"{path}.prefers", visit.prefers, people, "technician")
    for name in ("only", "barred"):
        for number, person in enumerate(getattr(visit, name)):
            _known(f"{path}.{name}[{number}]", person, people, "technician")
    if visit.fixed is not None and visit.fixed.technician is not None:
        _known(f"{path}.fixed.technician", visit.fixed.technician, people, "technician")
    for number, thing in enumerate(visit.things):
        _known(f"{path}.things[{number}]", thing, {row.id for row in problem.things}, "thing")
    if visit.crew is not None and visit.crew.seconds > visit.duration_s:
        _refuse(f"{path}.crew.seconds", f"{visit.crew.seconds} is more than duration_s, {visit.duration_s}")


def _between_visits(problem: Problem) -> None:
    visits = {row.id for row in problem.visits} | {visit for row in problem.kept for visit in row.visits}
    for number, gap in enumerate(problem.gaps):
        _known(f"gaps[{number}].first", gap.first, visits, "visit")
        _known(f"gaps[{number}].second", gap.second, visits, "visit")
        if gap.first == gap.second:
            _refuse(f"gaps[{number}].second", "it is the same visit as first")


def _settled(problem: Problem) -> None:
    people, places = {row.id for row in problem.technicians}, {row.id for row in problem.places}
    for number, row in enumerate(problem.kept):
        _known(f"kept[{number}].technician", row.technician, people, "technician")
        if row.back.timestamp() < row.leave.timestamp():
            _refuse(f"kept[{number}].back", "it is before leave")
        if row.begins and len(row.begins) != len(row.visits):
            _refuse(f"kept[{number}].begins", "it needs one moment for each visit")
    _single("kept", [f"{row.technician} on {row.date}" for row in problem.kept])
    _single("kept visits", [visit for row in problem.kept for visit in row.visits])
    for number, night in enumerate(problem.overnights):
        _known(f"overnights[{number}].technician", night.technician, people, "technician")
        _known(f"overnights[{number}].place", night.place, places, "place")


def _travel(problem: Problem, places: set[str]) -> None:
    bands = problem.estimate.bands
    ends = [band.to_km for band in bands]
    if ends[-1] is not None or None in ends[:-1] or sorted(filter(None, ends)) != ends[:-1]:
        _refuse("estimate.bands", "to_km must rise, and only the last band has none")
    table = problem.table
    if table is None:
        return
    for number, place in enumerate(table.places):
        _known(f"table.places[{number}]", place, places, "place")
    _single("table.places", list(table.places))
    size = len(table.places)
    for name in ("seconds", "metres"):
        rows = getattr(table, name)
        if len(rows) != size:
            _refuse(f"table.{name}", f"it has {len(rows)} rows for {size} places")
        for number, row in enumerate(rows):
            if len(row) != size:
                _refuse(f"table.{name}[{number}]", f"it has {len(row)} cells for {size} places")


def _refuse(path: str, words: str) -> None:
    raise ProblemError(f"{path}: {words}")


def _known(path: str, wanted: str, known: set[str], what: str) -> None:
    if wanted not in known:
        _refuse(path, f"there is no {what} {wanted!r}")


def _single(path: str, ids: Iterable[str]) -> None:
    seen: set[str] = set()
    for row in ids:
        if row in seen:
            _refuse(path, f"{row!r} is there twice")
        seen.add(row)


def _span(path: str, opens: datetime, closes: datetime) -> None:
    if closes.timestamp() <= opens.timestamp():
        _refuse(f"{path}.closes", f"{closes:%Y-%m-%d %H:%M} is not after opens, {opens:%Y-%m-%d %H:%M}")


def _zone(path: str, name: str) -> None:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise ProblemError(f"{path}: there is no time zone {name!r}") from error
