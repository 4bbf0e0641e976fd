"""Looks ahead in the worker, and what the planner decides about their proposals."""

import logging
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Agreement
from servicedesk.clients.services import agreement_reschedule
from servicedesk.common.jobs import enqueue
from servicedesk.people.models import User
from servicedesk.planner.cadence import Look, Smoothed, WeekFigures, smooth
from servicedesk.planner.cadence_rounds import Driven
from servicedesk.routes.cadence_models import CadenceLook, CadenceProposal
from servicedesk.routes.queries.cadence import (
    WEEKS,
    LookInput,
    change_of,
    first_monday,
    look_input,
    rule_of,
    slot_of,
)
from servicedesk.visits.services.schedule import agreement_retime

log = logging.getLogger(__name__)
ACTIVE = (CadenceLook.State.QUEUED, CadenceLook.State.RUNNING)
LOST_AFTER = timedelta(minutes=3)
BEAT_EVERY = timedelta(milliseconds=700)
NEAR_S, NEAR_SHOWN = 900, 3


@transaction.atomic
def look_request(*, today: date, actor: User) -> CadenceLook:
    """Ask the worker to look ahead; a look that waits or works already is returned as it is."""
    looks_sweep()
    active = CadenceLook.objects.filter(state__in=ACTIVE).first()
    if active is not None:
        return active
    try:
        with transaction.atomic():
            look = CadenceLook.objects.create(
                first_day=first_monday(today), weeks=WEEKS, requested_by=actor, message=_("Waiting for the worker.")
            )
    except IntegrityError:
        return CadenceLook.objects.get(state__in=ACTIVE)
    enqueue("routes.look_ahead", str(look.pk))
    return look


def looks_sweep() -> int:
    """End looks whose worker is gone."""
    old = timezone.now() - LOST_AFTER
    lost = Q(state=CadenceLook.State.RUNNING, heartbeat_at__lt=old) | Q(
        state=CadenceLook.State.QUEUED, requested_at__lt=old
    )
    return CadenceLook.objects.filter(lost).update(
        state=CadenceLook.State.FAILED, ended_at=timezone.now(), message=_("The worker was lost. Look again.")
    )


def look_execute(look_id: UUID) -> None:
    """Work a look off; a second delivery finds it claimed and does nothing."""
    claimed = CadenceLook.objects.filter(pk=look_id, state=CadenceLook.State.QUEUED).update(
        state=CadenceLook.State.RUNNING, heartbeat_at=timezone.now(), message=_("Reading agreements and shifts.")
    )
    if not claimed:
        return
    look = CadenceLook.objects.get(pk=look_id)
    try:
        data = look_input(look.first_day, look.weeks)
        look_store(look=look, data=data, found=smooth(data.look, _Beat(look.pk)))
    except Exception:
        log.exception("Looking ahead from %s failed", look.first_day)
        CadenceLook.objects.filter(pk=look_id, state__in=ACTIVE).update(
            state=CadenceLook.State.FAILED, ended_at=timezone.now(), message=_("Looking ahead failed. Nothing changed.")
        )


class _Beat:
    """Keeps the heartbeat and the percentage of a look."""

    def __init__(self, look_id: UUID) -> None:
        self.look_id = look_id
        self.last = timezone.now() - BEAT_EVERY

    def __call__(self, share: float) -> bool:
        now = timezone.now()
        if now - self.last < BEAT_EVERY:
            return False
        self.last = now
        alive = CadenceLook.objects.filter(pk=self.look_id, state=CadenceLook.State.RUNNING).update(
            percent=min(max(round(share * 95), 1), 95), message=_("Trying other days."), heartbeat_at=now
        )
        return not alive


@transaction.atomic
def look_store(*, look: CadenceLook, data: LookInput, found: Smoothed) -> None:
    """Keep what was proposed; running it twice keeps it once."""
    own = CadenceLook.objects.select_for_update().get(pk=look.pk)
    if own.state != CadenceLook.State.RUNNING:
        return
    rows = [_proposal(own, data, move) for move in _moves(data.look, found)]
    CadenceProposal.objects.bulk_create(rows, ignore_conflicts=True)
    own.result = {
        "weeks": [_week(own, week) for week in found.weeks],
        "agreements": len(data.look.calls),
        "movable": sum(len(call.options) > 1 for call in data.look.calls),
        "people": len(data.look.bases),
    }
    own.state, own.percent, own.ended_at, own.message = CadenceLook.State.DONE, 100, timezone.now(), ""
    own.save()


@dataclass(frozen=True, slots=True)
class _Moved:
    key: str
    weekday: int
    phase: int
    saved: Driven
    alone: Driven
    neighbours: list[str]


def _moves(look: Look, found: Smoothed) -> list[_Moved]:
    """The moves with the calls nearby that are served on the same days then."""
    slots = {move.call: move.slot for move in found.moves}
    days = {
        call.id: set(next(o for o in call.options if o.slot == slots.get(call.id, call.options[0].slot)).days)
        for call in look.calls
    }
    by_id = {call.id: call for call in look.calls}
    rows = []
    for move in found.moves:
        own = by_id[move.call]
        near = [
            (look.seconds[own.place][other.place], other.id)
            for other in look.calls
            if other.id != own.id
            and look.seconds[own.place][other.place] <= NEAR_S
            and 2 * len(days[own.id] & days[other.id]) >= min(len(days[own.id]), len(days[other.id])) > 0
        ]
        ids = [key for _seconds, key in sorted(near)[:NEAR_SHOWN]]
        rows.append(_Moved(move.call, move.slot.weekday, move.slot.phase, move.within, move.alone, ids))
    return rows


def _proposal(look: CadenceLook, data: LookInput, move: _Moved) -> CadenceProposal:
    agreement = data.agreements[move.key]
    call = next(row for row in data.look.calls if row.id == move.key)
    slot = next(o.slot for o in call.options if (o.slot.weekday, o.slot.phase) == (move.weekday, move.phase))
    _slot, every = slot_of(agreement) or (slot, 1)
    names = list(dict.fromkeys(data.agreements[key].site.name for key in move.neighbours))
    return CadenceProposal(
        look=look,
        agreement=agreement,
        rule_before=agreement.rule,
        first_visit_before=agreement.first_visit_on,
        rule=rule_of(slot, every),
        first_on=change_of(agreement, slot, every, today_at(agreement)).first_on,
        saved_s=move.saved.seconds,
        saved_m=move.saved.metres,
        alone_s=move.alone.seconds,
        alone_m=move.alone.metres,
        neighbours=names,
    )


def today_at(agreement: Agreement) -> date:
    return timezone.now().astimezone(ZoneInfo(agreement.site.time_zone)).date()


def _week(look: CadenceLook, week: WeekFigures) -> dict[str, Any]:
    return {
        "monday": (look.first_day + timedelta(weeks=week.week)).isoformat(),
        "available_s": week.available_s,
        "now": _driven(week.now, week.service_now_s),
        "proposed": _driven(week.proposed, week.service_proposed_s),
    }


def _driven(driven: Driven, service_s: int) -> dict[str, int]:
    return {
        "drive_s": driven.seconds,
        "metres": driven.metres,
        "rounds": driven.rounds,
        "over_s": driven.over_s,
        "service_s": service_s,
    }


@transaction.atomic
def proposal_accept(*, proposal: CadenceProposal, actor: User) -> CadenceProposal:
    """Put an agreement into the proposed slot from its next free occurrence on; accepted already: nothing changes.

    Visits of this week, on a plan or given out stay as they are.
    """
    locked = CadenceProposal.objects.select_for_update().get(pk=proposal.pk)
    if locked.state == CadenceProposal.State.ACCEPTED:
        return locked
    agreement = Agreement.objects.select_for_update(of=("self",)).select_related("site").get(pk=locked.agreement_id)
    if (agreement.rule, agreement.first_visit_on) != (locked.rule_before, locked.first_visit_before):
        raise ValidationError(_("The agreement was changed since. Look ahead again."))
    if agreement.archived_at is not None:
        raise ValidationError(_("The agreement was archived since."))
    change = change_now(locked, agreement)
    agreement_reschedule(agreement=agreement, rule=locked.rule, first_visit_on=change.first_on, actor=actor)
    agreement_retime(agreement=agreement, today=change.from_day - timedelta(days=1))
    locked.first_on = change.first_on
    return _decided(locked, CadenceProposal.State.ACCEPTED, actor)


def change_now(proposal: CadenceProposal, agreement: Agreement) -> Any:
    """When the new calendar would begin, as things stand now."""
    found = slot_of(Agreement(rule=proposal.rule, first_visit_on=proposal.first_on, anchored=True))
    if found is None:
        raise ValidationError(_("This proposal cannot be read any more. Look ahead again."))
    return change_of(agreement, *found, today_at(agreement))


@transaction.atomic
def proposal_refuse(*, proposal: CadenceProposal, actor: User) -> CadenceProposal:
    locked = CadenceProposal.objects.select_for_update().get(pk=proposal.pk)
    if locked.state == CadenceProposal.State.ACCEPTED:
        raise ValidationError(
            _("This was accepted on %(day)s; change the agreement itself.")
            % {"day": date_format(timezone.localtime(locked.decided_at)) if locked.decided_at else ""}
        )
    return _decided(locked, CadenceProposal.State.REFUSED, actor)


def _decided(proposal: CadenceProposal, state: str, actor: User) -> CadenceProposal:
    proposal.state, proposal.decided_by, proposal.decided_at = state, actor, timezone.now()
    proposal.save()
    return proposal
