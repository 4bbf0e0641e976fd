"""Visits for two people: a lead who does the whole visit and a helper for its first part, both beginning together.

Each moment at which such a visit may begin makes a pair of jobs that begin at that moment and at no other, so that the
rounds they lie on are timed and priced like any. Moments are tried where the lead's or a helper's round would reach
the place of itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from servicedesk.planner.evaluate import INFINITE
from servicedesk.planner.instance import Job, Shift

if TYPE_CHECKING:
    from servicedesk.planner.search import Search, State

ROUND_S = 300  # moments of beginning are whole five minutes
LEADS, HELPERS = 3, 2  # shifts looked at for each
NOBODY: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Together:
    """A way to do a visit with two: the jobs, their shifts and their places in the orders."""

    rise: int
    lead: int
    lead_at: int
    lead_place: int
    helper: int
    helper_at: int


class Crews:
    """The visits of a search that need two people."""

    def __init__(self, search: "Search") -> None:
        self.search = search
        self.visits = {
            job.index for job in search.instance.jobs if job.visit.crew is not None and job.visit.crew.people > 1
        }
        self._pairs: dict[tuple[int, int | None], tuple[int, int]] = {}
        self.helpers_at: dict[int, list[int]] = {}
        for visit in sorted(self.visits):
            self.pair(visit, None)

    def pair(self, visit: int, begins: int | None) -> tuple[int, int]:
        """The lead's and the helper's job for a moment of beginning; None is any, to see who could come when."""
        key = (visit, begins)
        if key not in self._pairs:
            search = self.search
            lead, helper = search.instance.add_pair(search.instance.jobs[visit], begins)
            for job in (lead, helper):
                search.adopt(job)
            search.links.adopt(lead.index, visit)
            self._pairs[key] = lead.index, helper.index
        return self._pairs[key]

    def best(
        self, state: "State", visit: int, blinked: frozenset[int] = NOBODY, limit: int = INFINITE
    ) -> Together | None:
        """The cheapest way found for less than the limit, None where nobody can come together for that.

        What a shift asks for a job that may begin at any moment is never more than what it asks for one moment, so
        that most moments and helpers need not be priced.
        """
        search, best = self.search, None
        any_lead, any_helper = self.pair(visit, None)
        helpers = self._cheapest(state, any_helper, search.allowed[any_helper], blinked, limit)
        if not helpers:
            return None
        leads = self._cheapest(state, any_lead, search.allowed[any_lead], blinked, limit - helpers[0][0])
        for lead_rise, lead_at in leads[:LEADS]:
            if lead_rise + helpers[0][0] >= limit:
                break
            who = search.instance.shifts[lead_at].who.id
            others = [row for row in helpers if search.instance.shifts[row[1]].who.id != who]
            for begins in self._moments(state, visit, lead_at, others):
                found = self._at_moment(state, self.pair(visit, begins), lead_at, others, limit)
                if found is not None:
                    limit, best = found.rise, found
        return best

    def _at_moment(
        self, state: "State", pair: tuple[int, int], lead_at: int, helpers: list[tuple[int, int]], limit: int
    ) -> Together | None:
        """The cheapest helper for a lead at one moment, where the two cost less than the limit."""
        search, (lead, helper) = self.search, pair
        if lead_at not in search.allowed[lead] or not helpers:
            return None
        rise, place = search.best_insert(state, lead_at, lead, limit - helpers[0][0])
        best: Together | None = None
        for least, at in helpers:
            if rise + least >= limit:
                break
            if at not in search.allowed[helper]:
                continue
            more = search.best_insert(state, at, helper, limit - rise)[0]
            if rise + more < limit:
                limit = rise + more
                best = Together(limit, lead, lead_at, place, helper, at)
        return best

    def _moments(self, state: "State", visit: int, lead_at: int, helpers: list[tuple[int, int]]) -> Iterator[int]:
        """When to try the visit on a lead's shift: as soon as it may be, and when the rounds would come by."""
        search = self.search
        lead, helper = self.pair(visit, None)
        shift = search.instance.shifts[lead_at]
        spans = search.instance.spans(search.instance.rows[lead], shift)
        near = [at for _rise, at in helpers if _overlap(search.instance.shifts[at], shift)][:HELPERS]
        wanted = {self._reached(state, lead_at, lead)} | {self._reached(state, at, helper) for at in near}
        moments = {_rounded(moment) for moment in wanted if moment is not None}
        moments |= {low for low, _high in spans}
        yield from (moment for moment in sorted(moments) if any(low <= moment <= high for low, high in spans))

    def _cheapest(
        self, state: "State", job: int, shifts: list[int], blinked: frozenset[int], limit: int
    ) -> list[tuple[int, int]]:
        """What the shifts ask for a job, the least first, as far as it is below the limit."""
        offers = ((self.search.best_insert(state, at, job, limit)[0], at) for at in shifts if at not in blinked)
        return sorted(offer for offer in offers if offer[0] < limit)

    def _reached(self, state: "State", at: int, job: int) -> int | None:
        """When the round would begin the job if it had all freedom."""
        search = self.search
        rise, place = search.best_insert(state, at, job)
        order = state.routes[at].order
        found = search.evaluator.timed(search.instance.shifts[at], (*order[:place], job, *order[place:]))
        if rise >= INFINITE or found is None:
            return None
        return next(stop.begin for stop in found.stops if stop.node.job is not None and stop.node.job.index == job)

    # --- putting in and taking out

    def put(self, state: "State", visit: int, found: Together) -> bool:
        """Put both in, or neither."""
        search = self.search
        if not search.put_if_legal(state, found.lead_at, found.lead, found.lead_place):
            return False
        state.pairs[visit] = found.lead, found.helper
        state.where[visit] = found.lead_at
        rise, place = search.best_insert(state, found.helper_at, found.helper)
        if rise < INFINITE and search.put_if_legal(state, found.helper_at, found.helper, place):
            return True
        self.part(state, visit)
        return False

    def part(self, state: "State", visit: int) -> None:
        """Take out whoever of a pair is on a round."""
        pair = state.pairs.pop(visit)
        del state.where[visit]
        for job in pair:
            if job in state.where:
                self.search.remove(state, state.where[job], {job}, by_force=True)

    def pair_up(self, state: "State") -> None:
        """Know the pairs of a state made of jobs; whoever is alone is taken out."""
        rows = self.search.instance.rows
        for job in [job for job in state.where if is_half(rows[job])]:
            state.pairs[rows[job].visit_index] = self.pair(rows[job].visit_index, rows[job].begins)
        for visit, (lead, _helper) in state.pairs.items():
            state.where[visit] = state.where.get(lead, -1)
        self.tidy(state)

    def tidy(self, state: "State") -> None:
        """Nobody waits at a door for a second person who does not come."""
        while broken := [visit for visit, pair in state.pairs.items() if any(job not in state.where for job in pair)]:
            for visit in broken:
                self.part(state, visit)


def _overlap(one: Shift, other: Shift) -> bool:
    return one.opens < other.limit and other.opens < one.limit


def _rounded(moment: int) -> int:
    return -(-moment // ROUND_S) * ROUND_S


def is_half(job: Job) -> bool:
    """Whether the job is the lead's or the helper's of a visit for two."""
    return job.index != job.visit_index
