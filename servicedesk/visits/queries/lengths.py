"""How long visits really take: learned from past visits that looked after the same installations at the same site."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

from django.utils import timezone

from servicedesk.clients.models import Agreement
from servicedesk.common.robust import robust_mean
from servicedesk.installations.queries import covered_by
from servicedesk.visits.models import Visit, VisitInstallation

LEAST_VISITS = 4
NEWEST = 12  # a system that grew takes longer than it did
LOOK_BACK = timedelta(days=550)
SHORTEST_MIN, LONGEST_MIN = 5, 960  # beyond: a tablet that was not signed in time
Work = tuple[int, frozenset[int]]  # site and the installations looked after


@dataclass(frozen=True, slots=True)
class Learned:
    """Minutes on site of so many past visits: robust mean, and between what two in three lie."""

    minutes: int
    low: int
    high: int
    number: int


@dataclass(frozen=True, slots=True)
class Length:
    """What a visit is planned with: the learned minutes, or the typed ones and why."""

    minutes: int
    typed: int
    learned: Learned | None
    past: int
    in_use: bool


def learned_of(minutes: Sequence[float]) -> Learned | None:
    """What past lengths, the newest first, teach; None until there are enough."""
    sane = [value for value in minutes if SHORTEST_MIN <= value <= LONGEST_MIN][:NEWEST]
    if len(sane) < LEAST_VISITS:
        return None
    found = robust_mean(sane)
    middle = min(max(round(found.mean), 10), LONGEST_MIN)
    return Learned(middle, max(round(found.mean - found.spread), 1), round(found.mean + found.spread), found.number)


def past_lengths(sites: Iterable[int]) -> dict[Work, list[float]]:
    """Minutes of past routine visits by what they looked after, the newest first; in two queries."""
    rows = (
        Visit.objects.filter(
            site__in=list(sites), state=Visit.State.SIGNED, kind=Visit.Kind.ROUTINE,
            started_at__gte=timezone.now() - LOOK_BACK, ended_at__isnull=False,
        )
        .order_by("-started_at")
        .values_list("pk", "site", "started_at", "ended_at")
    )  # fmt: skip
    visits = list(rows)
    covers = covers_of(pk for pk, *_rest in visits)
    found: dict[Work, list[float]] = defaultdict(list)
    for pk, site, began, ended in visits:
        if began is not None and ended is not None:
            found[site, covers[pk]].append((ended - began).total_seconds() / 60)
    return found


def covers_of(visits: Iterable[UUID]) -> dict[UUID, frozenset[int]]:
    """The installations that each visit looks after."""
    found: dict[UUID, set[int]] = defaultdict(set)
    for visit, installation in VisitInstallation.objects.filter(visit__in=list(visits)).values_list(
        "visit", "installation"
    ):
        found[visit].add(installation)
    return defaultdict(frozenset, {pk: frozenset(rows) for pk, rows in found.items()})


def length_of(agreement: Agreement, work: Work, past: dict[Work, list[float]]) -> Length:
    """What a visit of the agreement is planned with."""
    rows = past.get(work, [])
    learned = learned_of(rows)
    in_use = learned is not None and agreement.learn_duration
    minutes = learned.minutes if learned is not None and in_use else agreement.duration_min
    return Length(minutes, agreement.duration_min, learned, len(rows), in_use)


def minutes_taken(visit: Visit) -> int | None:
    """How long a visit took, once it has ended."""
    if visit.started_at is None or visit.ended_at is None:
        return None
    return round((visit.ended_at - visit.started_at).total_seconds() / 60)


def visit_length(visit: Visit) -> Length | None:
    """The same for one visit; None for a visit outside agreements, whose length somebody chose."""
    if visit.agreement is None or visit.kind != Visit.Kind.ROUTINE:
        return None
    work = (visit.site_id, covers_of([visit.pk])[visit.pk])
    return length_of(visit.agreement, work, past_lengths([visit.site_id]))


def agreement_length(agreement: Agreement) -> Length:
    """What the agreement's next visits are planned with."""
    today = timezone.localdate()
    work = (agreement.site_id, frozenset(row.pk for row in covered_by(agreement, today)))
    return length_of(agreement, work, past_lengths([agreement.site_id]))
