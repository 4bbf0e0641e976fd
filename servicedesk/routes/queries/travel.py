"""Reads of travel times: the rule in force, the drives known, how the last reading of roads went."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache

from django.conf import settings
from django.db.models import Count, Exists, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from servicedesk.routes.models import WeekPlan
from servicedesk.routes.travel import FILE, Known, MatrixProvider, Pair, Point, estimate_of, point_key
from servicedesk.routes.travel_models import TravelDrive, TravelFill, TravelRule
from servicedesk.routes.travel_osrm import RoadService


def travel_rule() -> TravelRule:
    """The rule in force; until somebody changed it, the defaults."""
    return TravelRule.objects.filter(pk=1).first() or TravelRule()


def service_address(rule: TravelRule) -> str:
    """Where the road service is: as set by the owner, else by the environment; empty: there is none."""
    return rule.service_url or str(settings.OSRM_URL)


def road_service(rule: TravelRule) -> RoadService | None:
    address = service_address(rule)
    return RoadService(address, rule.service_profile, rule.timeout_s) if address else None


def known_drives(keys: Iterable[str], *, since: datetime | None = None) -> dict[Pair, Known]:
    """Drives among the points that a file or the road service told; the file is believed first.

    ``since``: those of the road service only if they are no older.
    """
    listed = list(dict.fromkeys(keys))
    found: dict[Pair, Known] = {}
    rows = TravelDrive.objects.filter(start__in=listed, end__in=listed).order_by("-source")  # roads, then file
    for start, end, source, seconds, metres, at in rows.values_list(
        "start", "end", "source", "seconds", "metres", "known_at"
    ):
        if since is None or source == FILE or at >= since:
            found[start, end] = Known(seconds, metres, source)
    return found


@lru_cache(maxsize=2)
def _remembered(_version: int, keys: tuple[str, ...]) -> dict[Pair, Known]:
    return known_drives(keys)


def provider_for(points: Iterable[Point]) -> MatrixProvider:
    """Travel times among the points, from the database alone; a process reads unchanged drives once."""
    known_any = Exists(TravelDrive.objects.all())
    rule = TravelRule.objects.filter(pk=1).annotate(knows_drives=known_any).first()  # written with the first drive
    keys = tuple(sorted({point_key(point) for point in points}))
    known = _remembered(rule.version, keys) if rule is not None and rule.knows_drives else {}
    return MatrixProvider(estimate_of(rule or TravelRule()), known)


@dataclass(frozen=True, slots=True)
class DriveCounts:
    """How many drives are known, by where they are from."""

    imported: int
    roads: int
    no_road: int


def drive_counts() -> DriveCounts:
    told = Q(seconds__isnull=False)
    return DriveCounts(
        **TravelDrive.objects.aggregate(
            imported=Count("pk", filter=Q(source=TravelDrive.Source.FILE)),
            roads=Count("pk", filter=Q(source=TravelDrive.Source.ROADS) & told),
            no_road=Count("pk", filter=Q(source=TravelDrive.Source.ROADS) & ~told),
        )
    )


def last_fill() -> TravelFill | None:
    return TravelFill.objects.select_related("requested_by").first()


def week_notice(plan: WeekPlan | None) -> str:
    """What the week's drives are worth when the road service did not tell all of them; else an empty text."""
    if plan is None:
        return ""
    fill = plan.travel_fills.first()
    if fill is None or fill.ended_at is None or not fill.estimated or not service_address(travel_rule()):
        return ""
    return fill_words(fill)


def fill_words(fill: TravelFill) -> str:
    """How a reading ended, in words."""
    estimated = ngettext("%(n)d of %(all)d drive is estimated.", "%(n)d of %(all)d drives are estimated.", fill.wanted)
    words = estimated if fill.estimated or not fill.wanted else _("All %(all)d drives are known.")
    parts = [words % {"n": fill.estimated, "all": fill.wanted}]
    if fill.message:
        parts.append(fill.message)
    if fill.no_road:
        parts.append(
            ngettext("For %(n)d there is no road.", "For %(n)d there is no road.", fill.no_road) % {"n": fill.no_road}
        )
    if fill.ended_at:
        parts.append(_("As of %(at)s.") % {"at": date_format(timezone.localtime(fill.ended_at), "D j M, H:i")})
    return " ".join(parts)
