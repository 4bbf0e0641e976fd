"""What it costs to serve: hours, kilometres and visits by month, person and city. No database."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class Work:
    """A leg as it was driven and worked: the way to a visit with the visit, or the way home or to a lodging.

    ``person`` and ``city`` name the row it counts in; rates are per hour and per kilometre.
    """

    month: str
    person: str
    city: str
    visits: int
    drive_s: int
    work_s: int
    wait_s: int
    metres: int
    hourly: Decimal
    per_km: Decimal
    lodging: Decimal = Decimal(0)


@dataclass(slots=True)
class Row:
    """Work added up."""

    month: str = ""
    person: str = ""
    city: str = ""
    visits: int = 0
    drive_s: int = 0
    work_s: int = 0
    wait_s: int = 0
    metres: int = 0
    cost: Decimal = Decimal(0)
    nights: int = 0
    lodging: Decimal = Decimal(0)

    @property
    def hours(self) -> float:
        return (self.drive_s + self.work_s + self.wait_s) / HOUR_S

    @property
    def drive_h(self) -> float:
        return self.drive_s / HOUR_S

    @property
    def work_h(self) -> float:
        return self.work_s / HOUR_S

    @property
    def wait_h(self) -> float:
        return self.wait_s / HOUR_S

    @property
    def km(self) -> float:
        return self.metres / 1000

    @property
    def cost_per_visit(self) -> Decimal | None:
        return self.cost / self.visits if self.visits else None

    def add(self, leg: Work) -> None:
        self.visits += leg.visits
        self.drive_s += leg.drive_s
        self.work_s += leg.work_s
        self.wait_s += leg.wait_s
        self.metres += leg.metres
        seconds = leg.drive_s + leg.work_s + leg.wait_s
        self.cost += leg.hourly * seconds / HOUR_S + leg.per_km * leg.metres / 1000 + leg.lodging
        self.nights += bool(leg.lodging)
        self.lodging += leg.lodging


def summed(legs: Iterable[Work], *by: str) -> list[Row]:
    """Rows by any of month, person and city; none: one row of everything."""
    rows: dict[tuple[str, ...], Row] = {}
    for leg in legs:
        key = tuple(str(getattr(leg, name)) for name in by)
        if key not in rows:
            named = dict(zip(by, key, strict=True))
            rows[key] = Row(named.get("month", ""), named.get("person", ""), named.get("city", ""))
        rows[key].add(leg)
    return [rows[key] for key in sorted(rows)]
