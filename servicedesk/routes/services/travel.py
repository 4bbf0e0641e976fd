"""Changes of what is known of driving: the rule, imported drives, and drives read from the road service.

The road service is asked by the worker only, never while a page is made or a plan is searched.
"""

import logging
import secrets
from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from time import monotonic
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from servicedesk.clients.models import Site
from servicedesk.common.jobs import enqueue
from servicedesk.people.models import Depot, Lodging, Technician, User
from servicedesk.routes.models import WeekPlan
from servicedesk.routes.queries.travel import known_drives, road_service, service_address, travel_rule
from servicedesk.routes.travel import Point, point_key, point_of, same_place
from servicedesk.routes.travel_models import TravelDrive, TravelFill, TravelRule
from servicedesk.routes.travel_osrm import BLOCK, Block, RoadService, RoadServiceError

log = logging.getLogger(__name__)
FRESH_FOR = timedelta(days=180)
KEPT_FILLS = timedelta(days=60)
WEEK_BUDGET_S = 60.0
LOST_AFTER = timedelta(minutes=2)
ROWS_AT_ONCE = 5000
ACTIVE = (TravelFill.State.QUEUED, TravelFill.State.RUNNING)
Tell = Callable[[int, int], bool]


@transaction.atomic
def rule_save(*, rule: TravelRule, actor: User) -> TravelRule:
    """Store the constants and the service's address; another service's drives are forgotten."""
    before = travel_rule()
    rule.pk = 1
    rule.full_clean(validate_unique=False)
    rule.version = _stamp()
    rule.save()
    if (service_address(before), before.service_profile) != (service_address(rule), rule.service_profile):
        TravelDrive.objects.filter(source=TravelDrive.Source.ROADS).delete()
    return rule


def _stamp() -> int:
    return secrets.randbelow(2**31)


def _drives_changed() -> None:
    """Tell every process that remembers drives to read them again."""
    TravelRule.objects.get_or_create(pk=1)
    TravelRule.objects.filter(pk=1).update(version=_stamp())


@transaction.atomic
def drives_import(*, drives: Sequence[TravelDrive], actor: User) -> int:
    """Store drives of a file; those known by the file before become what it says now."""
    _store(drives)
    return len(drives)


@transaction.atomic
def imported_forget(*, actor: User) -> int:
    """Take all imported drives off."""
    number, _by_model = TravelDrive.objects.filter(source=TravelDrive.Source.FILE).delete()
    _drives_changed()
    return number


def _store(drives: Iterable[TravelDrive]) -> None:
    TravelDrive.objects.bulk_create(
        drives,
        batch_size=ROWS_AT_ONCE,
        update_conflicts=True,
        unique_fields=["start", "end", "source"],
        update_fields=["seconds", "metres", "known_at"],
    )
    _drives_changed()


@transaction.atomic
def fill_request(*, actor: User | None) -> TravelFill | None:
    """Ask the worker to read all drives that are not known; one that waits or works already is returned as it is."""
    if not service_address(travel_rule()):
        return None
    fills_sweep()
    active = TravelFill.objects.filter(state__in=ACTIVE, plan=None).first()
    if active is not None:
        return active
    fill = TravelFill.objects.create(requested_by=actor)
    enqueue("routes.fill_travel", str(fill.pk))
    return fill


def fill_nightly() -> None:
    """Read what new and moved places lack; forget how old readings went."""
    TravelFill.objects.filter(requested_at__lt=timezone.now() - KEPT_FILLS).delete()
    fill_request(actor=None)


def fills_sweep() -> int:
    """End readings whose worker is gone."""
    old = timezone.now() - LOST_AFTER
    lost = Q(state=TravelFill.State.RUNNING, heartbeat_at__lt=old) | Q(
        state=TravelFill.State.QUEUED, requested_at__lt=old
    )
    return TravelFill.objects.filter(lost).update(
        state=TravelFill.State.FAILED, ended_at=timezone.now(), message=_("The worker was lost. Ask again.")
    )


def fill_execute(fill_id: UUID) -> None:
    """Work a reading off; a second delivery finds it claimed and does nothing."""
    claimed = TravelFill.objects.filter(pk=fill_id, state=TravelFill.State.QUEUED).update(
        state=TravelFill.State.RUNNING, heartbeat_at=timezone.now()
    )
    if claimed:
        _fill(TravelFill.objects.get(pk=fill_id), all_points(), lambda _done, _of: False, budget_s=None)


def all_points() -> list[Point]:
    """Where we drive from and to: sites in use, homes of those who work here, stores."""
    today = timezone.localdate()
    people = Technician.objects.filter(user__is_active=True).exclude(last_day__lt=today)
    return [
        *Site.objects.filter(archived_at=None).values_list("latitude", "longitude"),
        *people.values_list("home_latitude", "home_longitude"),
        *Depot.objects.filter(archived_at=None).values_list("latitude", "longitude"),
        *Lodging.objects.filter(archived_at=None).values_list("latitude", "longitude"),
    ]


def fill_for_week(*, plan: WeekPlan, points: Sequence[Point], tell: Tell) -> TravelFill | None:
    """Before a week is planned: read the drives among its places. ``tell`` is told blocks done and all; True stops."""
    if not service_address(travel_rule()):
        return None
    fill = TravelFill.objects.create(plan=plan, state=TravelFill.State.RUNNING, heartbeat_at=timezone.now())
    _fill(fill, points, tell, budget_s=WEEK_BUDGET_S)
    return fill


def _fill(fill: TravelFill, points: Sequence[Point], tell: Tell, *, budget_s: float | None) -> None:
    rule = travel_rule()
    service = road_service(rule)
    keys = sorted({point_key(point) for point in points})
    told = known_drives(keys, since=timezone.now() - FRESH_FOR)
    missing = {
        start: [end for end in keys if end != start and (start, end) not in told and _apart(start, end)]
        for start in keys
    }
    wanted = {(start, end) for start in keys for end in keys if start != end and _apart(start, end)}
    fill.wanted, fill.asked = len(wanted), sum(map(len, missing.values()))
    state, message = TravelFill.State.DONE, ""
    if service is not None:
        try:
            message = _read(fill, service, {s: e for s, e in missing.items() if e}, tell, budget_s)
        except RoadServiceError as error:
            state, message = TravelFill.State.FAILED, error_words(error)
            log.warning("Road service: %s", error)
    now_known = known_drives(keys)
    fill.no_road = sum(pair in now_known and now_known[pair].seconds is None for pair in wanted)
    fill.estimated = sum(pair not in now_known for pair in wanted) + fill.no_road
    fill.state, fill.message, fill.ended_at = state, message, timezone.now()
    fill.save()


def _apart(start: str, end: str) -> bool:
    return not same_place(point_of(start), point_of(end))


def _read(
    fill: TravelFill, service: RoadService, missing: dict[str, list[str]], tell: Tell, budget_s: float | None
) -> str:
    """Ask block by block and store each; returns why it ended early, or an empty text."""
    began = monotonic()
    questions = list(_questions(missing))
    for number, (starts, ends) in enumerate(questions):

        def beat(number: int = number) -> None:
            TravelFill.objects.filter(pk=fill.pk).update(heartbeat_at=timezone.now())
            if tell(number, len(questions)):
                raise _StoppedError

        if budget_s is not None and monotonic() - began > budget_s:
            return _("There was not the time to ask for all of them.")
        try:
            for block in service.blocks([point_of(key) for key in starts], [point_of(key) for key in ends], beat):
                _store(_drives_of(block))
        except _StoppedError:
            return _("Stopped before all were asked.")
    return ""


class _StoppedError(Exception):
    """Whoever asked wants no more."""


def _questions(missing: dict[str, list[str]]) -> Iterable[tuple[list[str], list[str]]]:
    """Blocks of up to 50 × 50 that hold what is missing."""
    starts = sorted(missing)
    for first in range(0, len(starts), BLOCK):
        rows = starts[first : first + BLOCK]
        ends = sorted({end for start in rows for end in missing[start]})
        for second in range(0, len(ends), BLOCK):
            columns = ends[second : second + BLOCK]
            some = [start for start in rows if not set(columns).isdisjoint(missing[start])]
            if some:
                yield some, columns


def _drives_of(block: Block) -> list[TravelDrive]:
    now = timezone.now()
    return [
        TravelDrive(
            start=point_key(start),
            end=point_key(end),
            source=TravelDrive.Source.ROADS,
            seconds=cell[0] if cell else None,
            metres=cell[1] if cell else None,
            known_at=now,
        )
        for start, row in zip(block.starts, block.cells, strict=True)
        for end, cell in zip(block.ends, row, strict=True)
        if start != end
    ]


def error_words(error: RoadServiceError) -> str:
    """What went wrong, for the planner."""
    words = {
        "silent": _("The road service did not answer in time."),
        "odd": _("The road service gave an answer that makes no sense (%(detail)s)."),
        "refused": _("The road service refused the question (%(detail)s)."),
    }
    return words.get(error.kind, words["odd"]) % {"detail": error.detail}
