"""The firm, its stores, people, vans, hours, leave and permissions."""

from datetime import date, time, timedelta
from typing import Any

from django.contrib.auth.hashers import make_password

from servicedesk.people.models import (
    Depot,
    Firm,
    Leave,
    Lodging,
    Permission,
    PermissionKind,
    Technician,
    User,
    Van,
    WorkingHours,
)
from servicedesk.setup.demo.size import fixture
from servicedesk.setup.demo.world import World

PASSWORD = "reef-round-2026"  # noqa: S105 - printed on purpose: the demo's sign-in
SATURDAY, SUNDAY = 5, 6
DUTY = (time(8), time(14))
KIT_KG = 180


def people_make(world: World) -> None:
    """Everybody and everything that drives."""
    data = fixture("people")
    Firm.objects.create(id=1, **data["firm"])
    for row in data["depots"]:
        fields = {name: value for name, value in row.items() if name != "key"}
        world.depots[row["key"]] = Depot.objects.create(**fields)
    Lodging.objects.bulk_create(Lodging(**row) for row in data["lodgings"])
    password = make_password(PASSWORD)
    for row in data["people"]:
        user = User.objects.create(
            email=row["email"], name=row["name"], phone=row["phone"], roles=row["roles"], password=password
        )
        world.users[row["email"]] = user
        if "depot" in row:
            world.technicians.append(_technician(world, user, row))
    badges = {
        row["name"]: PermissionKind.objects.create(name=row["name"], kind=PermissionKind.Kind.BADGE, warn_days=30)
        for row in data["badges"]
    }
    for index, technician in enumerate(world.technicians):
        _permissions(
            world, technician, index, [badges[row["name"]] for row in data["badges"] if _near(world, row, technician)]
        )
    _leave(world)


def _near(world: World, badge: dict[str, Any], technician: Technician) -> bool:
    return bool(world.depots[badge["depot"]].pk == technician.depot_id)


def _technician(world: World, user: User, row: dict[str, Any]) -> Technician:
    depot = world.depots[row["depot"]]
    began = world.size.begins_on - timedelta(days=420)
    technician = Technician.objects.create(
        user=user,
        initials=row["initials"],
        depot=depot,
        home_address=row["home_address"],
        home_latitude=row["home"][0],
        home_longitude=row["home"][1],
        time_zone=depot.time_zone,
        hourly_cost="38" if row.get("lead") else "31",
        may_stay_away="nights" in row,
        most_nights=row.get("nights", 2),
        first_day=began,
    )
    starts, ends = (time.fromisoformat(text) for text in row["hours"])
    days = [(weekday, starts, ends, 30) for weekday in range(5)]
    days += [(SATURDAY, *DUTY, 0)] if row.get("saturday") else []
    days += [(SUNDAY, *DUTY, 0)] if row.get("sunday") else []
    WorkingHours.objects.bulk_create(
        [
            WorkingHours(
                technician=technician, weekday=weekday, starts=first, ends=last, lunch_min=lunch, valid_from=began
            )
            for weekday, first, last, lunch in days
        ]
    )
    Van.objects.create(
        name=f"Van {row['van']}",
        plate=row["plate"],
        depot=depot,
        technician=technician,
        payload_kg=row["payload_kg"],
        fixed_kit_kg=KIT_KG,
        water_tank_l=row["tank_l"],
    )
    return technician


def _permissions(world: World, technician: Technician, index: int, badges: list[PermissionKind]) -> None:
    """Everyone holds what their sites need today; the days differ from person to person."""
    chance, today = world.size.rng("permissions", technician.initials), world.size.today
    general = {kind.name: kind for kind in PermissionKind.objects.exclude(kind=PermissionKind.Kind.BADGE)}
    names = [name for name in general if not name.startswith("Diver") or index < 2]
    rows = [
        _permission(technician.user, general[name], today, chance.randint(70, 330), chance.randint(200, 700))
        for name in names
    ]
    rows += [
        _permission(technician.user, badge, today, chance.randint(75, 300), chance.randint(60, 300)) for badge in badges
    ]
    Permission.objects.bulk_create(rows)


def _permission(user: User, kind: PermissionKind, today: date, left: int, since: int) -> Permission:
    first = today - timedelta(days=max(since, 366))
    return Permission(
        user=user,
        kind=kind,
        number=f"{user.pk:02}-{kind.pk:03}-{left:03}" if kind.kind != PermissionKind.Kind.SKILL else "",
        first_day=first,
        last_day=today + timedelta(days=left),
    )


def _leave(world: World) -> None:
    """Some leave behind, some ahead; nobody is away this week."""
    monday = world.size.monday
    marisol, junia, corwin = (
        next(row for row in world.technicians if row.initials == initials) for initials in ("MA", "JP", "CA")
    )
    rows = [
        Leave(
            technician=corwin,
            first_day=monday + timedelta(days=10),
            last_day=monday + timedelta(days=11),
            reason="family",
        ),
        Leave(
            technician=junia,
            first_day=monday + timedelta(days=21),
            last_day=monday + timedelta(days=25),
            reason="holiday",
        ),
        Leave(
            technician=marisol,
            first_day=monday - timedelta(days=126),
            last_day=monday - timedelta(days=117),
            reason="holiday",
        ),
    ]
    Leave.objects.bulk_create([row for row in rows if row.last_day >= world.size.begins_on])
    world.leave = rows
