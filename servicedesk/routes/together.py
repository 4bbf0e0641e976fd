"""Rounds timed together, so that the two people of a visit begin at one moment; whoever is there first waits."""

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from servicedesk.planner.crews import ROUND_S
from servicedesk.routes.crews import Key, helper_of, pairs_in
from servicedesk.routes.timed import Timed
from servicedesk.routes.times import midnight
from servicedesk.routes.timing import Timer

Orders = Mapping[Key, Sequence[str]]


def together(timer: Timer, orders: Orders) -> dict[Key, Timed]:
    """The rounds as they go; each pair begins as soon as both can be there, on whole five minutes.

    A visit whose round is not changed itself, or is settled, begins no earlier than it stands. Moments only rise from
    one pass to the next. Where they never settle, two people would wait for each other.
    """
    pairs = pairs_in(orders)
    begins = {
        visit: at for visit, keys in pairs.items() if (at := _stands(timer, orders, visit, keys)) is not None
    }  # fmt: skip
    timed = _timed(timer, orders, begins)
    for _pass in range(2 * len(pairs) + 2):
        reached = {visit: max(_begin(timer, timed, visit, keys)) for visit, keys in pairs.items()}
        if all(begins.get(visit) == at for visit, at in reached.items()):
            return timed
        begins = {visit: _rounded(at) for visit, at in reached.items()}
        timed = _timed(timer, orders, begins)
    for visit, keys in pairs.items():
        if len(set(_begin(timer, timed, visit, keys))) > 1:
            _cannot(timer, timed, visit, keys)
    return timed


def _stands(timer: Timer, orders: Orders, visit: str, keys: tuple[Key, Key]) -> int | None:
    """When a visit stands to begin, unless its round is driven otherwise now."""
    data, lead = timer.data, keys[0]
    at, old = data.visits[visit].begins, data.orders.get(lead, [])
    if at is None or visit not in old:
        return None
    is_settled = any(key in data.kept for key in keys)
    return round(at.timestamp()) if is_settled or list(orders[lead]) == old else None


def _timed(timer: Timer, orders: Orders, begins: Mapping[str, int]) -> dict[Key, Timed]:
    return {key: timer.timed(key, order, begins) for key, order in orders.items()}


def _begin(timer: Timer, timed: Mapping[Key, Timed], visit: str, keys: tuple[Key, Key]) -> tuple[int, int]:
    """When each of the two would begin, as moments; on a day that nobody works the other's moment is as good as any."""
    found = []
    for key, call in zip(keys, (visit, helper_of(visit)), strict=True):
        start = next((stop.start_s for stop in timed[key].stops if stop.call == call), None)
        zone = timer.zone_of(key)
        found.append(0 if start is None else round(midnight(key[1], zone).timestamp()) + start)
    lead, helper = found
    return lead or helper, helper or lead


def _rounded(moment: int) -> int:
    return -(-moment // ROUND_S) * ROUND_S


def _cannot(timer: Timer, timed: dict[Key, Timed], visit: str, keys: tuple[Key, Key]) -> None:
    lead, helper = (timer.data.technicians[key[0]] for key in keys)
    words = _("%(site)s: %(lead)s and %(helper)s cannot begin together; each would wait for the other elsewhere.")
    names = {"site": timer.data.visits[visit].visit.site.name, "lead": lead, "helper": helper}
    for key in keys:
        timed[key].hard.append(words % names)
