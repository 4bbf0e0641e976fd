"""Cost to serve, read from the days as they were driven."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from servicedesk.people.models import Firm, Technician
from servicedesk.routes.costs import Row, Work, summed
from servicedesk.routes.queries.actual import actual_days
from servicedesk.routes.queries.hours import Month
from servicedesk.routes.queries.round import technicians_between


@dataclass(frozen=True, slots=True)
class Costs:
    """The months asked for, newest first, by city and by person."""

    months: list[Month]
    by_month: list[Row]
    by_city: list[Row]
    by_person: list[Row]
    by_both: list[Row]
    whole: Row
    currency: str


def months_back(last: Month, count: int) -> list[Month]:
    """So many months up to ``last``, oldest first."""
    rows = [last]
    while len(rows) < count:
        rows.insert(0, rows[0].before)
    return rows


def costs(months: Sequence[Month]) -> Costs:
    """Hours, kilometres, visits and their cost in the months, from actual rounds."""
    first, last = months[0].first, months[-1].last
    legs = work_between(list(technicians_between(first, last)), first, last)
    whole = summed(legs)
    return Costs(
        months=list(reversed(months)),
        by_month=summed(legs, "month", "city")[::-1],
        by_city=summed(legs, "city"),
        by_person=summed(legs, "person"),
        by_both=summed(legs, "month", "person", "city"),
        whole=whole[0] if whole else Row(),
        currency=Firm.objects.values_list("currency", flat=True).first() or "USD",
    )


def work_between(technicians: Sequence[Technician], first: date, last: date) -> list[Work]:
    return [
        Work(
            month=str(Month.of(day.day)),
            person=str(day.technician),
            city=leg.city,
            visits=int(leg.visit is not None and not leg.helped),
            drive_s=leg.drive_s,
            work_s=leg.work_s,
            wait_s=leg.wait_s,
            metres=leg.metres,
            hourly=day.technician.hourly_cost,
            per_km=day.technician.km_cost,
            lodging=leg.lodging,
        )
        for day in actual_days(technicians, first, last)
        for leg in day.legs
    ]
