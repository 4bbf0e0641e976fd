"""The fast price of an order is the exact evaluator's, whatever the order; bounds lie below what they bound."""

from dataclasses import replace
from decimal import Decimal

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from servicedesk.planner.evaluate import INFINITE, Evaluator
from servicedesk.planner.instance import Instance
from servicedesk.planner.problem import Night, Problem
from servicedesk.planner.routes import Routes
from tests.planner.cast import a_window
from tests.planner.strategies import problems


def ready(problem: Problem) -> tuple[Instance, Evaluator, Routes]:
    instance = Instance(problem)
    evaluator = Evaluator(instance)
    routes = Routes(instance, evaluator)
    for job in instance.jobs:
        for shift in instance.shifts:
            if instance.forbids(job, shift) is None:
                routes.pricer.admit(job, shift.index)
    return instance, evaluator, routes


@st.composite
def orders(draw: st.DrawFn) -> tuple[Problem, int, tuple[int, ...]]:
    problem = draw(problems())
    night = Night(Decimal(6), (a_window("13:00", "17:00"),))
    people = [replace(who, night=draw(st.sampled_from([None, night]))) for who in problem.technicians]
    problem = replace(problem, technicians=tuple(people))
    order = draw(st.permutations(range(len(problem.visits))))
    return problem, draw(st.integers(0, 2)), tuple(order[: draw(st.integers(1, 6))])


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(orders())
def test_fast_price_is_the_exact_price(drawn: tuple[Problem, int, tuple[int, ...]]) -> None:
    problem, at, order = drawn
    instance, evaluator, routes = ready(problem)
    order = tuple(job for job in order if instance.forbids(instance.jobs[job], instance.shifts[at]) is None)
    exact, fast = evaluator.timed(instance.shifts[at], order), routes.route(at, order)
    if exact is None:
        assert fast is None
        return
    assert fast is not None
    assert (fast.cost, fast.leave, fast.back, fast.overtime) == (exact.cost, exact.leave, exact.back, exact.overtime)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(orders())
def test_best_offer_is_the_cheapest_of_all_places(drawn: tuple[Problem, int, tuple[int, ...]]) -> None:
    """Without promises, whose cost a later visit may save, the offer is what trying every place finds."""
    problem, at, order = drawn
    problem = replace(problem, visits=tuple(replace(visit, promise=None) for visit in problem.visits))
    instance, evaluator, routes = ready(problem)
    shift = instance.shifts[at]
    order = tuple(job for job in order if instance.forbids(instance.jobs[job], shift) is None)
    route = routes.route(at, order[1:])
    if not order or route is None:
        return
    base = evaluator.cost(shift, order[1:])
    tried = [evaluator.cost(shift, (*order[1 : 1 + n], order[0], *order[1 + n :])) for n in range(len(order))]
    rise = min((cost - base for cost in tried if cost < INFINITE), default=INFINITE)
    assert routes.offer(route, order[0])[0] == rise
