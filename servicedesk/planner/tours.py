"""The second engine, for days of many stops: PyVRP, started from the plan so far.

It knows drives, hours, windows, loads, reloads, overtime and whom a visit would rather have. What it does not know
(breaks, promises, gaps, orders of visits, shared things, rest) is put right when its rounds are taken over: a visit
that then breaks a rule is put in anew by our own search, and the exact evaluator says which plan is the better.
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from servicedesk.planner.budget import Budget
from servicedesk.planner.evaluate import visit_cost
from servicedesk.planner.instance import Job, Shift
from servicedesk.planner.search import Search, State

if TYPE_CHECKING:
    import pyvrp

MANY_STOPS = 12
UNIT = 100  # of its costs in a thousandth of the currency
STEPS = 4  # of its iterations for one of ours: they are that much shorter
LOAD_UNIT = 10  # of its loads in a kilogram or litre
FORBIDDEN = 1 << 40
HIGHEST_PENALTY = 1e9  # our costs are in small units, so its penalties must be let rise


@dataclass(frozen=True, slots=True)
class _Option:
    """A job in one of its windows, on the shifts that it may be done on then."""

    job: int
    low: int
    high: int


def has_long_rounds(state: State) -> bool:
    """Whether the days reach as many stops as are too many for ruin and recreate alone."""
    return max((len(route.order) for route in state.routes), default=0) >= MANY_STOPS


def improved(search: Search, state: State, budget: Budget, seed: int) -> tuple[State, int]:
    """The better of the state and what the second engine makes of it, and the iterations it made."""
    model = _Model(search)
    result = model.solve(state, budget, seed)
    found = model.state_of(result.best)
    search.put_back(found, search.waiting(found))
    return (found if found.cost < state.cost else state), result.num_iterations // STEPS


class _Model:
    """The problem in the engine's terms. Times are counted from the first opening."""

    def __init__(self, search: Search) -> None:
        self.search = search
        self.shifts = [shift for shift in search.instance.shifts if self._serves(shift)]
        self.zero = min((shift.opens for shift in self.shifts), default=0)
        self.options = [option for job in search.instance.jobs for option in self._options(job)]
        self.depots = sorted({place for shift in self.shifts for place in self._depots(shift)})
        self.data = self._data()

    def _serves(self, shift: Shift) -> bool:
        return any(shift.index in self.search.allowed[job.index] for job in self.search.instance.jobs)

    def _depots(self, shift: Shift) -> list[tuple[str, int]]:
        places = [(shift.start, 0), (shift.end, 0)]
        return places if shift.depot is None else [*places, (shift.depot, shift.reload_s)]

    def _options(self, job: Job) -> list[_Option]:
        shifts = (self.search.instance.shifts[at] for at in self.search.allowed[job.index])
        spans = {span for shift in shifts for span in self.search.instance.spans(job, shift)}
        latest = {high: low for low, high in sorted(spans, reverse=True)}
        return [_Option(job.index, low, high) for high, low in sorted(latest.items())]

    def _data(self) -> "pyvrp.ProblemData":
        import pyvrp

        instance = self.search.instance
        places = [place for place, _seconds in self.depots]
        places += [instance.jobs[option.job].place for option in self.options]
        numbers = np.array([instance.travel.number[place] for place in places])
        seconds = np.array(instance.travel.seconds, dtype=np.int64)[np.ix_(numbers, numbers)]
        metres = np.array(instance.travel.metres, dtype=np.int64)[np.ix_(numbers, numbers)]
        profiles, profile_of = self._profiles(metres)
        members: dict[int, list[int]] = defaultdict(list)
        for number, option in enumerate(self.options):
            members[option.job].append(number)
        grouped = [job for job, options in sorted(members.items()) if len(options) > 1]
        return pyvrp.ProblemData(
            locations=[pyvrp.Location(0, 0) for _place in places],
            clients=[
                self._client(number, option, grouped.index(option.job) if option.job in grouped else None)
                for number, option in enumerate(self.options)
            ],
            depots=[
                pyvrp.Depot(number, service_duration=seconds) for number, (_place, seconds) in enumerate(self.depots)
            ],
            vehicle_types=[self._vehicle(shift, profile_of[shift.index]) for shift in self.shifts],
            distance_matrices=profiles,
            duration_matrices=[seconds] * len(profiles),
            groups=[pyvrp.ClientGroup(members[job], required=False) for job in grouped],
        )

    def _profiles(self, metres: npt.NDArray[np.int64]) -> tuple[list[Any], dict[int, int]]:
        """The cost of each drive, with what the visit it leads to costs this technician; alike ones once."""
        known: dict[tuple[int, tuple[int, ...]], int] = {}
        profiles: list[Any] = []
        profile_of: dict[int, int] = {}
        for shift in self.shifts:
            costs = tuple(self._cost(shift, option) for option in self.options)
            key = (shift.km, costs)
            if key not in known:
                known[key] = len(profiles)
                table = metres * shift.km * UNIT // 1_000_000
                table[:, len(self.depots) :] += np.array(costs, dtype=np.int64)[None, :]
                np.fill_diagonal(table, 0)
                profiles.append(table)
            profile_of[shift.index] = known[key]
        return profiles, profile_of

    def _cost(self, shift: Shift, option: _Option) -> int:
        if shift.index not in self.search.allowed[option.job]:
            return FORBIDDEN
        job = self.search.instance.jobs[option.job]
        if option.high < shift.opens or option.low > shift.limit:
            return 0
        cost = visit_cost(shift, job, option.high)
        if job.promise is not None and not job.promise[0] <= option.high <= job.promise[1]:
            cost -= job.promise[2]
        return cost * UNIT

    def _client(self, number: int, option: _Option, group: int | None) -> "pyvrp.Client":
        import pyvrp

        job = self.search.instance.jobs[option.job]
        van = next((shift.who.van for shift in self.shifts if shift.who.van is not None), None)
        density = van.water_kg_per_l if van is not None else 1.0
        load = [round((job.kg + job.litres * density) * LOAD_UNIT), round(job.litres * LOAD_UNIT)]
        return pyvrp.Client(
            location=len(self.depots) + number,
            delivery=load,
            service_duration=job.duration,
            tw_early=max(option.low - self.zero, 0),
            tw_late=option.high - self.zero,
            prize=min(self.search.skip[job.index], FORBIDDEN // (4 * UNIT)) * UNIT,
            required=False,
            group=group,
        )

    def _vehicle(self, shift: Shift, profile: int) -> "pyvrp.VehicleType":
        import pyvrp

        van, pause = shift.who.van, sum(row.seconds for row in shift.breaks)
        normal = shift.day.normal_s if shift.day.normal_s is not None else shift.closes - shift.opens
        paid = sum(row.seconds for row in shift.breaks if row.paid)
        capacity = [van.payload_kg, van.tank_l] if van is not None else [0.0, 0.0]
        depots = [self.depots.index(place) for place in self._depots(shift)]
        return pyvrp.VehicleType(
            num_available=1,
            capacity=[round(amount * LOAD_UNIT) for amount in capacity],
            start_depot=depots[0],
            end_depot=depots[1],
            fixed_cost=shift.fixed * UNIT,
            tw_early=shift.opens - self.zero,
            tw_late=max(shift.limit - pause, shift.opens) - self.zero,
            shift_duration=max(normal - paid, 0),
            max_overtime=shift.day.max_overtime_s,
            unit_distance_cost=1,
            unit_duration_cost=shift.hourly * UNIT // 3_600_000,
            unit_overtime_cost=shift.overtime * UNIT // 3_600_000,
            profile=profile,
            reload_depots=depots[2:],
        )

    def solve(self, state: State, budget: Budget, seed: int) -> "pyvrp.Result":
        import pyvrp

        count = 0

        def spent(_best: float) -> bool:
            nonlocal count
            count += 1
            return budget(count // STEPS, state.cost) >= 1

        stop: Any = spent
        params = pyvrp.SolveParams(penalty=pyvrp.PenaltyParams(max_penalty=HIGHEST_PENALTY))
        start = self._start(state)
        return pyvrp.solve(self.data, stop, seed, collect_stats=False, params=params, initial_solution=start)

    def _start(self, state: State) -> "pyvrp.Solution":
        import pyvrp

        routes = []
        for vehicle, shift in enumerate(self.shifts):
            timed = self.search.evaluator.timed(shift, state.routes[shift.index].order)
            visits = [
                self._number(stop.node.job.index, stop.begin)
                for stop in (timed.stops if timed else ())
                if stop.node.job is not None
            ]
            if visits:
                routes.append(pyvrp.Route(self.data, visits, vehicle))
        return pyvrp.Solution(self.data, routes)

    def _number(self, job: int, begin: int) -> int:
        """The option in whose window a job begins."""
        return next(
            number
            for number, option in enumerate(self.options)
            if option.job == job and option.low <= begin <= option.high
        )

    def state_of(self, solution: "pyvrp.Solution") -> State:
        """Our state of the engine's rounds; whatever breaks a rule it does not know is left out."""
        search, state = self.search, self.search.empty()
        for route in solution.routes():
            at = self.shifts[route.vehicle_type()].index
            stops = [self.options[step.idx].job for step in route if step.is_client()]
            jobs = [job for job in dict.fromkeys(stops) if job not in state.where and at in search.allowed[job]]
            if not search.put_round(state, at, tuple(jobs)):
                for job in jobs:
                    search.put_if_legal(state, at, job, len(state.routes[at].order))
        return state
