"""Published means published: a change is asked of its technicians and comes into force when all accept."""

from collections.abc import Collection, Sequence
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.common.ids import new_id
from servicedesk.people.models import User
from servicedesk.people.permissions import allows
from servicedesk.routes.crews import calls_published, visit_of, visits_published
from servicedesk.routes.models import Round, RoundChange, Stop, WeekPlan
from servicedesk.routes.queries.changes import OPEN_CHANGE, Part, is_asked, together_with, visits_of, words_of
from servicedesk.routes.queries.round import (
    RoundTimes,
    StopTimes,
    times_kept,
    times_published,
    today_of,
)
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.services.in_force import MOVABLE, rounds_in_force, stops_follow
from servicedesk.routes.services.storing import same_parts
from servicedesk.routes.services.versions import RuleBrokenError, plan_changed, plan_locked
from servicedesk.routes.times import Week
from servicedesk.visits.models import Visit

ASKED, ACCEPTED = RoundChange.State.ASKED, RoundChange.State.ACCEPTED
REFUSED, WITHDRAWN = RoundChange.State.REFUSED, RoundChange.State.WITHDRAWN


@transaction.atomic
def changes_ask(
    *,
    parts: Sequence[Part],
    actor: User | None,
    why: str = "",
    running: bool = False,
    came_from: Sequence[Part] = (),
) -> list[RoundChange]:
    """Ask the technicians of rounds that change together. The same question still open is not asked twice.

    ``came_from``: rounds of others that gave visits away already.
    """
    wanted = {part.round.pk: times_kept(part.new) if part.new else None for part in parts}
    rows = list(RoundChange.objects.select_for_update().filter(OPEN_CHANGE, round__in=wanted))
    if rows and {row.round_id: row.proposed for row in rows} == wanted and len({row.together for row in rows}) == 1:
        return rows
    changes_withdraw(rounds=list(wanted))
    together, visits = new_id(), visits_of(parts)
    return [
        RoundChange.objects.create(
            together=together,
            round=part.round,
            proposed=wanted[part.round.pk],
            running=running,
            words=words_of(part, [*parts, *came_from], visits),
            why=why[:200],
            state=ASKED if is_asked(part, today_of(part.round.technician)) else ACCEPTED,
            asked_by=actor,
        )
        for part in parts
    ]


@transaction.atomic
def changes_tell(*, parts: Sequence[Part], waiting: Collection[str], actor: User | None, why: str = "") -> None:
    """What is taken off people who are out, or was for another reason, is in force at once: they are told, not asked.

    ``waiting``: visits that stand on others' rounds and are asked of them.
    """
    changes_withdraw(rounds=[part.round.pk for part in parts])
    rounds_in_force([(part.round, part.new) for part in parts], actor, waiting=waiting)
    visits, now = visits_of(parts), timezone.now()
    for part in parts:
        RoundChange.objects.create(
            round=part.round,
            proposed=times_kept(part.new) if part.new else None,
            words=words_of(part, [part], visits),
            why=(why or _("You are out: nothing is asked of you."))[:200],
            state=ACCEPTED,
            asked_by=actor,
            in_force_at=now,
        )


def changes_withdraw(*, rounds: Sequence[int]) -> int:
    """Take back what is asked of rounds, and of the rounds asked together with them."""
    groups = RoundChange.objects.filter(OPEN_CHANGE, round__in=rounds).values_list("together", flat=True)
    return RoundChange.objects.filter(OPEN_CHANGE, together__in=list(groups)).update(state=WITHDRAWN)


@transaction.atomic
def change_answer(*, change_id: UUID, accept: bool, reason: str, actor: User) -> RoundChange:
    """The technician's answer, or one noted by the planner after a call. The same answer twice counts once."""
    plan_pk = RoundChange.objects.values_list("round__plan", flat=True).get(pk=change_id)
    plan = WeekPlan.objects.select_for_update().get(pk=plan_pk)
    change = RoundChange.objects.select_for_update(of=("self",)).select_related("round__technician__user").get(
        pk=change_id
    )  # fmt: skip
    if change.round.technician.user_id != actor.pk and not allows(actor.roles, "weeks.plan"):
        raise ValidationError(_("Only the technician of the round, or a planner for them, answers this."))
    if change.state in {ACCEPTED, REFUSED} and (change.state == ACCEPTED) == accept:
        return change
    if change.state != ASKED:
        raise ValidationError(_("This question is closed: it was answered or withdrawn meanwhile."))
    if not accept and not reason.strip():
        raise ValidationError({"reason": [_("Say why, so that the planner can find another way.")]})
    change.state, change.reason = (ACCEPTED if accept else REFUSED), reason.strip()[:200]
    change.answered_by, change.answered_at = actor, timezone.now()
    change.save()
    group = list(together_with(change))
    if not accept:
        _end_refused(plan, change, actor)
    elif all(row.state == ACCEPTED for row in group):
        _bring_into_force(plan, group, actor)
    return change


def _end_refused(plan: WeekPlan, change: RoundChange, actor: User) -> None:
    together_with(change).filter(OPEN_CHANGE).update(state=WITHDRAWN)
    words = _("%(name)s refused the change of %(day)s: %(reason)s") % {
        "name": change.round.technician,
        "day": date_format(change.round.date, "D j M"),
        "reason": change.reason,
    }
    if not change.running:
        plan_changed(plan, actor=actor, words=words)


def _bring_into_force(plan: WeekPlan, group: Sequence[RoundChange], actor: User) -> None:
    becomes = [(row.round, proposed_times(row)) for row in group]
    _refuse_overtaken(becomes)
    before = {pk for row, _times in becomes for pk in visits_published(row)}
    rounds_in_force(becomes, actor)
    RoundChange.objects.filter(pk__in=[row.pk for row in group]).update(in_force_at=timezone.now())
    if any(row.running for row in group):
        stops_follow(becomes)
        after = {stop.visit_id for _row, times in becomes if times for stop in times.stops if not stop.helps}
        _to_tray(plan, before - after, after, _("Taken off a round that ran late."))
        week = Week(plan.iso_year, plan.iso_week)
        plan.score = with_change(score_of(week, plan), plan.score)
        state = plan.state
        names = ", ".join(str(row.round.technician) for row in group)
        plan_changed(
            plan, actor=actor, words=_("A change of a round under way was accepted: %(names)s.") % {"names": names}
        )
        WeekPlan.objects.filter(pk=plan.pk).update(state=state)


def proposed_times(change: RoundChange) -> RoundTimes | None:
    kept = change.proposed
    if kept is None:
        return None
    parts = {key: value for key, value in kept.items() if key != "stops"}
    return RoundTimes(**parts, stops=[StopTimes(**stop) for stop in kept["stops"]], is_published=True)


def _refuse_overtaken(becomes: Sequence[tuple[Round, RoundTimes | None]]) -> None:
    """A visit that was begun, ended or called off since the question cannot change hands any more."""
    old = {call: row.pk for row, _times in becomes for call in calls_published(row)}
    new = {stop.call: row.pk for row, times in becomes if times for stop in times.stops}
    moving = [visit_of(call) for call in {*old, *new} if old.get(call) != new.get(call)]
    gone = Visit.objects.filter(pk__in=moving).exclude(state__in=MOVABLE).select_related("site").first()
    if gone is not None:
        words = _("%(site)s was begun, ended or called off meanwhile, so this change no longer fits. Refuse it.")
        raise ValidationError(words % {"site": gone.site.name})


def _to_tray(plan: WeekPlan, taken: set[str], placed: set[str], reason: str) -> None:
    """What a change took off its round waits in the tray, with the reason."""
    plan.left_out = [row for row in plan.left_out if str(row["visit"]) not in taken | placed]
    plan.left_out += [{"visit": pk, "state": "waits", "reason": reason, "cost": None} for pk in sorted(taken)]


@transaction.atomic
def change_take_back(*, change_id: UUID, version: int, actor: User) -> WeekPlan:
    """Give up a change that was refused or is still asked: the plan's rounds are again as published."""
    first = RoundChange.objects.select_related("round__plan").get(pk=change_id)
    plan = plan_locked(Week(first.round.plan.iso_year, first.round.plan.iso_week), version)
    group = list(together_with(first))
    changes_withdraw(rounds=[row.round_id for row in group])
    if first.running:
        return plan
    becomes = [(row.round, times_published(row.round)) for row in group]
    wanted = [stop for _row, times in becomes if times for stop in times.stops]
    rounds = [row.round_id for row in group]
    elsewhere = Stop.objects.filter(same_parts(wanted)).exclude(round__in=rounds)
    taken = elsewhere.select_related("visit__site").first()
    if taken is not None:
        raise RuleBrokenError(
            [_("%(site)s was put on another round since; move it back first.") % {"site": taken.visit.site}]
        )
    before = plan.score
    own = Stop.objects.filter(round__in=rounds, helps=False)
    stood = {str(pk) for pk in own.values_list("visit_id", flat=True)}
    stops_follow(becomes)
    placed = {stop.visit_id for stop in wanted if not stop.helps}
    _to_tray(plan, stood - placed, placed, _("The change that would have brought it to somebody was given up."))
    plan.score = with_change(score_of(Week(plan.iso_year, plan.iso_week), plan), before)
    plan_changed(plan, actor=actor, words=_("Rounds were put back as published: %(names)s.") % {
        "names": ", ".join(str(row.round) for row in group)
    })  # fmt: skip
    return plan
