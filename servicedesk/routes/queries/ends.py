"""Where a technician's day begins and ends: at home, or at the lodging of a night away. Whoever asks, asks here."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol

from django.utils.translation import gettext as _

from servicedesk.people.models import Lodging, Technician
from servicedesk.routes.travel import Point


class Away(Protocol):
    """A round as it says where its nights are spent: a record, its times, or what is written into it."""

    @property
    def start_lodging_id(self) -> int | None: ...

    @property
    def lodging_id(self) -> int | None: ...


@dataclass(frozen=True, slots=True)
class Base:
    """One end of a day; ``lodging`` None is the technician's home."""

    technician: Technician
    lodging: Lodging | None = None

    @property
    def point(self) -> Point:
        if self.lodging is not None:
            return self.lodging.latitude, self.lodging.longitude
        return self.technician.home_latitude, self.technician.home_longitude

    @property
    def is_home(self) -> bool:
        return self.lodging is None

    @property
    def name(self) -> str:
        return self.lodging.name if self.lodging is not None else _("home")

    @property
    def where(self) -> str:
        """As a sentence says it: home, or at the lodging."""
        return self.name if self.lodging is None else _("at %(lodging)s") % {"lodging": self.name}

    @property
    def price(self) -> Decimal:
        """What a night there costs."""
        return self.lodging.price_per_night if self.lodging is not None else Decimal(0)

    @property
    def address(self) -> str:
        if self.lodging is not None:
            return f"{self.lodging.address}, {self.lodging.city}"
        return self.technician.home_address

    @property
    def geo_uri(self) -> str:
        """RFC 5870, for the device's own navigation."""
        latitude, longitude = self.point
        return f"geo:{latitude:.6f},{longitude:.6f}"


@dataclass(frozen=True, slots=True)
class Ends:
    """Where a day begins and where it ends."""

    start: Base
    end: Base

    @property
    def are_home(self) -> bool:
        return self.start.is_home and self.end.is_home


def ends_of(technician: Technician, row: Away | None, lodgings: Mapping[int, Lodging]) -> Ends:
    """The ends of a round; a day without one begins and ends at home."""
    if row is None:
        return Ends(Base(technician), Base(technician))
    start, end = (lodgings.get(pk) if pk is not None else None for pk in (row.start_lodging_id, row.lodging_id))
    return Ends(Base(technician, start), Base(technician, end))


def lodgings_of(rows: Iterable[Away | None]) -> dict[int, Lodging]:
    """The lodgings that rounds speak of; no query where nobody stays away."""
    ids = {pk for row in rows if row is not None for pk in (row.start_lodging_id, row.lodging_id) if pk is not None}
    return Lodging.objects.in_bulk(ids) if ids else {}


def points_of(lodgings: Iterable[Lodging]) -> list[Point]:
    return [(row.latitude, row.longitude) for row in lodgings]
