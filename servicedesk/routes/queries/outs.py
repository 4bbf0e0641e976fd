"""Who the planner said is out: kept with the searches whose plans were taken."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from servicedesk.people.models import Technician
from servicedesk.routes.models import PlanRun
from servicedesk.routes.scope import Out, scope_from
from servicedesk.routes.week_models import PlanProposal

TAKEN = (PlanProposal.State.TAKEN, PlanProposal.State.PART)
LONGEST = timedelta(weeks=8)


def runs_with_outs(first: date) -> list[PlanRun]:
    """Searches that began with somebody out and whose plan was taken, the newest first."""
    since = datetime.combine(first - LONGEST, time(), tzinfo=ZoneInfo("UTC"))
    rows = PlanRun.objects.filter(scope__isnull=False, requested_at__gte=since, proposal__state__in=TAKEN)
    return [row for row in rows.only("scope", "plan").order_by("-requested_at") if row.scope and row.scope["out"]]


def outs_between(first: date, last: date) -> dict[int, list[Out]]:
    """By technician, when the planner said that they are out."""
    found: dict[int, list[Out]] = {}
    for run in runs_with_outs(first):
        for row in scope_from(run.scope or {}).out:
            if row.is_out_at_all and row.until >= first and row.since.date() <= last + timedelta(days=1):
                found.setdefault(row.technician, []).append(row)
    return found


@dataclass(frozen=True, slots=True)
class OutNow:
    technician: Technician
    reason: str
    since: datetime
    until: date


def out_now(technicians: Iterable[Technician], now: datetime) -> list[OutNow]:
    """Who is out at the moment or will go later today, by what the planner said."""
    people, today = list(technicians), now.date()
    rows = outs_between(today - timedelta(days=1), today + timedelta(days=1))
    found = []
    for who in people:
        zone = ZoneInfo(who.time_zone)
        own = [row for row in rows.get(who.pk, []) if row.ends(zone) > now]
        if own:
            found.append(OutNow(who, reason_words(own[0].reason), own[0].since.astimezone(zone), own[0].until))
    return found


def out_said(run: PlanRun) -> list[OutNow]:
    """Who was said to be out when the search was asked for."""
    rows = scope_from(run.scope).out if run.scope else ()
    people = Technician.objects.select_related("user").in_bulk({row.technician for row in rows})
    return [
        OutNow(who, reason_words(row.reason), row.since.astimezone(ZoneInfo(who.time_zone)), row.until)
        for row in rows
        if (who := people.get(row.technician)) is not None
    ]


def reason_words(reason: str) -> str:
    """Why somebody is out, as the board says it."""
    return {"ill": _("ill"), "van": _("van down")}.get(reason, _("away"))
