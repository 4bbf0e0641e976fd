"""A van's tour: the rounds of a technician from the store until the van is back there, over the nights away."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import TYPE_CHECKING

from servicedesk.routes.hours import ONE_DAY
from servicedesk.routes.models import Round
from servicedesk.routes.queries.load import LoadList, load_list

if TYPE_CHECKING:
    from servicedesk.routes.queries.round import RoundTimes, RoundView, StopView

TimesOf = Callable[[Round], "RoundTimes | None"]
StopsOf = Callable[[date, "RoundTimes"], "list[StopView]"]


def tour_load(view: RoundView, times_of: TimesOf, stops_of: StopsOf) -> LoadList | None:
    """What to load: on the first day of a tour for all its rounds, whose stops are counted on; later nothing more."""
    before, after = _tour(view, times_of)
    stops = list(view.stops)
    if not before:
        stops += [stop for day, times in after.items() for stop in stops_of(day, times)]
    if not stops:
        return None
    numbers = {stop.visit.pk: number for number, stop in enumerate(stops, start=1)}
    wanted = [stop for stop in stops if not stop.is_done and not stop.helps]
    return load_list(
        [stop.visit for stop in wanted], numbers, view.van, view.technician.depot, view.day,
        {stop.visit.site_id: stop.notes for stop in wanted},
        loaded_on=min(before, default=None), until=max(after) if after and not before else None,
    )  # fmt: skip


def _tour(view: RoundView, times_of: TimesOf) -> tuple[dict[date, RoundTimes], dict[date, RoundTimes]]:
    """What comes before a round on its tour, and what after it, by day."""
    row, times = view.round, view.times
    if row is None or times is None or (times.start_lodging_id is None and times.lodging_id is None):
        return {}, {}
    rows = Round.objects.filter(plan=row.plan_id, technician=row.technician_id).prefetch_related("stops")
    known = {other.date: found for other in rows if (found := times_of(other)) is not None}
    return _follow(known, view.day, times, -1), _follow(known, view.day, times, 1)


def _follow(known: Mapping[date, RoundTimes], day: date, times: RoundTimes, step: int) -> dict[date, RoundTimes]:
    found: dict[date, RoundTimes] = {}
    while (times.lodging_id if step > 0 else times.start_lodging_id) is not None:
        day += step * ONE_DAY
        if day not in known:
            break
        times = found[day] = known[day]
    return found
