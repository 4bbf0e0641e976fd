"""Which visits there are: agreements extended ahead, moved off holidays and closures, assigned and dropped."""

from dataclasses import dataclass
from datetime import date, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.clients.models import Agreement, Closure, Site
from servicedesk.common.recurrence import expand, floating
from servicedesk.installations.models import Installation
from servicedesk.installations.queries import PlantDue, covered_by, installations_at, plant_due
from servicedesk.people.models import User
from servicedesk.visits.holidays import closure_reason, holiday_name
from servicedesk.visits.models import HandOn, Visit, VisitInstallation, VisitTask

AHEAD = timedelta(weeks=10)
SEARCH_DAYS = 10
PROMISE_MIN = 30
OPEN = (Visit.State.DUE, Visit.State.PLANNED)


@dataclass(frozen=True, slots=True)
class Due:
    """When an occurrence is due after holidays and closures, and what moved it; ``day`` None: left out."""

    day: date | None
    why: str = ""


def extend_all(*, today: date | None = None) -> int:
    """Extend every agreement; returns how many visits were made. Safe to run twice and side by side."""
    agreements = (
        Agreement.objects.filter(archived_at=None)
        .select_related("site")
        .prefetch_related(Prefetch("site__closures", queryset=Closure.objects.all()), "site__access_windows")
    )
    made = 0
    for agreement in agreements:
        day = today or timezone.now().astimezone(ZoneInfo(agreement.site.time_zone)).date()
        made += agreement_extend(agreement=agreement, today=day)
    return made


@transaction.atomic
def agreement_extend(*, agreement: Agreement, today: date, until: date | None = None) -> int:
    """Make the missing visits of an agreement up to ten weeks ahead, in the site's own dates."""
    Agreement.objects.select_for_update().get(pk=agreement.pk)
    horizon = until or today + AHEAD
    last = min(horizon, agreement.ends_on) if agreement.ends_on else horizon
    first, after = _series_start(agreement)
    wanted = expand(_rule(agreement), first, max(today, agreement.starts_on, after), last)
    if not agreement.anchored:
        _shift(agreement, wanted, today, last)
    known = set(Visit.objects.filter(agreement=agreement).values_list("occurrence_on", flat=True))
    return sum(_occurrence_create(agreement, occurrence) for occurrence in wanted if occurrence not in known)


def _rule(agreement: Agreement) -> str:
    return agreement.rule if agreement.anchored else floating(agreement.rule)


def _series_start(agreement: Agreement) -> tuple[date, date]:
    """Where the rule begins and the first day it may fall on: after the last visit done when a late one shifts it."""
    if agreement.anchored:
        return agreement.first_visit_on, agreement.first_visit_on
    last = (
        Visit.objects.filter(agreement=agreement, state=Visit.State.SIGNED)
        .exclude(planned_on=None)
        .order_by("-planned_on")
        .first()
    )
    if last is None or last.planned_on is None:
        return agreement.first_visit_on, agreement.first_visit_on
    return last.planned_on, last.planned_on + timedelta(days=1)


def _shift(agreement: Agreement, wanted: list[date], today: date, last: date) -> None:
    """Re-date the visits nobody planned yet that a late visit left on the old days; one too many is dropped."""
    taken = set(Visit.objects.filter(agreement=agreement).values_list("occurrence_on", flat=True))
    free = iter([day for day in wanted if day not in taken])
    stale = Visit.objects.filter(agreement=agreement, state=Visit.State.DUE, occurrence_on__range=(today, last))
    for visit in stale.exclude(occurrence_on__in=wanted).select_for_update().order_by("occurrence_on"):
        visit.occurrence_on = next(free, None)
        _redate(visit, agreement)


def _redate(visit: Visit, agreement: Agreement) -> None:
    """Set a visit's days anew from its occurrence; without one it is dropped."""
    late = Due(None, _("a late visit shifted the ones after it"))
    _set_due(visit, agreement, due_day(agreement, visit.occurrence_on) if visit.occurrence_on else late)


def _set_due(visit: Visit, agreement: Agreement, due: Due) -> None:
    """Days and state by the agreement; what asks for the visit earlier still does."""
    visit.state = Visit.State.DUE if due.day else Visit.State.CANCELLED
    day = due.day or visit.due_on
    visit.due_on, visit.due_why = min(day, visit.needed_by or day), due.why[:200]
    visit.earliest_on = visit.due_on - timedelta(days=agreement.slack_days_before)
    visit.latest_on = day + timedelta(days=agreement.slack_days_after)
    visit.duration_min = agreement.duration_min
    visit.save()


def _occurrence_create(agreement: Agreement, occurrence: date) -> bool:
    due = due_day(agreement, occurrence)
    if due.day is None:
        _visit, created = Visit.objects.get_or_create(
            agreement=agreement,
            occurrence_on=occurrence,
            defaults={
                "site": agreement.site,
                "state": Visit.State.CANCELLED,
                "due_on": occurrence,
                "earliest_on": occurrence,
                "latest_on": occurrence,
                "due_why": due.why,
                "duration_min": agreement.duration_min,
            },
        )
        return created
    visit, created = Visit.objects.get_or_create(
        agreement=agreement,
        occurrence_on=occurrence,
        defaults={
            "site": agreement.site,
            "due_on": due.day,
            "earliest_on": due.day - timedelta(days=agreement.slack_days_before),
            "latest_on": due.day + timedelta(days=agreement.slack_days_after),
            "due_why": due.why[:200],
            "duration_min": agreement.duration_min,
        },
    )
    if created:
        _covers_create(visit, covered_by(agreement, due.day))
    return created


def due_day(agreement: Agreement, occurrence: date) -> Due:
    """Move an occurrence off holidays, closures and days that are not allowed, by the agreement's rules."""
    site = agreement.site
    holiday, closed = holiday_name(site, occurrence), closure_reason(site, occurrence)
    if closed:
        rule, name = agreement.closure_rule, closed
    elif holiday:
        rule, name = agreement.holiday_rule, holiday
    else:
        return Due(occurrence)
    if rule == Agreement.DayRule.KEEP:
        return Due(occurrence, _("%(name)s: the visit is kept") % {"name": name})
    if rule == Agreement.DayRule.SKIP:
        return Due(None, _("%(name)s: left out as agreed") % {"name": name})
    step = -1 if rule == Agreement.DayRule.EARLIER else 1
    moved = _open_day(agreement, occurrence, step) or _open_day(agreement, occurrence, -step)
    if moved is None:
        return Due(occurrence, _("%(name)s: no open day near, the visit is kept") % {"name": name})
    return Due(
        moved,
        _("%(name)s: moved from %(old)s to %(new)s")
        % {"name": name, "old": date_format(occurrence, "D j M"), "new": date_format(moved, "D j M")},
    )


def _open_day(agreement: Agreement, occurrence: date, step: int) -> date | None:
    for distance in range(1, SEARCH_DAYS + 1):
        day = occurrence + timedelta(days=step * distance)
        if is_open(agreement, day):
            return day
    return None


def is_open(agreement: Agreement, day: date) -> bool:
    """Whether the agreement and the site allow a visit on a day."""
    site = agreement.site
    allowed = agreement.allowed_weekdays or sorted({window.weekday for window in site.access_windows.all()}) or range(5)
    return (
        day.weekday() in allowed
        and not holiday_name(site, day)
        and not closure_reason(site, day)
        and agreement.in_force(day)
    )


def _covers_create(visit: Visit, installations: list[Installation]) -> None:
    VisitInstallation.objects.bulk_create(
        [VisitInstallation(visit=visit, installation=installation) for installation in installations],
        ignore_conflicts=True,
    )


@transaction.atomic
def agreement_retime(*, agreement: Agreement, today: date) -> None:
    """After a change of an agreement: future visits that nobody planned yet are made anew."""
    future = Visit.objects.filter(
        agreement=agreement, state__in=[Visit.State.DUE, Visit.State.CANCELLED], cancelled_by=None, due_on__gt=today
    )
    first, after = _series_start(agreement)
    wanted = set(expand(_rule(agreement), first, max(today, after), today + AHEAD))
    for visit in future.select_for_update():
        gone = visit.occurrence_on not in wanted or not agreement.in_force(visit.occurrence_on)
        due = (
            Due(None, _("the agreement was changed"))
            if gone
            else due_day(agreement, visit.occurrence_on or visit.due_on)
        )
        _set_due(visit, agreement, due)
    agreement_extend(agreement=agreement, today=today)


@transaction.atomic
def visit_create_extra(
    *,
    visit_id: UUID,
    site: Site,
    kind: str,
    due_on: date,
    latest_on: date,
    duration_min: int,
    task: str,
    installations: list[Installation],
    actor: User,
) -> Visit:
    """An extra or urgent visit; the same id again changes nothing."""
    if latest_on < due_on:
        raise ValidationError({"latest_on": [_("The last day is before the first.")]})
    visit, created = Visit.objects.get_or_create(
        id=visit_id,
        defaults={
            "site": site,
            "kind": kind,
            "due_on": due_on,
            "earliest_on": due_on,
            "latest_on": latest_on,
            "duration_min": duration_min,
            "due_why": task[:200],
        },
    )
    if created:
        _covers_create(visit, installations or installations_at(site, due_on))
        if task:
            VisitTask.objects.create(visit=visit, origin=VisitTask.Origin.PERSON, title=task[:200], dedupe_key="asked")
    return visit


@transaction.atomic
def visit_assign(
    *, visit: Visit, technician: User, planned_on: date, planned_start: time | None, actor: User | None
) -> None:
    """Put a visit on a person's round; its checklist is made up now."""
    locked = Visit.objects.select_for_update().get(pk=visit.pk)
    if locked.state not in {*OPEN, Visit.State.PUBLISHED}:
        raise ValidationError(_("This visit was started or ended; it cannot be planned any more."))
    locked.promised_start = _promise(locked, planned_on, planned_start)
    locked.technician, locked.planned_on, locked.planned_start = technician, planned_on, planned_start
    locked.state = Visit.State.PUBLISHED
    locked.save()
    tasks_refresh(visit=locked)


def _promise(visit: Visit, planned_on: date, planned_start: time | None) -> time | None:
    """The hour told to the client: the one already told as long as it holds, else the nearest quarter."""
    if planned_start is None:
        return None
    start = planned_start.hour * 60 + planned_start.minute
    told = visit.promised_start
    if told is not None and visit.planned_on == planned_on and abs(told.hour * 60 + told.minute - start) <= PROMISE_MIN:
        return told
    quarter = min((start + 7) // 15 * 15, 23 * 60 + 45)
    return time(quarter // 60, quarter % 60)


@transaction.atomic
def visit_unassign(*, visit: Visit, actor: User | None, keep_promise: bool = False) -> None:
    """Take a visit off a round; started or signed: nothing changes.

    ``keep_promise``: the day and hour told to the client stand until somebody else takes it.
    """
    movable = Visit.objects.filter(pk=visit.pk, state__in=[*OPEN, Visit.State.PUBLISHED])
    movable.update(technician=None, state=Visit.State.DUE)
    if not keep_promise:
        movable.update(planned_on=None, planned_start=None, promised_start=None)


@transaction.atomic
def visit_promise(*, visit: Visit, at: time, actor: User) -> None:
    """Another hour of the same day, agreed with the client."""
    locked = Visit.objects.select_for_update().get(pk=visit.pk)
    if locked.state != Visit.State.PUBLISHED:
        raise ValidationError(_("This visit is on no round, or was begun meanwhile."))
    locked.promised_start = at
    locked.save(update_fields=["promised_start"])


@transaction.atomic
def visit_cancel(*, visit: Visit, reason: str, actor: User) -> None:
    locked = Visit.objects.select_for_update().get(pk=visit.pk)
    if locked.state not in {*OPEN, Visit.State.PUBLISHED}:
        raise ValidationError(_("This visit was started or ended; it cannot be cancelled any more."))
    locked.state, locked.due_why, locked.cancelled_by = Visit.State.CANCELLED, reason[:200], actor
    locked.save(update_fields=["state", "due_why", "cancelled_by"])


@transaction.atomic
def visit_not_done(*, visit: Visit, reason: str, actor: User) -> None:
    """Nobody there or no way in: the visit ends, and a fresh one is due at once."""
    locked = Visit.objects.select_for_update(of=("self",)).select_related("site").get(pk=visit.pk)
    if locked.state == Visit.State.NOT_DONE:
        return
    if locked.state in {Visit.State.SIGNED, Visit.State.CANCELLED}:
        raise ValidationError(_("This visit is signed or cancelled."))
    locked.state, locked.not_done_reason = Visit.State.NOT_DONE, reason
    locked.technician = locked.technician or actor
    locked.save(update_fields=["state", "not_done_reason", "technician"])
    today = timezone.now().astimezone(ZoneInfo(locked.site.time_zone)).date()
    again = Visit.objects.create(
        site=locked.site,
        kind=Visit.Kind.EXTRA,
        due_on=today,
        earliest_on=today,
        latest_on=today + timedelta(days=5),
        due_why=(_("not done on %(day)s: %(reason)s") % {"day": date_format(today, "D j M"), "reason": reason})[:200],
        duration_min=locked.duration_min,
    )
    _covers_create(again, [cover.installation for cover in locked.covers.select_related("installation")])


@transaction.atomic
def tasks_refresh(*, visit: Visit) -> None:
    """Make up the checklist: services due by the plant's intervals, and tasks handed on. Safe to run twice."""
    day = visit.planned_on or visit.due_on
    rows = [
        _service_task(visit, due)
        for cover in visit.covers.select_related("installation")
        for due in plant_due(cover.installation, day)
    ]
    notes = HandOn.objects.filter(site=visit.site, settled_by_visit=None, kind=HandOn.Kind.TASK)
    rows += [_noted_task(visit, note) for note in notes.select_related("installation")]
    VisitTask.objects.bulk_create(rows, ignore_conflicts=True)


def _service_task(visit: Visit, due: PlantDue) -> VisitTask:
    return VisitTask(
        visit=visit,
        installation=due.item.installation,
        origin=VisitTask.Origin.PLANT,
        plant_item=due.item,
        title=_("Service %(item)s (%(kind)s)") % {"item": due.item.label, "kind": due.item.get_kind_display()},
        dedupe_key=f"plant:{due.item.pk}",
        position=20,
    )


def _noted_task(visit: Visit, note: HandOn) -> VisitTask:
    return VisitTask(
        visit=visit,
        installation=note.installation,
        origin=VisitTask.Origin.HAND_ON,
        title=note.text[:200],
        hand_on=note,
        dedupe_key=f"hand_on:{note.pk}",
        position=10,
    )
