"""Visits for two people: what the second person's part of a visit is, and what it is called among a round's calls.

A round holds *calls*: a visit, called by its id, or the second person's part of one, called by the id with a mark. The
part is the visit's first minutes: driven to and timed like any stop and begun together with the visit, but it takes
no load, is promised to nobody, and is neither reported nor billed. Whoever has the visit itself leads.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.utils.translation import gettext as _

from servicedesk.routes.models import Round
from servicedesk.visits.models import Visit

Key = tuple[int, date]
MARK = "+2"
PLANNED_PEOPLE = 2  # more are arranged by hand
MINUTE_S = 60


def helper_of(visit: str) -> str:
    """The call of the second person's part of a visit."""
    return visit + MARK


def is_helper(call: str) -> bool:
    return call.endswith(MARK)


def visit_of(call: str) -> str:
    """The visit that a call belongs to."""
    return call.removesuffix(MARK)


def calls_published(row: Round) -> list[str]:
    """What a round holds as it was last published."""
    return [
        helper_of(stop["visit_id"]) if stop.get("helps") else str(stop["visit_id"])
        for stop in (row.published or {}).get("stops", ())
    ]


def visits_published(row: Round) -> list[str]:
    """The visits that are the round's own as it was last published, without those it helps at."""
    return [call for call in calls_published(row) if not is_helper(call)]


def crew_min(visit: Visit) -> int:
    """For how many minutes from its beginning a visit needs a second person; 0: not at all."""
    agreement = visit.agreement
    if agreement is None or agreement.people_needed < PLANNED_PEOPLE:
        return 0
    return min(agreement.second_person_min or visit.duration_min, visit.duration_min)


def crew_words(name: str, minutes: int, at: str = "", *, helps: bool) -> str:
    """What two people do together, for the one who helps and for the one who leads; ``at`` where it is not beside."""
    names = {"name": name, "min": minutes, "at": at}
    if helps and not at:
        return _("help %(name)s for the first %(min)d min") % names
    if helps:
        return _("help %(name)s for the first %(min)d min from %(at)s") % names
    return _("with %(name)s for the first %(min)d min") % names


def pairs_in(orders: Mapping[Key, Sequence[str]]) -> dict[str, tuple[Key, Key]]:
    """Visits of which both parts are among the rounds: where the visit is, and where the second person comes from."""
    at = {call: key for key, order in orders.items() for call in order}
    return {
        visit_of(call): (at[visit_of(call)], key)
        for call, key in at.items()
        if is_helper(call) and visit_of(call) in at
    }


def linked(rounds: Iterable[Key], sharing: Iterable[Sequence[Key]]) -> set[Key]:
    """The rounds with those that share a visit with them, and so on: they can only be timed together."""
    found, groups = set(rounds), [set(group) for group in sharing]
    while more := [group for group in groups if group & found and not group <= found]:
        found.update(*more)
    return found
