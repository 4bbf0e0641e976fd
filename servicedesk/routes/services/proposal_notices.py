"""Drafts of what to tell the clients whose promised hour a new plan moves."""

from collections.abc import Iterable, Mapping

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, Technician
from servicedesk.routes.kept import KeptRound, Key
from servicedesk.routes.queries.plan_changes import ChangeRow, begins_at, clients_to_tell, promised_at
from servicedesk.routes.services.notices import notice_fields
from servicedesk.routes.week_models import PlanProposal, ProposalNotice


def notices_draft(proposal: PlanProposal, rows: Iterable[ChangeRow], rounds: Mapping[Key, KeptRound]) -> None:
    """A message for each client who was told an hour that no longer holds."""
    firm = Firm.objects.first()
    people = Technician.objects.in_bulk({key[0] for key in rounds})
    for row in clients_to_tell(rows):
        ProposalNotice.objects.get_or_create(
            proposal=proposal,
            visit=row.visit,
            defaults=notice_fields(row.visit, firm, what=row.words, told=_told(row), names=_names(row, people)),
        )


def _names(row: ChangeRow, people: Mapping[int, Technician]) -> dict[str, str]:
    told = promised_at(row.visit)
    new = begins_at(*row.now, people[row.now[0][0]], row.visit) if row.now is not None else None
    return {
        "day": date_format(told.date(), "D j M Y") if told else "",
        "old": f"{told:%H:%M}" if told else "",
        "new": f"{new:%H:%M}" if new else "",
        "new_day": date_format(new.date(), "D j M Y") if new else "",
    }


def _told(row: ChangeRow) -> str:
    if row.now is None:
        return _("We cannot come then, and will ring you today with a new time.")
    return _("We will come on %(new_day)s at about %(new)s instead (half an hour either way).")
