"""Messages to the clients whose promised hour a new plan moves: drafted here, sent by a person."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Contact
from servicedesk.common.mail.send import mail_queue
from servicedesk.people.models import Firm, Technician, User
from servicedesk.routes.kept import KeptRound, Key
from servicedesk.routes.queries.plan_changes import ChangeRow, begins_at, clients_to_tell, promised_at
from servicedesk.routes.week_models import PlanProposal, ProposalNotice
from servicedesk.visits.models import Visit

DRAFT = ProposalNotice.State.DRAFT


def notices_draft(proposal: PlanProposal, rows: Iterable[ChangeRow], rounds: Mapping[Key, KeptRound]) -> None:
    """A message for each client who was told an hour that no longer holds."""
    firm = Firm.objects.first()
    people = Technician.objects.in_bulk({key[0] for key in rounds})
    for row in clients_to_tell(rows):
        contacts = _contacts(row.visit)
        names = _names(row, contacts, firm, people)
        ProposalNotice.objects.get_or_create(
            proposal=proposal,
            visit=row.visit,
            defaults={
                "what": row.words[:200],
                "to": [contact.email for contact in contacts if contact.email][:1],
                "phone": row.visit.site.phone or next((contact.phone for contact in contacts if contact.phone), ""),
                "subject": (_("Your visit on %(day)s") % names)[:160],
                "body": _body(row) % names,
            },
        )


def _contacts(visit: Visit) -> Sequence[Contact]:
    """Those of the site before those of the client."""
    rows = visit.site.client.contacts.filter(archived_at=None)
    own = [row for row in rows if row.site_id == visit.site_id]
    return own or [row for row in rows if row.site_id is None]


def _names(
    row: ChangeRow, contacts: Sequence[Contact], firm: Firm | None, people: Mapping[int, Technician]
) -> dict[str, Any]:
    told = promised_at(row.visit)
    new = begins_at(*row.now, people[row.now[0][0]], row.visit) if row.now is not None else None
    return {
        "who": contacts[0].name if contacts else row.visit.site.client.name,
        "site": row.visit.site.name,
        "day": date_format(told.date(), "D j M Y") if told else "",
        "old": f"{told:%H:%M}" if told else "",
        "new": f"{new:%H:%M}" if new else "",
        "new_day": date_format(new.date(), "D j M Y") if new else "",
        "phone": firm.phone if firm else "",
        "firm": firm.name if firm else "",
    }


def _body(row: ChangeRow) -> str:
    told = _("We had told you about %(old)s for our visit at %(site)s on %(day)s.") + " "
    if row.now is None:
        told += _("We cannot come then, and will ring you today with a new time.")
    else:
        told += _("We will come on %(new_day)s at about %(new)s instead (half an hour either way).")
    sorry = _("We are sorry for the change. If it does not suit you, please ring us: %(phone)s.")
    return _("Dear %(who)s,") + f"\n\n{told}\n\n{sorry}\n\n%(firm)s\n"


@transaction.atomic
def notice_send(*, notice: ProposalNotice, to: Sequence[str], subject: str, body: str, actor: User) -> None:
    """Send a message as the person left it; sent already: nothing changes."""
    locked = ProposalNotice.objects.select_for_update().get(pk=notice.pk)
    if locked.state == ProposalNotice.State.SENT:
        return
    locked.to, locked.subject, locked.body = list(to), subject, body
    locked.state, locked.done_at, locked.done_by = ProposalNotice.State.SENT, timezone.now(), actor
    locked.save()
    mail_queue(
        dedupe_key=f"proposal-notice:{locked.pk}", kind="move_notice", to=locked.to, subject=subject, body=body,
        about=f"visit:{locked.visit_id}", created_by=str(actor),
    )  # fmt: skip


@transaction.atomic
def notice_told(*, notice: ProposalNotice, actor: User) -> None:
    """Note that the client was told by telephone."""
    ProposalNotice.objects.filter(pk=notice.pk, state=DRAFT).update(
        state=ProposalNotice.State.TOLD, done_at=timezone.now(), done_by=actor
    )
