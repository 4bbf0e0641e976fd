"""Rounds as the search handles them: an order of jobs on a shift with its price, and what each further job would cost.

A round is made once per order and remembers every offer asked of it. An offer is priced only when its lower bound,
worked out in a few sums, is below what the asker already has.
"""

from itertools import pairwise

from servicedesk.planner.evaluate import INFINITE, Evaluator
from servicedesk.planner.instance import Instance
from servicedesk.planner.pricing import Pricer

MEMO_LIMIT = 50_000  # about 5 kB each
Offer = tuple[int, int]  # rise in cost in thousandths, place in the order
NO_OFFER: Offer = (INFINITE, 0)


class Route:
    """An order of jobs on a shift that breaks no rule of the day."""

    __slots__ = (
        "at", "back", "bounds", "cost", "due", "floors", "kg", "leave", "legs", "litres", "metres", "offers", "order",
        "overtime", "places", "ready", "regular", "reloads", "wait",
    )  # fmt: skip

    def __init__(self, at: int, order: tuple[int, ...]) -> None:
        self.at, self.order = at, order
        self.cost = self.leave = self.back = self.overtime = self.regular = self.wait = 0
        self.kg = self.litres = 0.0
        self.reloads = False
        self.places: list[int] = []
        self.legs: list[int] = []
        self.metres: list[int] = []
        self.ready: list[int] = []
        self.due: list[int] = []
        self.offers: dict[int, Offer] = {}
        self.bounds: dict[int, list[Offer]] = {}
        self.floors: dict[int, int] = {}


class Routes:
    """Makes rounds and works out offers."""

    def __init__(self, instance: Instance, evaluator: Evaluator) -> None:
        self.instance, self.evaluator = instance, evaluator
        self.pricer = Pricer(instance, evaluator)
        self._memo: dict[tuple[int, tuple[int, ...]], Route | None] = {}
        self._earlier, self._later = self._order_rules()

    def _order_rules(self) -> tuple[dict[str, set[str]], dict[str, set[str]]]:
        """By group: the groups that must all come before it, and those that must all come after it."""
        earlier: dict[str, set[str]] = {}
        later: dict[str, set[str]] = {}
        for rule in self.instance.problem.orders:
            earlier.setdefault(rule.after, set()).add(rule.before)
            later.setdefault(rule.before, set()).add(rule.after)
        return earlier, later

    def route(self, at: int, order: tuple[int, ...]) -> Route | None:
        """The round, None where a rule of the day forbids it."""
        key = (at, order)
        if key in self._memo:
            return self._memo[key]
        if len(self._memo) > MEMO_LIMIT:
            self._memo.clear()
        found = self._memo[key] = self._made(at, order)
        return found

    def none(self, at: int) -> Route:
        """No round at all, on a shift whose due drive cannot be made in its hours; ``due.py`` tells of it."""
        route = Route(at, ())
        self._measure(route, 0)
        return route

    def _made(self, at: int, order: tuple[int, ...]) -> Route | None:
        route, shift = Route(at, order), self.instance.shifts[at]
        if self.evaluator.out_of_order(order):
            return None
        paused = 0
        if order or shift.day.drive_empty:
            priced = self.pricer.price(at, order)
            if priced is None:
                return None
            route.cost, route.leave, route.back, route.overtime, paused = priced
        self._measure(route, paused)
        return route

    def _measure(self, route: Route, paused: int) -> None:
        """The sums from which bounds are worked out."""
        pricer, day, order = self.pricer, self.pricer.days[route.at], route.order
        route.places = places = [day.start, *(pricer.place[job] for job in order), day.end]
        pairs = list(pairwise(places))
        route.legs = [pricer.seconds[one][other] for one, other in pairs]
        route.metres = [pricer.metres[one][other] for one, other in pairs]
        if not order and not day.shift.day.drive_empty:
            route.legs, route.metres = [0], [0]
        for job in order:
            row = self.instance.rows[job]
            route.kg, route.litres = route.kg + row.kg, route.litres + row.litres
        route.reloads = not self._fits(route, 0, 0)
        length = route.back - route.leave
        work = sum(pricer.duration[job] for job in order) + sum(route.legs)
        route.regular = length - (paused if paused and day.pause is not None and not day.pause[3] else 0)
        route.wait = max(length - work - paused, 0)
        self._time_bounds(route)

    def _fits(self, route: Route, kg: float, litres: float) -> bool:
        """Whether the van holds all that the round brings and so much more."""
        kg, litres = route.kg + kg, route.litres + litres
        if not (kg or litres):
            return True
        van = self.instance.shifts[route.at].who.van
        return van is not None and litres <= van.tank_l and kg + litres * van.water_kg_per_l <= van.payload_kg

    def _time_bounds(self, route: Route) -> None:
        """No earlier than ``ready`` can one leave each stop, no later than ``due`` be at the next; breaks aside."""
        day, duration, spans = self.pricer.days[route.at], self.pricer.duration, self.pricer.days[route.at].spans
        free = route.reloads  # a drive over the store may be shorter than the table's own
        at = day.shift.opens
        route.ready = ready = [at]
        for number, job in enumerate(route.order):
            at += 0 if free else route.legs[number]
            at = next((max(at, low) for low, high in spans[job] if at <= high), at) + duration[job]
            ready.append(at)
        late = day.shift.limit
        due = [late]
        for number in range(len(route.order) - 1, -1, -1):
            job = route.order[number]
            late -= (0 if free else route.legs[number + 1]) + duration[job]
            late = min(late, spans[job][-1][1])
            due.append(late)
        route.due = due[::-1]

    # --- offers

    def offer(self, route: Route, job: int, limit: int = INFINITE) -> Offer:
        """The least rise in cost for putting a job in and where; what costs ``limit`` or more may be told as that."""
        found = route.offers.get(job)
        if found is not None:
            return found
        bounds = self.bounds(route, job)
        best = NO_OFFER
        for bound, place in bounds:
            if bound >= best[0]:
                break
            if bound >= limit:
                return best if best[0] < limit else (limit, place)
            rise = self.rise(route, job, place)
            if rise < best[0]:
                best = (rise, place)
        route.offers[job] = best
        return best

    def floor(self, route: Route, job: int) -> int:
        """The least of the bounds."""
        bounds = self.bounds(route, job)
        found = route.floors[job] = bounds[0][0] if bounds else INFINITE
        return found

    def bounds(self, route: Route, job: int) -> list[Offer]:
        """For each place not ruled out by time, a rise in cost that the true one is not below, the least first."""
        found = route.bounds.get(job)
        if found is None:
            found = route.bounds[job] = self._bounds(route, job)
        return found

    def _bounds(self, route: Route, job: int) -> list[Offer]:
        pricer = self.pricer
        day = pricer.days[route.at]
        shift, spans, work, here = day.shift, day.spans[job], pricer.duration[job], pricer.place[job]
        seconds, metres, places = pricer.seconds, pricer.metres, route.places
        legs, lengths, ready, due = route.legs, route.metres, route.ready, route.due
        least, hourly, km, limit = day.least[job], shift.hourly, shift.km, day.normal + day.most_overtime
        if not route.order and not shift.day.drive_empty:
            least += shift.fixed
        first, last = 0, len(route.order)
        if self._earlier and route.order:
            first, last = self._between(route, job)
        wait, regular, normal, overtime = route.wait, route.regular, day.normal, route.overtime
        out: list[Offer] = []
        from_here, metres_from = seconds[here], metres[here]
        for gap in range(first, last + 1):
            one, other = places[gap], places[gap + 1]
            to, on = seconds[one][here], from_here[other]
            at = ready[gap] + to
            for low, high in spans:
                if at <= high:
                    if at < low:
                        at = low
                    break
            else:
                continue
            at += work + on
            if at > due[gap] and not route.reloads:
                continue
            grow = to + on - legs[gap] + work - wait
            length = regular + grow if grow > 0 else regular
            if length > limit:
                continue
            bound = least + km * (metres[one][here] + metres_from[other] - lengths[gap]) // 1_000_000
            if grow > 0:
                bound += hourly * grow // 3_600_000
            if length - normal > overtime:
                bound += shift.overtime * (length - normal - overtime) // 3_600_000
            out.append((-INFINITE if route.reloads else bound, gap))
        out.sort()
        return out

    def _between(self, route: Route, job: int) -> tuple[int, int]:
        """The first and last place in the order that order rules leave to a job."""
        first, last = 0, len(route.order)
        group = self.instance.rows[job].visit.group
        if group in self._earlier or group in self._later:
            groups = [self.instance.rows[other].visit.group for other in route.order]
            earlier, later = self._earlier.get(group, set()), self._later.get(group, set())
            first = max((n + 1 for n, other in enumerate(groups) if other in earlier), default=first)
            last = min((n for n, other in enumerate(groups) if other in later), default=last)
        return first, last

    def rise(self, route: Route, job: int, place: int) -> int:
        """What a job costs more at a place in the order."""
        longer = (*route.order[:place], job, *route.order[place:])
        row = self.instance.rows[job]
        priced = self.pricer.price(route.at, longer, light=self._fits(route, row.kg, row.litres))
        return INFINITE if priced is None else priced[0] - route.cost
