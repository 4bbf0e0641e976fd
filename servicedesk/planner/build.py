"""Turning what the search found into a plan: instants on the clock of each place, and the score."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from servicedesk.planner.evaluate import Evaluator, Timed
from servicedesk.planner.instance import Instance, Shift, moment, ts
from servicedesk.planner.plan import Pause, Round, Score, Stop, Unserved
from servicedesk.planner.routes import Route


def money(mills: int) -> Decimal:
    return Decimal(mills) / 1000


def rounds_of(instance: Instance, evaluator: Evaluator, routes: Sequence[Route]) -> tuple[Round, ...]:
    """The rounds that are driven, by date and technician."""
    found = []
    for shift in instance.shifts:
        timed = evaluator.timed(shift, routes[shift.index].order)
        if timed is not None and (timed.stops or shift.day.drive_empty):
            found.append(round_of(instance, shift, timed))
    return tuple(sorted(found, key=lambda row: (row.date, row.technician)))


def round_of(instance: Instance, shift: Shift, timed: Timed) -> Round:
    zone = shift.who.zone
    return Round(
        technician=shift.who.id,
        date=shift.day.date,
        leave=moment(timed.leave, zone),
        back=moment(timed.back, zone),
        stops=tuple(
            Stop(
                visit=stop.node.job.visit.id if stop.node.job is not None else None,
                place=stop.node.place,
                travel_s=stop.node.travel,
                distance_m=stop.node.metres,
                arrive=moment(stop.arrive, instance.zones[stop.node.place]),
                begin=moment(stop.begin, instance.zones[stop.node.place]),
                leave=moment(stop.end, instance.zones[stop.node.place]),
                helper=stop.node.job is not None and stop.node.job.helper,
            )
            for stop in timed.stops
        ),
        pauses=tuple(Pause(moment(begin, zone), seconds) for begin, seconds in timed.pauses),
        back_travel_s=timed.back_travel,
        back_distance_m=timed.back_metres,
        overtime_s=timed.overtime,
        night_s=timed.night,
        cost=money(timed.cost),
    )


def score_of(instance: Instance, rounds: Sequence[Round], unserved: Iterable[Unserved]) -> Score:
    """The figures of a plan."""
    left = [instance.job_of[row.visit] for row in unserved]
    rounds_cost, skip = sum((row.cost for row in rounds), Decimal(0)), money(sum(job.skip for job in left))
    placed = [
        (instance.job_of[stop.visit], stop, row)
        for row in rounds
        for stop in row.stops
        if stop.visit is not None and not stop.helper
    ]
    return Score(
        cost=rounds_cost + skip,
        rounds_cost=rounds_cost,
        skip_cost=skip,
        distance_m=sum(row.back_distance_m + sum(stop.distance_m for stop in row.stops) for row in rounds),
        work_s=sum(ts(row.back) - ts(row.leave) for row in rounds),
        overtime_s=sum(row.overtime_s for row in rounds),
        night_s=sum(row.night_s for row in rounds),
        late_days=sum(job.days_late(ts(stop.begin)) for job, stop, _row in placed),
        promises_broken=sum(
            job.promise is not None and not job.promise[0] <= ts(stop.begin) <= job.promise[1]
            for job, stop, _row in placed
        ),
        moved=sum(
            job.visit.before is not None
            and (job.visit.before.technician, job.visit.before.date) != (row.technician, row.date)
            for job, _stop, row in placed
        ),
        unserved=len(left),
    )
