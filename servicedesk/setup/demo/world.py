"""What the steps of loading the demo hand on to one another."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from servicedesk.clients.models import Agreement, Site
from servicedesk.consumables.models import Item
from servicedesk.installations.models import Installation, PlantItem
from servicedesk.people.models import Depot, Leave, Technician, User
from servicedesk.setup.demo.size import Size
from servicedesk.setup.demo.tank import Tank


@dataclass(slots=True)
class System:
    """An installation with its machines and the water that the simulation keeps of it."""

    installation: Installation
    site: Site
    plant: list[PlantItem]
    tank: Tank
    wrong: str = ""
    serviced: dict[int, date] = field(default_factory=dict)

    def machine(self, kind: str) -> PlantItem | None:
        return next((item for item in self.plant if item.kind == kind), None)


@dataclass(slots=True)
class Place:
    """A site with what belongs to it."""

    site: Site
    depot: str
    wrong: str
    minutes: int
    cadence: str
    weekday: int
    windows: str
    carer: str = ""  # the initials of whoever the client wants, where it is not left to chance
    systems: list[System] = field(default_factory=list)
    agreement: Agreement | None = None
    technician: Technician | None = None


@dataclass(slots=True)
class World:
    size: Size
    depots: dict[str, Depot] = field(default_factory=dict)
    users: dict[str, User] = field(default_factory=dict)
    technicians: list[Technician] = field(default_factory=list)
    leave: list[Leave] = field(default_factory=list)
    items: dict[str, Item] = field(default_factory=dict)
    places: list[Place] = field(default_factory=list)

    def first_with(self, role: str) -> User:
        return next(user for user in self.users.values() if role in user.roles)

    def team(self, depot: str) -> list[Technician]:
        return [row for row in self.technicians if row.depot_id == self.depots[depot].pk]

    def systems(self) -> Iterator[System]:
        for place in self.places:
            yield from place.systems

    def is_away(self, technician: Technician, day: date) -> bool:
        return any(row.technician_id == technician.pk and row.first_day <= day <= row.last_day for row in self.leave)
