"""The telephone calls that would save most, as a planner reads them."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from servicedesk.routes.queries.plan_changes import promised_at
from servicedesk.routes.week_models import PlanProposal
from servicedesk.visits.models import Visit


@dataclass(frozen=True, slots=True)
class CallTold:
    visit: Visit
    words: str
    begin: datetime

    @property
    def promised(self) -> datetime | None:
        """The day and hour told to the client until now."""
        return promised_at(self.visit)

    @property
    def is_other_day(self) -> bool:
        return self.promised is not None and self.promised.date() != self.begin.date()

    @property
    def phone(self) -> str:
        if self.visit.site.phone:
            return str(self.visit.site.phone)
        return next((str(row.phone) for row in self.visit.site.client.contacts.all() if row.phone), "")


def calls_told(proposal: PlanProposal) -> list[CallTold]:
    """Of visits that are still to be done."""
    visits = {
        str(row.pk): row
        for row in Visit.objects.filter(pk__in=[row["visit"] for row in proposal.calls])
        .select_related("site__client")
        .prefetch_related("site__client__contacts")
    }
    return [
        CallTold(visits[row["visit"]], row["words"], _at_site(visits[row["visit"]], row["begin"]))
        for row in proposal.calls
        if row["visit"] in visits
    ]


def _at_site(visit: Visit, begin: str) -> datetime:
    return datetime.fromisoformat(begin).astimezone(ZoneInfo(visit.site.time_zone))
