"""A plan proposed for a week already planned: taken whole or round by round, or refused."""

from collections.abc import Collection, Mapping, Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Firm, Leave, Technician, User
from servicedesk.people.services import leave_add
from servicedesk.planner.calls import Call
from servicedesk.planner.problem import REST_S
from servicedesk.routes.kept import KeptRound, Key, as_json, from_json, is_same
from servicedesk.routes.models import PlanRun, WeekPlan
from servicedesk.routes.planning import Solved
from servicedesk.routes.queries.outs import reason_words
from servicedesk.routes.queries.plan_changes import Difference, Group, difference
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.queries.versions import rounds_kept, version_of
from servicedesk.routes.scope import scope_from
from servicedesk.routes.services.proposal_notices import notices_draft
from servicedesk.routes.services.storing import rounds_store
from servicedesk.routes.services.undoing import rounds_put
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked
from servicedesk.routes.times import Week, hours_words, instant
from servicedesk.routes.translate import told
from servicedesk.routes.week_models import PlanProposal

OPEN = PlanProposal.State.OPEN
ILL = "ill"


def proposal_make(
    *,
    run: PlanRun,
    plan: WeekPlan,
    week: Week,
    technicians: Mapping[int, Technician],
    solved: Solved,
    left_out: list[dict[str, Any]],
    locked: frozenset[str],
    calls: Sequence[Call],
) -> PlanProposal | None:
    """Keep what the search found beside the plan, which stays as it is; None when nothing would change."""
    now, score_now = rounds_kept(plan), score_of(week, plan)
    with transaction.atomic():  # tried out, scored and taken back
        rounds_store(plan, technicians, solved.rounds, locked)
        plan.left_out, before = left_out, plan.left_out
        score = score_of(week, plan)
        found = rounds_kept(plan)
        plan.left_out = before
        transaction.set_rollback(True)
    if all(is_same(now.get(key), found.get(key)) for key in {*now, *found}):
        return None
    firm = Firm.objects.first()
    plan.proposals.filter(state=OPEN).update(state=PlanProposal.State.OVERTAKEN, decided_at=timezone.now())
    return PlanProposal.objects.create(
        plan=plan,
        run=run,
        based_on=plan.version,
        rounds=as_json(found.values()),
        left_out=left_out,
        score=with_change(score, score_now),
        calls=[_call(row, firm.currency if firm else "") for row in calls[:3]],
    )


def _call(row: Call, currency: str) -> dict[str, Any]:
    return {
        "visit": row.visit,
        "words": told(row.reason, currency),
        "saving": float(row.saving),
        "begin": row.begin.isoformat(),
        "technician": row.technician,
        "date": row.date.isoformat(),
    }


def proposal_difference(proposal: PlanProposal) -> Difference:
    """What the proposal changes against the plan it was searched from."""
    plan = proposal.plan
    based = version_of(plan, proposal.based_on)
    old = from_json(based.rounds) if based is not None else rounds_kept(plan)
    return difference(Week(plan.iso_year, plan.iso_week), old, from_json(proposal.rounds))


@transaction.atomic
def proposal_take(
    *, week: Week, version: int, proposal_id: UUID, groups: Collection[str] | None, actor: User
) -> PlanProposal:
    """Make the plan what was proposed, wholly or for the groups of rounds named; twice takes it once."""
    plan = plan_locked(week, version)
    proposal = PlanProposal.objects.select_for_update().select_related("run").get(pk=proposal_id, plan=plan)
    if proposal.state != OPEN:
        raise RuleBrokenError([_("This proposal was decided already.")])
    proposal.plan = plan
    found = proposal_difference(proposal)
    chosen = [row for row in found.groups if groups is None or row.id in groups]
    if not chosen:
        raise RuleBrokenError([_("Choose at least one of the changes, or refuse them all.")])
    keys = {key for row in chosen for key in row.keys}
    _refuse_changed(plan, proposal, keys, chosen)
    whole = len(chosen) == len(found.groups)
    now, proposed, before = rounds_kept(plan), from_json(proposal.rounds), plan.score
    _refuse_short_rest(now, proposed, keys)
    rounds_put(week, plan, {key: proposed.get(key) for key in keys}, now)
    plan.left_out = proposal.left_out if whole else _left_out(plan, proposal, chosen)
    plan.score = with_change(score_of(week, plan), before)
    words = _("A new plan was taken.") if whole else _("A part of a new plan was taken.")
    plan_changed(plan, actor=actor, words=f"{words} {found.summary}" if whole else words)
    notices_draft(proposal, [row for group in chosen for row in group.rows], proposed)
    _note_absence(proposal.run, actor)
    _decide(proposal, PlanProposal.State.TAKEN if whole else PlanProposal.State.PART, actor)
    return proposal


def _refuse_changed(plan: WeekPlan, proposal: PlanProposal, keys: Collection[Key], chosen: Sequence[Group]) -> None:
    """A round that somebody changed since the search began is not overwritten."""
    based = version_of(plan, proposal.based_on)
    if plan.version == proposal.based_on or based is None:
        return
    old, now = from_json(based.rounds), rounds_kept(plan)
    names = [
        name
        for group in chosen
        for key, name in zip(group.keys, group.names, strict=True)
        if not is_same(old.get(key), now.get(key))
    ]
    if names:
        words = _("%(names)s changed since this was proposed. Leave that change out, or plan again.")
        raise RuleBrokenError([words % {"names": "; ".join(names)}])


def _refuse_short_rest(now: Mapping[Key, KeptRound], proposed: Mapping[Key, KeptRound], keys: Collection[Key]) -> None:
    """Rounds taken beside others that stay must leave the rest between days that the whole plan would have kept."""
    mixed = {key: row for key, row in now.items() if key not in keys}
    mixed |= {key: proposed[key] for key in keys if key in proposed}
    people = Technician.objects.select_related("user").in_bulk({key[0] for key in keys})
    for (who, day), row in mixed.items():
        after = mixed.get((who, day + timedelta(days=1)))
        if who not in people or after is None or not {row.key, after.key} & set(keys):
            continue
        zone = ZoneInfo(people[who].time_zone)
        if row.times.return_s is None or after.times.leave_s is None:
            continue
        rest = instant(after.date, after.times.leave_s, zone) - instant(day, row.times.return_s, zone)
        if rest.total_seconds() < REST_S:
            words = _(
                "%(name)s would have only %(rest)s of rest after %(day)s. Take the changes of both days or neither."
            )
            names = {"name": people[who], "rest": hours_words(rest.total_seconds()), "day": date_format(day, "D j M")}
            raise RuleBrokenError([words % names])


def _left_out(plan: WeekPlan, proposal: PlanProposal, chosen: Sequence[Group]) -> list[dict[str, Any]]:
    """The reasons of what is left out: anew for the visits of the chosen rounds, as before for the others."""
    touched = {str(row.visit.pk) for group in chosen for row in group.rows}
    kept = [row for row in plan.left_out if str(row["visit"]) not in touched]
    return kept + [row for row in proposal.left_out if str(row["visit"]) in touched]


def _note_absence(run: PlanRun, actor: User) -> None:
    """Who is ill for whole days yet to come is away on them, so that the next planning knows."""
    if not run.scope:
        return
    scope = scope_from(run.scope)
    for row in scope.out:
        who = Technician.objects.filter(pk=row.technician).first()
        if who is None or row.reason != ILL:
            continue
        tomorrow = scope.today(who.time_zone) + timedelta(days=1)
        if tomorrow <= row.until:
            leave = Leave(technician=who, first_day=tomorrow, last_day=row.until, reason=reason_words(ILL))
            leave_add(leave=leave, actor=actor)


@transaction.atomic
def proposal_refuse(*, week: Week, proposal_id: UUID, actor: User) -> PlanProposal:
    """Leave the plan as it is."""
    proposal = PlanProposal.objects.select_for_update().get(
        pk=proposal_id, plan__iso_year=week.year, plan__iso_week=week.number
    )
    if proposal.state == OPEN:
        _decide(proposal, PlanProposal.State.REFUSED, actor)
    return proposal


def _decide(proposal: PlanProposal, state: str, actor: User) -> None:
    proposal.state, proposal.decided_by, proposal.decided_at = state, actor, timezone.now()
    proposal.save(update_fields=["state", "decided_by", "decided_at"])
