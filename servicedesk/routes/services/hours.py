"""Changes of what is reckoned as hours: pay rules, and work that no visit shows."""

from datetime import UTC, date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.people.models import PayRule, Technician, User
from servicedesk.people.permissions import allows
from servicedesk.routes.hours import HOUR_S, Span
from servicedesk.routes.models import HoursEntry
from servicedesk.routes.queries.actual import actual_days
from servicedesk.visits.models import Visit

LONGEST = timedelta(hours=16)
ONE_DAY = timedelta(days=1)


@transaction.atomic
def entry_add(
    *, entry_id: UUID, technician: Technician, kind: str, began_at: datetime, ended_at: datetime, note: str, actor: User
) -> HoursEntry:
    """Note other work or a break; the same id again changes nothing. People note their own; the office anybody's."""
    _refuse_strangers(technician, actor)
    found = HoursEntry.objects.filter(pk=entry_id).first()
    if found is not None:
        return found
    began_at, ended_at = began_at.astimezone(UTC), ended_at.astimezone(UTC)
    _refuse_impossible(began_at, ended_at, ZoneInfo(technician.time_zone))
    Technician.objects.select_for_update().get(pk=technician.pk)
    same = HoursEntry.objects.filter(technician=technician, archived_at=None, kind=kind)
    if same.filter(began_at__lt=ended_at, ended_at__gt=began_at).exists():
        raise ValidationError({"began_at": [_("Some of this time is noted already.")]})
    if kind == HoursEntry.Kind.WORK:
        _refuse_during_visits(technician, began_at, ended_at)
    else:
        _refuse_outside_work(technician, began_at, ended_at)
    return HoursEntry.objects.create(
        id=entry_id, technician=technician, kind=kind, began_at=began_at, ended_at=ended_at, note=note, by=actor
    )


def _refuse_impossible(began_at: datetime, ended_at: datetime, zone: ZoneInfo) -> None:
    if ended_at <= began_at:
        raise ValidationError({"ended_at": [_("The end is not after the beginning.")]})
    if ended_at - began_at > LONGEST:
        words = _("That would be %(hours)s hours; one entry has 16 at most. Look at both times, and at the day.")
        hours = f"{(ended_at - began_at).total_seconds() / HOUR_S:.1f}".removesuffix(".0")
        raise ValidationError({"ended_at": [words % {"hours": hours}]})
    now = timezone.now()
    if began_at > now:
        raise ValidationError({"began_at": [_("This is still to come.")]})
    if ended_at > now:
        words = _("This is still to come: it is %(now)s now. Hours are noted when they are over.")
        raise ValidationError({"ended_at": [words % {"now": f"{now.astimezone(zone):%H:%M}"}]})


def _refuse_during_visits(technician: Technician, began_at: datetime, ended_at: datetime) -> None:
    """A visit is paid as it is: other work within it would count for nothing."""
    zone, now = ZoneInfo(technician.time_zone), timezone.now()
    visits = [span for spans in _spans(technician, began_at, ended_at).values() for span in spans]
    visits = [span for span in visits if span.kind == "visit"]
    open_visits = Visit.objects.filter(technician=technician.user_id, state=Visit.State.STARTED, ended_at=None)
    for visit in open_visits.filter(started_at__gt=began_at - LONGEST, started_at__lt=now).select_related("site"):
        visits.append(Span("visit", visit.started_at or now, now, str(visit.site)))
    met = next((span for span in visits if span.starts < ended_at and span.ends > began_at), None)
    if met is not None:
        words = _("This overlaps the visit at %(site)s from %(low)s to %(high)s, which is paid already.") % {
            "site": met.words, "low": _clock(met.starts, zone), "high": _clock(met.ends, zone),
        }  # fmt: skip
        raise ValidationError({"began_at": [words]})


def _refuse_outside_work(technician: Technician, began_at: datetime, ended_at: datetime) -> None:
    """A break lies within a day's work: outside it there is nothing to take it off."""
    zone, told = ZoneInfo(technician.time_zone), []
    for day, spans in _spans(technician, began_at, ended_at).items():
        work = [span for span in spans if span.is_work]
        if not work:
            continue
        low, high = min(span.starts for span in work), max(span.ends for span in work)
        if low <= began_at and ended_at <= high:
            return
        if day == began_at.astimezone(zone).date():
            told = [_clock(low, zone), _clock(high, zone)]
    if told:
        words = _("This is not within the day's work, from %(low)s to %(high)s.")
        raise ValidationError({"began_at": [words % {"low": told[0], "high": told[1]}]})
    raise ValidationError({"began_at": [_("There is no work on this day that a break could lie in.")]})


def _spans(technician: Technician, began_at: datetime, ended_at: datetime) -> dict[date, list[Span]]:
    """What stands on the days about, by the day the work began."""
    zone = ZoneInfo(technician.time_zone)
    first, last = began_at.astimezone(zone).date() - ONE_DAY, ended_at.astimezone(zone).date()
    return {row.day: row.spans for row in actual_days([technician], first, last)}


def _clock(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%H:%M}"


@transaction.atomic
def entry_take_off(*, entry: HoursEntry, actor: User) -> None:
    """Take an entry off the sheet; the trail keeps it."""
    _refuse_strangers(entry.technician, actor)
    HoursEntry.objects.filter(pk=entry.pk, archived_at=None).update(archived_at=timezone.now())


def _refuse_strangers(technician: Technician, actor: User) -> None:
    if technician.user_id != actor.pk and not allows(actor.roles, "people.edit"):
        raise ValidationError(_("You note only your own hours."))


@transaction.atomic
def rule_set(*, rule: PayRule, actor: User) -> PayRule:
    """A pay rule from a day on; the same day again replaces that day's rule. Sheets before it stay as they were."""
    old = PayRule.objects.filter(technician=rule.technician, valid_from=rule.valid_from).first()
    if old is not None:
        rule.pk = old.pk
        rule._state.adding = False
    rule.full_clean()
    rule.save()
    return rule
