"""Plans and publishes a week with the planner itself, so that everyone on duty has a round."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from servicedesk.common.ids import new_id
from servicedesk.people.models import Technician, User
from servicedesk.routes.crews import linked, pairs_in, visit_of
from servicedesk.routes.models import PlanRun, WeekPlan
from servicedesk.routes.planning import WeekProblem, week_problem
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.services.publishing import week_publish
from servicedesk.routes.services.solving import solved_store
from servicedesk.routes.services.storing import rounds_store
from servicedesk.routes.services.versions import plan_changed, plan_open
from servicedesk.routes.times import Week
from servicedesk.setup.demo.world import Place, World
from servicedesk.visits.models import Visit
from servicedesk.visits.services.schedule import visit_create_extra

TRIES = 60
NO_HURRY_S = 10**9  # the search ends by its number of tries, so that the same seed gives the same plan
EXTRA_MIN = 45
ASKED = (
    "Look at the top-off switch, the client heard it click",
    "A fish hides since yesterday: look and test",
    "The return pump hums: listen, clean the inlet",
)
Key = tuple[int, date]


def week_make(world: World, week: Week) -> WeekPlan:
    """A week planned on the Friday before, and published."""
    planner, plan = world.first_with("planner"), plan_open(week)
    technicians = {row.pk: row for row in technicians_between(week.monday, week.sunday)}
    problem = week_problem(week, plan, technicians, today=week.monday)
    solved = problem.solve(NO_HURRY_S, world.size.seed, lambda _share, _words: False, iterations=TRIES)
    run = PlanRun.objects.create(plan=plan, state=PlanRun.State.RUNNING, seed=world.size.seed, requested_by=planner)
    solved_store(run=run, week=week, seen_version=plan.version, technicians=technicians, solved=solved)
    plan.refresh_from_db()
    if world.size.today in week.days:
        _busy_today(world, week, plan, technicians)
        plan_changed(plan, actor=planner, words="The week was planned.")
    week_publish(week=week, version=plan.version, actor=planner)
    friday = datetime.combine(week.monday - timedelta(days=3), time(15, 40), tzinfo=ZoneInfo("America/Chicago"))
    WeekPlan.objects.filter(pk=plan.pk).update(published_at=friday, changed_at=friday)
    PlanRun.objects.filter(plan=plan).update(ended_at=friday, heartbeat_at=friday)
    return plan


def _busy_today(world: World, week: Week, plan: WeekPlan, technicians: dict[int, Technician]) -> None:
    """Whoever works today gets at least one call: one from another day of the week, else an extra one."""
    today = world.size.today
    problem = week_problem(week, plan, technicians, today=week.monday)
    orders = {key: list(order) for key, order in problem.data.orders.items()}
    changed: set[Key] = set()
    for key in sorted(problem.data.shifts):
        if key[1] != today or orders.get(key):
            continue
        moved = _bring_forward(problem, orders, key, week) or _ask_extra(world, week, plan, technicians, key, orders)
        if moved is not None:
            changed |= {key, *moved}
    if changed:
        problem = week_problem(week, plan, technicians, today=week.monday)
        timed = problem.together(orders)
        rounds_store(
            plan, technicians, {key: timed[key] for key in linked(changed, pairs_in(orders).values())}, frozenset()
        )


def _bring_forward(problem: WeekProblem, orders: dict[Key, list[str]], key: Key, week: Week) -> set[Key] | None:
    """Take a call of a fuller day that may be done today as well."""
    others = sorted(
        (other for other, order in orders.items() if other[1] > key[1] and len(order) > 1),
        key=lambda other: (other[0] != key[0], -len(orders[other])),
    )
    for other in others:
        for pk in orders[other]:
            if problem.data.visits[pk].crew_s:
                continue
            timed = problem.timed(key, [pk])
            if timed.stops and not timed.hard and not problem.too_near(key, pk):
                orders[other].remove(pk)
                orders[key] = [pk]
                return {other}
    return None


def _ask_extra(
    world: World, week: Week, plan: WeekPlan, technicians: dict[int, Technician], key: Key, orders: dict[Key, list[str]]
) -> set[Key] | None:
    """An extra call today at a site of the technician's own store."""
    planner = world.first_with("planner")
    called = {visit.site_id for visit in Visit.objects.filter(pk__in=_placed(orders, key[1]))}
    for place in [place for place in _places_near(world, technicians[key[0]]) if place.site.pk not in called][:4]:
        visit = _extra(place, key[1], planner)
        problem = week_problem(week, plan, technicians, wanted=visit, today=week.monday)
        if problem.timed(key, [str(visit.pk)]).stops and not problem.timed(key, [str(visit.pk)]).hard:
            orders[key] = [str(visit.pk)]
            return set()
        Visit.objects.filter(pk=visit.pk).update(state=Visit.State.CANCELLED, due_why="the site cannot take us today")
    return None


def _placed(orders: dict[Key, list[str]], day: date) -> list[str]:
    return [visit_of(call) for key, order in orders.items() if key[1] == day for call in order]


def _places_near(world: World, technician: Technician) -> list[Place]:
    """Sites open on most days first."""
    depot = next(key for key, row in world.depots.items() if row.pk == technician.depot_id)
    order = ("hotel", "restaurant", "museum", "home")
    places = [place for place in world.places if place.depot == depot]
    return sorted(places, key=lambda place: order.index(place.windows) if place.windows in order else len(order))


def _extra(place: Place, day: date, planner: User) -> Visit:
    return visit_create_extra(
        visit_id=new_id(),
        site=place.site,
        kind=Visit.Kind.EXTRA,
        due_on=day,
        latest_on=day,
        duration_min=EXTRA_MIN,
        task=ASKED[place.site.pk % len(ASKED)],
        installations=[place.systems[0].installation],
        actor=planner,
    )
