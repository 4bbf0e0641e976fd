"""Messages to clients whose promised hour moves: addressed and worded here, sent or noted as told by a person."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.common.mail.send import mail_queue
from servicedesk.people.models import Firm, User
from servicedesk.routes.notice_models import ClientNotice
from servicedesk.visits.models import Visit

State = ClientNotice.State


def notice_fields(visit: Visit, firm: Firm | None, *, what: str, told: str, names: Mapping[str, str]) -> dict[str, Any]:
    """What a draft holds. ``told``: what becomes of the hour, a sentence with ``names`` old, day, new … in it."""
    rows = visit.site.client.contacts.filter(archived_at=None)
    contacts = [row for row in rows if row.site_id == visit.site_id] or [row for row in rows if row.site_id is None]
    known = {
        **names,
        "who": contacts[0].name if contacts else visit.site.client.name,
        "site": visit.site.name,
        "phone": firm.phone if firm else "",
        "firm": firm.name if firm else "",
    }
    before = _("We had told you about %(old)s for our visit at %(site)s on %(day)s.")
    sorry = _("We are sorry for the change. If it does not suit you, please ring us: %(phone)s.")
    letter = _("Dear %(who)s,") + f"\n\n{before} {told}\n\n{sorry}\n\n%(firm)s\n"
    return {
        "what": what[:200],
        "to": [row.email for row in contacts if row.email][:1],
        "phone": visit.site.phone or next((row.phone for row in contacts if row.phone), ""),
        "subject": (_("Your visit on %(day)s") % known)[:160],
        "body": letter % known,
    }


@transaction.atomic
def notice_send(*, notice: ClientNotice, to: Sequence[str], subject: str, body: str, actor: User) -> None:
    """Send a message as the person left it; sent already: nothing changes."""
    kind = type(notice)
    locked = kind._default_manager.select_for_update().get(pk=notice.pk)
    if locked.state == State.SENT:
        return
    locked.to, locked.subject, locked.body = list(to), subject, body
    locked.state, locked.done_at, locked.done_by = State.SENT, timezone.now(), actor
    locked.save()
    mail_queue(
        dedupe_key=f"{kind._meta.model_name}:{locked.pk}", kind="move_notice", to=locked.to, subject=subject, body=body,
        about=f"visit:{locked.visit_id}", created_by=str(actor),
    )  # fmt: skip


@transaction.atomic
def notice_told(*, notice: ClientNotice, actor: User) -> None:
    """Note that the client was told by telephone."""
    type(notice)._default_manager.filter(pk=notice.pk, state=State.DRAFT).update(
        state=State.TOLD, done_at=timezone.now(), done_by=actor
    )
