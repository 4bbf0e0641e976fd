"""A small firm for the tests of weeks and rounds: one planner, two technicians, sites around two towns."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from typing import Any

from servicedesk.clients.models import AccessWindow, Agreement, Client, Site
from servicedesk.people.models import (
    Depot,
    Firm,
    Permission,
    PermissionKind,
    Role,
    Technician,
    User,
    Van,
    WorkingHours,
)
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit

WEEK = Week(2026, 50)  # Mon 7 Dec to Sun 13 Dec 2026
MONDAY = WEEK.monday
CENTRAL, EASTERN = "America/Chicago", "America/New_York"
# Two towns some 60 km apart.
NASHVILLE, MURFREESBORO = (36.1627, -86.7816), (35.8456, -86.3903)


@dataclass
class Cast:
    """Who takes part: planner, technician on the round, technician off it, office."""

    firm: Firm
    planner: User
    office: User
    rob: Technician
    ana: Technician
    client: Client


def a_user(name: str, *roles: str, **over: Any) -> User:
    fields: dict[str, Any] = {"name": name, "roles": [str(role) for role in roles], "unit_system": "metric"} | over
    return User.objects.create(email=f"{name.split(maxsplit=1)[0].lower()}@saltround.example", **fields)


def a_technician(name: str, depot: Depot, **over: Any) -> Technician:
    user = a_user(name, Role.TECHNICIAN)
    fields: dict[str, Any] = {
        "initials": name[:2].upper(),
        "depot": depot,
        "home_latitude": NASHVILLE[0],
        "home_longitude": NASHVILLE[1],
        "time_zone": CENTRAL,
        "first_day": date(2024, 1, 1),
    }
    technician = Technician.objects.create(user=user, **(fields | over))
    for weekday in range(5):
        WorkingHours.objects.create(
            technician=technician,
            weekday=weekday,
            starts=time(8),
            ends=time(16, 30),
            lunch_min=30,
            valid_from=date(2024, 1, 1),
        )
    Van.objects.create(
        name=f"Van {name.split(maxsplit=1)[0]}", plate=f"T-{name[:3].upper()}", depot=depot, technician=technician,
        payload_kg=900, driver_kg=90, fixed_kit_kg=120, water_tank_l=300,
    )  # fmt: skip
    return technician


def the_cast() -> Cast:
    firm = Firm.objects.create(name="Test Reef Care", address="1 Pier", phone="555-0100", email="o@saltround.example")
    depot = Depot.objects.create(
        name="Main store",
        address="1 Dock",
        city="Nashville",
        latitude=NASHVILLE[0],
        longitude=NASHVILLE[1],
        time_zone=CENTRAL,
    )
    return Cast(
        firm=firm,
        planner=a_user("Petra Planner", Role.PLANNER),
        office=a_user("Olga Office", Role.OFFICE),
        rob=a_technician("Rob Reef", depot),
        ana=a_technician("Ana Algae", depot),
        client=Client.objects.create(number="C1", name="Harbour Hotels"),
    )


def a_site(
    cast: Cast,
    name: str,
    at: tuple[float, float] = NASHVILLE,
    windows: Sequence[tuple[int, time, time]] = (),
    **over: Any,
) -> Site:
    fields: dict[str, Any] = {
        "street": "1 Quay", "city": "Town", "region": "TN", "postcode": "37000", "latitude": at[0], "longitude": at[1],
        "time_zone": CENTRAL,
    }  # fmt: skip
    site = Site.objects.create(client=cast.client, name=name, **(fields | over))
    for weekday, opens, closes in windows:
        AccessWindow.objects.create(site=site, weekday=weekday, opens=opens, closes=closes)
    return site


def an_agreement(site: Site, **over: Any) -> Agreement:
    fields: dict[str, Any] = {
        "number": f"A{Agreement.objects.count() + 1}",
        "title": "Care",
        "starts_on": date(2025, 1, 1),
        "first_visit_on": date(2025, 1, 6),
        "rule": "FREQ=WEEKLY",
        "duration_min": 60,
    }
    return Agreement.objects.create(client=site.client, site=site, **(fields | over))


def a_visit(site: Site, due_on: date = MONDAY, *, days: tuple[date, date] | None = None, **over: Any) -> Visit:
    first, last = days or (MONDAY, date(2026, 12, 11))
    fields: dict[str, Any] = {"duration_min": 60, "earliest_on": first, "latest_on": last}
    return Visit.objects.create(site=site, due_on=due_on, **(fields | over))


def a_badge(name: str = "Harbour badge") -> PermissionKind:
    return PermissionKind.objects.get_or_create(name=name, defaults={"kind": "badge"})[0]


def holds(user: User, kind: PermissionKind, first: date, last: date) -> Permission:
    return Permission.objects.create(user=user, kind=kind, first_day=first, last_day=last)


def a_plan(week: Week = WEEK) -> WeekPlan:
    return WeekPlan.objects.get_or_create(iso_year=week.year, iso_week=week.number)[0]


def a_round(technician: Technician, visits: Sequence[Visit], day: date = MONDAY, *, first_s: int = 9 * 3600) -> Round:
    """A round as the planner would store it: twenty minutes of drive, then an hour at each stop."""
    row = Round.objects.create(
        plan=a_plan(), technician=technician, van=technician.van, date=day, leave_s=first_s - 1200,
        return_s=first_s + len(visits) * 4800, travel_s=1200 * (len(visits) + 1), distance_m=10_000 * (len(visits) + 1),
    )  # fmt: skip
    at = first_s
    for position, visit in enumerate(visits, start=1):
        Stop.objects.create(
            round=row, visit=visit, position=position, travel_s=1200, distance_m=10_000, arrive_s=at, start_s=at,
            leave_s=at + 3600,
        )  # fmt: skip
        at += 4800
    return row
