"""From when on a week is planned again, and who is out: said by the planner, kept with the run of the search."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from servicedesk.people.models import Technician
from servicedesk.routes.times import midnight


@dataclass(frozen=True, slots=True)
class Out:
    """A technician who does no more from the moment on, up to and with a day; or a van that stands still.

    ``back``: when they were there again after all.
    """

    technician: int
    until: date
    reason: str
    since: datetime
    back: datetime | None = None

    @property
    def is_out_at_all(self) -> bool:
        """Not one who was back before they went."""
        return self.back is None or self.back > self.since

    def ends(self, zone: ZoneInfo) -> datetime:
        """The first moment at which they are there again."""
        after = midnight(self.until + timedelta(days=1), zone)
        return after if self.back is None else min(self.back, after)


@dataclass(frozen=True, slots=True)
class Scope:
    """From when on the week is planned again, and who is out."""

    since: datetime
    out: tuple[Out, ...] = ()

    def today(self, zone: str) -> date:
        return self.since.astimezone(ZoneInfo(zone)).date()

    def leaves_at(self, technician: Technician, day: date) -> datetime | None:
        """When somebody goes later today; None for others."""
        zone = ZoneInfo(technician.time_zone)
        rows = [row.since for row in self.out if row.technician == technician.pk and row.since > self.since]
        return next((at for at in rows if at.astimezone(zone).date() == day), None)

    def is_out(self, technician: Technician, day: date) -> bool:
        return any(
            row.technician == technician.pk and self.today(technician.time_zone) <= day <= row.until for row in self.out
        )


def scope_json(scope: Scope) -> dict[str, Any]:
    return {
        "since": scope.since.isoformat(),
        "out": [
            {
                "technician": row.technician,
                "until": row.until.isoformat(),
                "reason": row.reason,
                "since": row.since.isoformat(),
                "back": row.back.isoformat() if row.back else None,
            }
            for row in scope.out
        ],
    }


def scope_from(kept: Mapping[str, Any]) -> Scope:
    rows = tuple(
        Out(
            row["technician"],
            date.fromisoformat(row["until"]),
            row["reason"],
            datetime.fromisoformat(row["since"]),
            datetime.fromisoformat(row["back"]) if row.get("back") else None,
        )
        for row in kept["out"]
    )
    return Scope(datetime.fromisoformat(kept["since"]), rows)
