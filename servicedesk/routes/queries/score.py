"""The score of a plan, read from its rounds alone."""

from typing import Any
from zoneinfo import ZoneInfo

from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.queries.week import promise_moved, rounds_of, tray_rows
from servicedesk.routes.times import Week, clock

FIGURES = ("left_out", "late_days", "promises_moved", "overtime_h", "hours", "km")


def score_of(week: Week, plan: WeekPlan) -> dict[str, Any]:
    """Kilometres, hours, overtime, days late, promises moved and visits left out."""
    rounds = rounds_of(plan)
    return {
        "km": round(sum(row.distance_m for row in rounds) / 1000, 1),
        "hours": round(sum(_length_s(row) for row in rounds) / 3600, 2),
        "overtime_h": round(sum(row.overtime_s for row in rounds) / 3600, 2),
        "late_days": sum(_late_days(row) for row in rounds),
        "promises_moved": sum(_moved(row) for row in rounds),
        "left_out": len(tray_rows(week, plan)),
    }


def with_change(score: dict[str, Any], before: dict[str, Any] | None) -> dict[str, Any]:
    """A score that carries the figures of the plan before, to show the change."""
    kept = {key: before[key] for key in FIGURES if key in before} if before else None
    return score | {"before": kept}


def _length_s(row: Round) -> int:
    return (row.return_s or 0) - (row.leave_s or 0)


def _late_days(row: Round) -> int:
    return sum(max((row.date - stop.visit.due_on).days, 0) for stop in row.stops.all())


def _moved(row: Round) -> int:
    zone = ZoneInfo(row.technician.time_zone)
    return sum(
        promise_moved(stop.visit, clock(row.date, stop.start_s, zone, ZoneInfo(stop.visit.site.time_zone)))
        for stop in row.stops.all()
    )
