"""The versions of a week that are kept, and a week's rounds as plain data."""

from collections import defaultdict

from servicedesk.routes.kept import STOP, KeptRound, Key
from servicedesk.routes.models import Round, Stop, WeekPlan
from servicedesk.routes.queries.round import ROUND_FIELDS, RoundTimes, StopTimes
from servicedesk.routes.week_models import PlanVersion


def rounds_kept(plan: WeekPlan) -> dict[Key, KeptRound]:
    """The rounds as they stand now, in two queries without making records of them."""
    stops: dict[int, list[StopTimes]] = defaultdict(list)
    rows = Stop.objects.filter(round__plan=plan).order_by("position")
    for row in rows.values("round_id", *STOP):
        round_id = row.pop("round_id")
        stops[round_id].append(StopTimes(**row | {"visit_id": str(row["visit_id"])}))
    found = {}
    fields = ("pk", "technician_id", "date", "locked", "warnings", *ROUND_FIELDS)
    for row in Round.objects.filter(plan=plan).values(*fields):
        times = RoundTimes(**{name: row[name] for name in ROUND_FIELDS}, stops=stops[row["pk"]], is_published=False)
        told = tuple((entry.get("visit"), entry["words"]) for entry in row["warnings"])
        kept = KeptRound(row["technician_id"], row["date"], times, told, row["locked"])
        found[kept.key] = kept
    return found


def version_before(plan: WeekPlan) -> PlanVersion | None:
    """What undoing goes back to: the version before the present one, or before what was gone back to."""
    now = plan.versions.filter(number=plan.version).first()
    if now is None:
        return None
    at = now.restores or now.number
    return _settled(plan, plan.versions.filter(number__lt=at).first())


def _settled(plan: WeekPlan, found: PlanVersion | None) -> PlanVersion | None:
    """A version that itself went back is the older one that it restored, where that is still kept."""
    if found is None or found.restores is None:
        return found
    return plan.versions.filter(number=found.restores).first() or found


def undone_words(plan: WeekPlan) -> str:
    """What the last change not undone yet did; empty where nothing can be undone."""
    if version_before(plan) is None:
        return ""
    now = plan.versions.filter(number=plan.version).first()
    if now is None or now.restores is None:
        return now.words if now is not None else ""
    old = plan.versions.filter(number=now.restores).first()
    return old.words if old is not None else ""


def versions_of(plan: WeekPlan) -> list[PlanVersion]:
    """The newest first, without their rounds."""
    return list(plan.versions.select_related("by").defer("rounds", "left_out"))


def version_of(plan: WeekPlan, number: int) -> PlanVersion | None:
    return plan.versions.filter(number=number).select_related("by").first()
