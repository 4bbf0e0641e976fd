"""What a change of rounds by hand breaks, in words: for those who make it and for those who only offer it."""

from collections.abc import Collection, Mapping, Sequence

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from servicedesk.routes.crews import Key, helper_of, is_helper, pairs_in
from servicedesk.routes.planning import WeekProblem
from servicedesk.routes.timed import Timed

Orders = Mapping[Key, Sequence[str]]


def broken_by(problem: WeekProblem, orders: Orders, timed: Mapping[Key, Timed], asked: Collection[Key]) -> list[str]:
    """What the rounds that somebody puts something into break, and what others break that they did not before.

    A round may always be relieved.
    """
    broken = _pairs_broken(problem, orders)
    for key, row in timed.items():
        old = problem.data.orders.get(key, [])
        if key in asked:
            broken += row.hard
        elif list(orders[key]) == old:
            broken += [words for words in row.hard if words not in problem.timed(key, old).hard]
    return list(dict.fromkeys([*broken, *_locked_moved(problem, orders, timed)]))


def _pairs_broken(problem: WeekProblem, orders: Orders) -> list[str]:
    """A visit for two is done by two different people on one day."""
    sentences = []
    for visit, (lead, helper) in pairs_in(orders).items():
        names = {
            "site": problem.data.visits[visit].visit.site.name,
            "name": problem.data.technicians[helper[0]],
            "day": date_format(lead[1], "D j M"),
        }
        if lead[1] != helper[1]:
            words = _("%(site)s: the second person, %(name)s, has to come on the day of the visit, %(day)s.")
            sentences.append(words % names)
        elif lead[0] == helper[0]:
            sentences.append(_("%(site)s needs two people: %(name)s cannot be both.") % names)
    return sentences


def _locked_moved(problem: WeekProblem, orders: Orders, timed: Mapping[Key, Timed]) -> list[str]:
    """What is locked stays for both: a locked round keeps its parts of visits for two, and their hours."""
    words = _("The round of %(name)s is locked and shares %(site)s, which would change there. Free it first.")
    sentences = []
    for key in orders.keys() & problem.data.locked:
        old = problem.data.orders.get(key, [])
        was = {stop.call: stop.start_s for stop in problem.timed(key, old).stops}
        now = {stop.call: stop.start_s for stop in timed[key].stops}
        for call in old:
            is_shared = is_helper(call) or helper_of(call) in problem.data.visits
            if is_shared and was.get(call) != now.get(call):
                site = problem.data.visits[call].visit.site
                sentences.append(words % {"name": problem.data.technicians[key[0]], "site": site.name})
    return sentences
