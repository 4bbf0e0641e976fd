"""The score of a plan, read from its rounds alone, without making records of them."""

from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef

from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.queries.week import is_promise_moved, tray_visits
from servicedesk.routes.times import Week, clock
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN

FIGURES = ("left_out", "late_days", "promises_moved", "overtime_h", "hours", "km", "nights", "lodging")


def score_of(week: Week, plan: WeekPlan) -> dict[str, Any]:
    """Kilometres, hours, overtime, days late, promises moved and visits left out.

    What is left out is late up to the end of the week, so that placing an overdue visit never looks worse. A promise
    is moved where the visit begins at another hour than was told, or is on no round.
    """
    left = list(tray_visits(week).values_list("due_on", flat=True))
    rounds = list(Round.objects.filter(plan=plan).values_list("distance_m", "leave_s", "return_s", "overtime_s"))
    return {
        "km": round(sum(row[0] for row in rounds) / 1000, 1),
        "hours": round(sum((row[2] or 0) - (row[1] or 0) for row in rounds) / 3600, 2),
        "overtime_h": round(sum(row[3] for row in rounds) / 3600, 2),
        "late_days": _late_days(plan) + sum(max((week.sunday - due_on).days, 0) for due_on in left),
        "promises_moved": _moved(plan) + _promised_and_left(week),
        "left_out": len(left),
        **_nights(plan),
    }


def _nights(plan: WeekPlan) -> dict[str, Any]:
    """How many nights away, and their price."""
    prices = list(Round.objects.filter(plan=plan, lodging__isnull=False).values_list("lodging__price_per_night"))
    return {"nights": len(prices), "lodging": float(sum(price for (price,) in prices))}


def with_change(score: dict[str, Any], before: dict[str, Any] | None) -> dict[str, Any]:
    """A score that carries the figures of the plan before, to show the change."""
    kept = {key: before[key] for key in FIGURES if key in before} if before else None
    return score | {"before": kept}


def _late_days(plan: WeekPlan) -> int:
    rows = Stop.objects.filter(round__plan=plan, helps=False).values_list("round__date", "visit__due_on")
    return sum(max((day - due_on).days, 0) for day, due_on in rows)


def _promised_and_left(week: Week) -> int:
    """Visits whose clients were told an hour of this week and that are on no round."""
    rows = Visit.objects.filter(state__in=OPEN, promised_start__isnull=False)
    rows = rows.filter(planned_on__range=(week.monday, week.sunday))
    return rows.exclude(Exists(Stop.objects.filter(visit=OuterRef("pk"), helps=False))).count()


def _moved(plan: WeekPlan) -> int:
    rows = Stop.objects.filter(round__plan=plan, helps=False, visit__promised_start__isnull=False).values_list(
        "round__date", "start_s", "round__technician__time_zone", "visit__site__time_zone", "visit__planned_on",
        "visit__promised_start",
    )  # fmt: skip
    return sum(
        is_promise_moved(planned_on, promised, clock(day, start_s, ZoneInfo(own), ZoneInfo(site)))
        for day, start_s, own, site, planned_on, promised in rows
    )
