"""An urgent call is given to somebody: that person's day is written anew, and nobody else's."""

from datetime import datetime, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.consumables.services import loan_reserve
from servicedesk.people.models import Firm, User
from servicedesk.routes.models import MoveNotice, Round, Stop, UrgentCall, WeekPlan
from servicedesk.routes.queries.changes import part_of
from servicedesk.routes.queries.round import StopTimes, times_planned
from servicedesk.routes.queries.score import score_of, with_change
from servicedesk.routes.queries.urgent import HIRE_DAYS, Asked, Choice, answer, call_open, given_words
from servicedesk.routes.services.changes import changes_ask
from servicedesk.routes.services.in_force import rounds_in_force
from servicedesk.routes.services.notices import notice_fields
from servicedesk.routes.services.storing import round_store
from servicedesk.routes.services.versions import (
    RuleBrokenError,
    plan_changed,
    plan_locked,
    plan_open,
    refuse_while_planned,
)
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import seconds_at
from servicedesk.routes.urgent import CALL, Known, Placed, Shifted
from servicedesk.visits.models import HandOn, Visit
from servicedesk.visits.services.schedule import visit_create_extra


@transaction.atomic
def call_assign(*, visit_id: UUID, asked: Asked, key: str, version: int, now: datetime, actor: User) -> UrgentCall:
    """Give the call to the person and in the way that was chosen. The same ``visit_id`` again changes nothing.

    The ways are worked out anew: what no longer holds is refused in words, and the week's version guards against
    somebody else's change.
    """
    done = UrgentCall.objects.filter(visit=visit_id).first()
    if done is not None:
        return done
    Site.objects.select_for_update().get(pk=asked.site.pk)  # two who send somebody at once are put in a row
    given = call_open(asked.site)
    if given is not None:
        raise RuleBrokenError([given_words(given)])
    choice = answer(asked, now).by_key(key)
    if choice is None:
        raise RuleBrokenError([_("This way is gone: something changed meanwhile. Choose again from the new figures.")])
    plan = plan_open(choice.week)
    plan = plan_locked(choice.week, version or plan.version)
    refuse_while_planned(plan)
    was_published, before = plan.state == WeekPlan.State.PUBLISHED, plan.score
    visit = _visit(visit_id, asked, choice, actor)
    row = _store(plan, choice, visit)
    off = [known.id for known in choice.way.dropped]
    plan.left_out = [entry for entry in plan.left_out if entry["visit"] not in off] + [
        {"visit": pk, "state": "waits", "reason": _("Made room for an urgent call."), "cost": None} for pk in off
    ]
    plan.score = with_change(score_of(choice.week, plan), before)
    plan_changed(plan, actor=actor, words=_words(choice))
    _tell_technician(plan, row, was_published=was_published, asked=asked, actor=actor)
    _bring_machine(visit, choice, actor)
    call = UrgentCall.objects.create(
        visit=visit, round=row, technician=choice.technician, date=choice.entry.date, choice=choice.figures, by=actor,
        machine=choice.machine.machine if choice.machine else None,
    )  # fmt: skip
    _draft(call, choice)
    return call


def _visit(visit_id: UUID, asked: Asked, choice: Choice, actor: User) -> Visit:
    day = choice.begins.date()
    return visit_create_extra(
        visit_id=visit_id,
        site=asked.site,
        kind=Visit.Kind.URGENT,
        due_on=day,
        latest_on=day,
        duration_min=asked.duration_min,
        task=asked.what,
        installations=[],
        actor=actor,
    )


def _store(plan: WeekPlan, choice: Choice, visit: Visit) -> Round:
    """Write the day: what is over stays as it stands, then the way that was chosen."""
    entry, way = choice.entry, choice.way
    zone = ZoneInfo(entry.technician.time_zone)

    def at(moment: datetime) -> int:
        return seconds_at(moment, entry.date, zone)

    def stop(placed: Placed) -> StopTimes:
        pk = str(visit.pk) if placed.id == CALL else placed.id
        times = at(placed.arrive), at(placed.begins), at(placed.ends)
        return StopTimes(pk, placed.travel_s, placed.metres, *times, helps=pk in helped)

    helped = {known.id for known in entry.day.known if known.helps} if entry.day is not None else set()
    kept = [
        StopTimes(
            str(row.visit_id), row.travel_s, row.distance_m, row.arrive_s, row.start_s, row.leave_s, helps=row.helps
        )
        for row in entry.settled
    ]  # fmt: skip
    locked = {str(row.visit_id) for row in Stop.objects.filter(round__plan=plan, locked=True)}
    old = entry.round
    soft = [(row.known.id, _("%(site)s: another hour was promised.") % {"site": row.known.name})
            for row in way.shifted if row.breaks_promise]  # fmt: skip
    timed = Timed(
        stops=[*kept, *(stop(placed) for placed in way.stops)],
        leave_s=old.leave_s if old is not None and kept else at(way.leave),
        return_s=at(way.back),
        travel_s=way.travel_s + sum(row.travel_s for row in kept),
        distance_m=way.metres_all + sum(row.distance_m for row in kept),
        overtime_s=way.overtime_all_s,
        break_start_s=at(way.pause[0]) if way.pause else (old.break_start_s if old is not None else None),
        break_s=way.pause[1] if way.pause else (old.break_s if old is not None else 0),
        soft=[*soft, *_fetch_words(choice, visit)],
        start_lodging_id=old.start_lodging_id if old is not None else None,
        lodging_id=old.lodging_id if old is not None else None,
    )
    Stop.objects.filter(round__plan=plan, visit__in=[row.id for row in way.dropped]).delete()
    return round_store(plan, entry.technician, entry.date, timed, frozenset(locked))


def _fetch_words(choice: Choice, visit: Visit) -> list[tuple[str | None, str]]:
    if choice.fetch is None or choice.machine is None:
        return []
    words = {"machine": choice.machine.machine, "store": choice.fetch.name, "site": choice.asked.site.name}
    return [(str(visit.pk), _("Fetch %(machine)s at %(store)s on the way to %(site)s.") % words)]


def _words(choice: Choice) -> str:
    return _("Urgent: %(site)s was given to %(name)s, %(day)s.") % {
        "site": choice.asked.site,
        "name": choice.technician,
        "day": date_format(choice.entry.date, "D j M"),
    }


def _tell_technician(plan: WeekPlan, row: Round, *, was_published: bool, asked: Asked, actor: User) -> None:
    """A round in hand is changed only with its technician's word; a new round of a published week holds at once."""
    if row.published is not None:
        changes_ask(parts=[part_of(row)], actor=actor, why=_("Urgent call: %(site)s") % {"site": asked.site})
    elif was_published:
        rounds_in_force([(row, times_planned(row))], actor)
    if was_published:  # only this day differs, and its technician is asked: the rest of the week stays published
        WeekPlan.objects.filter(pk=plan.pk).update(state=WeekPlan.State.PUBLISHED)


def _bring_machine(visit: Visit, choice: Choice, actor: User) -> None:
    """Keep the machine for the site and put it on the load list."""
    if choice.machine is None or choice.machine.is_out:
        return
    machine, day = choice.machine.machine, choice.begins.date()
    if choice.machine.kept_for(day, day) is None:
        loan_reserve(
            reservation_id=uuid5(visit.pk, "machine"), machine=machine, site=visit.site,
            first=max(day, timezone.localdate()), last=day + timedelta(days=HIRE_DAYS), why=_("urgent call"),
            actor=actor,
        )  # fmt: skip
    where = choice.fetch.name if choice.fetch else str(choice.machine.stay.where if choice.machine.stay else "")
    HandOn.objects.get_or_create(
        id=uuid5(visit.pk, "bring"),
        defaults={
            "site": visit.site,
            "kind": HandOn.Kind.LOAD,
            "text": _("Loan machine %(machine)s, it lies in: %(where)s") % {"machine": machine, "where": where},
            "by": actor,
            "at": timezone.now(),
        },
    )


def _draft(call: UrgentCall, choice: Choice) -> None:
    """A message for each client who was told an hour that no longer holds."""
    firm = Firm.objects.first()
    moved: list[tuple[Known, Shifted | None]] = [
        (row.known, row) for row in choice.way.shifted if row.breaks_promise or row.late_anyway
    ]  # fmt: skip
    moved += [(row, None) for row in choice.way.dropped if row.promise is not None]
    visits = Visit.objects.select_related("site__client").in_bulk([UUID(row.id) for row, _shifted in moved])
    for known, shifted in moved:
        visit = visits[UUID(known.id)]
        fields = notice_fields(
            visit, firm, what=_what(visit, known, shifted), told=_told(shifted), names=_names(visit, known, shifted)
        )
        MoveNotice.objects.get_or_create(call=call, visit=visit, defaults=fields)


def _day(known: Known, visit: Visit) -> str:
    promise = known.promise
    return str(date_format(promise.date() if promise else visit.planned_on or visit.due_on, "D j M Y"))


def _clock(moment: datetime, visit: Visit) -> str:
    return f"{moment.astimezone(ZoneInfo(visit.site.time_zone)):%H:%M}"


def _what(visit: Visit, known: Known, shifted: Shifted | None) -> str:
    names = {"site": visit.site.name, "old": _clock(known.promise, visit) if known.promise else ""}
    if shifted is None:
        return _("%(site)s: promised for %(old)s, taken off this day") % names
    return _("%(site)s: promised for %(old)s, now about %(new)s") % (names | {"new": _clock(shifted.begins, visit)})


def _names(visit: Visit, known: Known, shifted: Shifted | None) -> dict[str, str]:
    return {
        "day": _day(known, visit),
        "old": _clock(known.promise, visit) if known.promise else "",
        "new": _clock(shifted.begins, visit) if shifted else "",
    }


def _told(shifted: Shifted | None) -> str:
    if shifted is None:
        return _(
            "An emergency at another aquarium needs us in that time, and we cannot come on that day. "
            "We will ring you today with a new time."
        )
    return _(
        "An emergency at another aquarium needs us first; we will be with you at about %(new)s instead "
        "(half an hour either way)."
    )
