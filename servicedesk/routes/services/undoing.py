"""Going back: undo the last change of a week, or put an older version in force again."""

from collections.abc import Mapping
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.people.models import Lodging, Technician, User
from servicedesk.routes.crews import visit_of
from servicedesk.routes.kept import KeptRound, Key, from_json, is_same
from servicedesk.routes.models import Round, WeekPlan
from servicedesk.routes.queries.round import RoundTimes, technicians_between
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.queries.versions import rounds_kept, undone_words, version_before, version_of
from servicedesk.routes.services.arranging import refuse_elsewhere
from servicedesk.routes.services.outs import outs_undo
from servicedesk.routes.services.storing import rounds_store, stops_free
from servicedesk.routes.services.versions import (
    RuleBrokenError,
    plan_changed,
    plan_locked,
    refuse_over,
    refuse_while_planned,
)
from servicedesk.routes.times import Week
from servicedesk.routes.week_models import PlanVersion
from servicedesk.visits.models import Visit
from servicedesk.visits.queries.schedule import OPEN


@transaction.atomic
def change_undo(*, week: Week, version: int, actor: User) -> WeekPlan:
    """Take back the last change of the week; again, the one before it."""
    plan = plan_locked(week, version)
    found = version_before(plan)
    if found is None:
        raise RuleBrokenError([_("There is no earlier state of this week to go back to.")])
    words = _("Undone: %(change)s") % {"change": undone_words(plan) or found.words}
    return _go_back(week, plan, found, actor, words)


@transaction.atomic
def version_restore(*, week: Week, version: int, number: int, actor: User) -> WeekPlan:
    """Put an older version in force again."""
    plan = plan_locked(week, version)
    found = version_of(plan, number)
    if found is None:
        raise RuleBrokenError([_("That version is not kept any more.")])
    words = _("Put back as it was on %(at)s.") % {
        "at": date_format(timezone.localtime(found.at), "D j M H:i")
    }  # fmt: skip
    return _go_back(week, plan, found, actor, words)


def _go_back(week: Week, plan: WeekPlan, found: PlanVersion, actor: User, words: str) -> WeekPlan:
    refuse_while_planned(plan)
    wanted = from_json(found.rounds)
    before = plan.score
    now = rounds_kept(plan)
    changed = {key for key in {*now, *wanted} if not is_same(now.get(key), wanted.get(key))}
    rounds_put(week, plan, {key: wanted.get(key) for key in changed}, now)
    outs_undo(plan=plan, back_to=found, actor=actor)
    plan.left_out = found.left_out
    plan.score = with_change(score_of(week, plan), before)
    plan_changed(plan, actor=actor, words=words, restores=found.restores or found.number)
    return plan


def rounds_put(
    week: Week, plan: WeekPlan, wanted: Mapping[Key, KeptRound | None], now: Mapping[Key, KeptRound]
) -> None:
    """Make rounds what ``wanted`` says.

    What is over, and what was begun, ended, called off or taken elsewhere meanwhile, refuses it, and so does a night
    that may not be spent away any more.
    """
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    gone = [key for key in wanted if key[0] not in technicians]
    if gone:
        raise RuleBrokenError([_("Somebody of that version drives no rounds any more, so it cannot be put back.")])
    for who, day in sorted(wanted, key=lambda key: key[1]):
        refuse_over(technicians[who], day)
    _refuse_moved_on(plan, wanted, now)
    _refuse_nights(technicians, wanted, now)
    locked = frozenset(pk for row in wanted.values() if row is not None for pk in row.locked_visits)
    empty = KeptRound(0, date.min, RoundTimes(None, None, 0, 0, 0, None, 0, [], is_published=False))
    stops_free([stop for row in wanted.values() if row is not None for stop in row.times.stops], plan=plan)
    rounds_store(plan, technicians, {key: (row or empty).as_timed() for key, row in wanted.items()}, locked)
    for key, row in wanted.items():
        Round.objects.filter(plan=plan, technician=key[0], date=key[1]).exclude(
            locked=row is not None and row.locked
        ).update(locked=row is not None and row.locked)


def _refuse_moved_on(plan: WeekPlan, wanted: Mapping[Key, KeptRound | None], now: Mapping[Key, KeptRound]) -> None:
    was = {call: key for key, row in now.items() for call in row.calls}
    goes = {call: key for key, row in wanted.items() if row is not None for call in row.calls}
    left = {call for key in wanted for call in (now[key].calls if key in now else ())} - set(goes)
    moving = {visit_of(call) for call in {call for call in goes if goes[call] != was.get(call)} | left}
    names = [
        visit.site.name for visit in Visit.objects.filter(pk__in=moving).exclude(state__in=OPEN).select_related("site")
    ]
    if names:
        words = _("%(sites)s: begun, ended or called off meanwhile, so it stays where it is.")
        raise RuleBrokenError([words % {"sites": ", ".join(sorted(names))}])
    refuse_elsewhere(plan, moving)
    visits = {visit_of(call) for call in goes}
    if Visit.objects.filter(pk__in=visits).count() < len(visits):
        raise RuleBrokenError([_("A visit of that version is not in the books any more.")])


def _refuse_nights(
    technicians: Mapping[int, Technician], wanted: Mapping[Key, KeptRound | None], now: Mapping[Key, KeptRound]
) -> None:
    """A night comes back only to a lodging in use, and for somebody who still agrees to nights away."""
    nights = {key: row.times.lodging_id for key, row in wanted.items() if row is not None}
    stand = {key: row.times.lodging_id for key, row in now.items()}
    come = {key: pk for key, pk in nights.items() if pk is not None and pk != stand.get(key)}
    lodgings = Lodging.objects.in_bulk(set(come.values()))
    for (who, day), pk in come.items():
        names = {"name": technicians[who], "lodging": lodgings[pk], "day": date_format(day, "D j M")}
        if not technicians[who].may_stay_away:
            words = _("%(name)s has not agreed to nights away any more, and would be away on %(day)s.")
            raise RuleBrokenError([words % names])
        if lodgings[pk].archived_at is not None:
            words = _("%(lodging)s, where %(name)s would stay the night of %(day)s, is not in use any more.")
            raise RuleBrokenError([words % names])
