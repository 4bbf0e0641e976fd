"""Laws that hold of every plan: evaluator and checker agree, legal or not; the order of the input does not matter."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from servicedesk.planner.build import round_of, score_of
from servicedesk.planner.check import check
from servicedesk.planner.evaluate import Evaluator, Timed
from servicedesk.planner.instance import Instance, Job, Shift, moment
from servicedesk.planner.plan import Pause, Plan, Round, Score, Stop, Unserved
from servicedesk.planner.problem import Crew, Fixed, Gap, OrderRule, Overnight, Problem, Thing
from servicedesk.planner.solve import solve
from tests.planner.cast import MONDAY, TUESDAY, at
from tests.planner.strategies import problems

MINUTE = timedelta(minutes=1)
FIGURES = ("costs", "the overtime is", "lie in the night", "The score tells")  # lines on sums, not on rules of the day


@st.composite
def ruled_problems(draw: st.DrawFn) -> Problem:
    """With groups whose order on a round matters, too."""
    problem = draw(problems())
    groups = st.sampled_from(["", "fish", "quarantine"])
    visits = tuple(replace(visit, group=draw(groups)) for visit in problem.visits)
    return replace(problem, visits=visits, orders=(OrderRule("fish", "quarantine"),))


@st.composite
def days(draw: st.DrawFn) -> tuple[Problem, int, list[int]]:
    """A problem, a shift and some visits in an order."""
    problem = draw(ruled_problems())
    order = draw(st.permutations(range(len(problem.visits))))
    return problem, draw(st.integers(0, 2)), list(order)[: draw(st.integers(1, 4))]


def rules(problem: Problem, row: Round) -> list[str]:
    """The hard rules that a plan of this round alone breaks."""
    done = {stop.visit for stop in row.stops}
    left = tuple(Unserved(visit.id, "waits", "") for visit in problem.visits if visit.id not in done)
    zero = Decimal(0)
    plan = Plan((row,), left, Score(zero, zero, zero, 0, 0, 0, 0, 0, 0, 0, 0))
    return [line for line in check(problem, plan) if not any(words in line for words in FIGURES)]


def exact(problem: Problem, number: int, order: list[int]) -> tuple[Instance, Shift, list[Job], Timed | None]:
    instance = Instance(problem)
    shift, jobs = instance.shifts[number], [instance.jobs[job] for job in order]
    if any(instance.forbids(job, shift) for job in jobs):
        return instance, shift, jobs, None
    return instance, shift, jobs, Evaluator(instance).timed(shift, tuple(order))


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days())
def test_what_the_evaluator_allows_keeps_every_rule_and_costs_what_the_checker_says(
    drawn: tuple[Problem, int, list[int]],
) -> None:
    problem, number, order = drawn
    instance, shift, jobs, timed = exact(problem, number, order)
    if timed is None:
        return
    row = round_of(instance, shift, timed)
    left = tuple(Unserved(job.visit.id, "waits", "") for job in instance.jobs if job not in jobs)
    assert check(problem, Plan((row,), left, score_of(instance, (row,), left))) == []


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days(), st.data())
def test_what_keeps_every_rule_is_allowed_by_the_evaluator(
    drawn: tuple[Problem, int, list[int]], data: st.DataObject
) -> None:
    """A day timed any which way: where the checker finds no rule broken, the evaluator knows a way too."""
    problem, number, order = drawn
    instance, shift, jobs, timed = exact(problem, number, order)
    row = any_which_way(instance, shift, jobs, data)
    if rules(problem, row):
        return
    event("keeps every rule")
    assert timed is not None


def any_which_way(instance: Instance, shift: Shift, jobs: list[Job], data: st.DataObject) -> Round:
    """Leave when chance says, wait where it says, rest where it says, whatever the rules."""
    waits = data.draw(st.lists(st.sampled_from([0, 0, 0, 15, 60, 150]), min_size=len(jobs) + 1, max_size=len(jobs) + 1))
    rest_before = data.draw(st.integers(0, len(jobs)))
    now = leave = moment(shift.opens, "UTC") + waits[0] * MINUTE
    here, stops, pauses = shift.start, [], []
    for number, job in enumerate(jobs):
        seconds, metres = instance.travel.drive(here, job.place)
        now = arrive = now + timedelta(seconds=seconds)
        if shift.breaks and rest_before == number:
            pauses.append(Pause(now, shift.breaks[0].seconds))
            now += timedelta(seconds=shift.breaks[0].seconds)
        begin = now + waits[number + 1] * MINUTE
        now, here = begin + timedelta(seconds=job.duration), job.place
        stops.append(Stop(job.visit.id, job.place, seconds, metres, arrive, begin, now))
    seconds, metres = instance.travel.drive(here, shift.end)
    back = now + timedelta(seconds=seconds)
    return Round(
        technician=shift.who.id,
        date=shift.day.date,
        leave=leave,
        back=back,
        stops=tuple(stops),
        pauses=tuple(pauses),
        back_travel_s=seconds,
        back_distance_m=metres,
        overtime_s=0,
        night_s=0,
        cost=Decimal(0),
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ruled_problems(), st.data())
def test_order_of_the_input_does_not_change_what_the_checker_finds(problem: Problem, data: st.DataObject) -> None:
    plan = solve(problem, iterations=5)
    spoilt = replace(plan, score=replace(plan.score, distance_m=1), rounds=plan.rounds[:1])
    mixed = replace(
        problem,
        places=tuple(data.draw(st.permutations(problem.places))),
        technicians=tuple(data.draw(st.permutations(problem.technicians))),
        visits=tuple(data.draw(st.permutations(problem.visits))),
    )
    assert check(mixed, plan) == check(problem, plan) == []
    assert sorted(check(mixed, spoilt)) == sorted(check(problem, spoilt))


@st.composite
def tied_problems(draw: st.DrawFn) -> Problem:
    """With gaps, a shared machine, people for two, a fixed visit and little rest between a late and an early day."""
    problem = draw(ruled_problems())
    names = [visit.id for visit in problem.visits]
    pairs = [(one, other) for one in names for other in names if one < other]
    gaps = draw(st.lists(st.sampled_from(pairs), max_size=2, unique=True)) if pairs else []
    who = problem.technicians[0]
    late = replace(who.days[0], opens=at("13:00"), closes=at("21:00"), breaks=())
    early = replace(who.days[1], opens=at("06:00", TUESDAY), closes=at("14:00", TUESDAY))
    if draw(st.booleans()):
        problem = replace(problem, technicians=(replace(who, days=(late, early)), *problem.technicians[1:]))
    fixed = st.sampled_from([None, None, None, Fixed(date=MONDAY), Fixed("t1"), Fixed("t1", TUESDAY)])
    visits = tuple(
        replace(
            visit,
            things=draw(st.sampled_from([(), (), ("lift",)])),
            crew=draw(st.sampled_from([None, None, None, Crew(2, visit.duration_s)])),
            fixed=draw(fixed),
        )
        for visit in problem.visits
    )
    night = Overnight("t1", MONDAY, "d", Decimal(5))
    return replace(
        problem,
        visits=visits,
        gaps=tuple(Gap(one, other, 1) for one, other in gaps),
        things=(Thing("lift"),),
        overnights=draw(st.sampled_from([(), (night,)])),
    )


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(tied_problems(), st.integers(1, 9))
def test_no_plan_breaks_a_hard_rule(problem: Problem, seed: int) -> None:
    plan = solve(problem, iterations=20, seed=seed)
    assert check(problem, plan) == []
    assert plan == solve(problem, iterations=20, seed=seed)
