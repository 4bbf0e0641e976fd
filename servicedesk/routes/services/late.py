"""A round that runs late: the office is told once, a remedy is asked of the technicians, an hour is agreed anew."""

from datetime import time
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.common.mail.send import mail_queue
from servicedesk.people.models import Firm, Role, User
from servicedesk.routes.models import RoundChange
from servicedesk.routes.queries.changes import Part
from servicedesk.routes.queries.round import times_published
from servicedesk.routes.queries.running import LiveRound, Offer, live_rounds, offers_for
from servicedesk.routes.remedies import Key
from servicedesk.routes.services.changes import changes_ask
from servicedesk.routes.services.versions import RuleBrokenError
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import visit_promise

ROUND_DAY = "D j M"


@transaction.atomic
def remedy_ask(*, key: Key, kind: str, visit_id: UUID, to: int | None, actor: User) -> list[RoundChange]:
    """Ask the technicians for a remedy, reckoned anew from how the rounds stand now."""
    everybody = live_rounds()
    rounds = {row.key: row for row in everybody}
    live = rounds.get(key)
    offer = _chosen(offers_for(live, everybody), kind, visit_id, to) if live is not None else None
    if live is None or offer is None:
        raise RuleBrokenError([_("The round has moved on meanwhile and this no longer helps. Look at it again.")])
    parts = [
        Part(
            rounds[other].round,
            times_published(rounds[other].round),
            run.as_times() if run.stops else None,
            frozenset(stop.visit_id for stop in run.stops if stop.state != "ahead"),
        )
        for other, run in offer.remedy.runs.items()
    ]
    return changes_ask(parts=parts, actor=actor, why=_why(live), running=True)


def _chosen(offers: list[Offer], kind: str, visit_id: UUID, to: int | None) -> Offer | None:
    for offer in offers:
        target = offer.to.pk if offer.to else None
        if (offer.remedy.kind, offer.remedy.visit_id, target) == (kind, str(visit_id), to):
            return offer
    return None


def _why(live: LiveRound) -> str:
    if not live.risks:
        return _("%(name)s would be %(where)s %(over)s beyond the overtime allowed.") % {
            "name": live.technician, "over": live.over_words, "where": live.ends.end.where,
        }  # fmt: skip
    return _("%(name)s runs late: %(risk)s") % {"name": live.technician, "risk": live.risks[0].words}


def hour_agree(*, visit: Visit, at: time, actor: User) -> None:
    """Note the hour that a client took on the telephone."""
    visit_promise(visit=visit, at=at, actor=actor)


def late_tell() -> int:
    """Mail planners and office once for each promise at risk; returns how many were queued now."""
    firm = Firm.objects.first()
    planners = User.objects.filter(roles__contains=[Role.PLANNER], is_active=True).values_list("email", flat=True)
    to = sorted({*planners, *(firm.office_list if firm else [])})
    everybody = live_rounds()
    late = [row for row in everybody if row.run.is_late]
    if not to or not late:
        return 0
    told = 0
    for live in late:
        offers = offers_for(live, everybody)
        for risk in live.risks:
            mail_queue(
                dedupe_key=f"late:{risk.visit.pk}:{live.round.date}:{risk.visit.promised_start}",
                kind="late",
                to=to,
                subject=_("Runs late: %(name)s, %(site)s") % {"name": live.technician, "site": risk.visit.site.name},
                body=_mail(live, risk.words, risk.visit, offers),
                about=f"visit:{risk.visit.pk}",
            )
            told += 1
    return told


def _mail(live: LiveRound, words: str, visit: Visit, offers: list[Offer]) -> str:
    lines = [f"{live.technician}, {date_format(live.round.date, ROUND_DAY)}", words]
    if visit.site.phone:
        lines.append(_("Ring %(site)s: %(phone)s") % {"site": visit.site.name, "phone": visit.site.phone})
    if offers:
        lines.append(_("What helps: %(words)s %(then)s") % {"words": offers[0].words, "then": " ".join(offers[0].then)})
    return "\n".join([*lines, ""])
