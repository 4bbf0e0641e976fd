"""How long the Week of 40 technicians takes on the server: the page, a move, its answer. Processor time, one core.

Not collected by default: ``pytest tests/benchmarks/week_screen.py -s``.
"""

import random
import statistics
import sys
import time as clock
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, time

import pytest
import time_machine
from django.test import Client

from servicedesk.people.models import Technician
from servicedesk.routes.planning import week_problem
from servicedesk.routes.queries.problem import Key
from servicedesk.routes.queries.round import technicians_between
from servicedesk.routes.queries.week import board
from servicedesk.routes.services.moving import visit_move
from servicedesk.routes.services.storing import rounds_store
from servicedesk.visits.models import Visit
from tests.routes.cast import WEEK, Cast, a_plan, a_site, a_technician, a_visit, the_cast

TOWNS = [(36.16, -86.78), (35.05, -85.31), (35.96, -83.92), (35.15, -90.05)]
PEOPLE, VISITS = 40, 600
MOVE_S, PAGE_S = 0.1, 1.0
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def before_the_week() -> Iterator[None]:
    with time_machine.travel(datetime(2026, 12, 3, 15, tzinfo=UTC), tick=True):
        yield


def a_full_week() -> tuple[Cast, list[Visit]]:
    """Rounds of three stops a day in four towns, a fixed draw."""
    draw, cast = random.Random(4), the_cast()
    people = [
        a_technician(
            f"P{n:02} Driver", cast.rob.depot, initials=f"P{n:02}", home_latitude=town[0] + draw.uniform(-0.2, 0.2),
            home_longitude=town[1] + draw.uniform(-0.2, 0.2),
        )
        for n, town in ((n, TOWNS[n % 4]) for n in range(PEOPLE))
    ]  # fmt: skip
    visits = []
    for n in range(VISITS):
        town = TOWNS[n % 4]
        at = (town[0] + draw.uniform(-0.25, 0.25), town[1] + draw.uniform(-0.25, 0.25))
        site = a_site(cast, f"Site {n:03}", at, [(day, time(7), time(18)) for day in range(5)])
        visits.append(a_visit(site, duration_min=draw.choice([60, 75, 90])))
    _rounds(people, visits)
    return cast, visits


def _rounds(people: list[Technician], visits: list[Visit]) -> None:
    plan = a_plan()
    technicians = {row.pk: row for row in technicians_between(WEEK.monday, WEEK.sunday)}
    problem = week_problem(WEEK, plan, technicians)
    orders: dict[Key, list[str]] = {}
    for n, visit in enumerate(visits):
        town, turn = n % 4, n // 4
        who = people[town + 4 * (turn % (PEOPLE // 4))]
        day = WEEK.days[turn // (PEOPLE // 4) % 5]
        orders.setdefault((who.pk, day), []).append(str(visit.pk))
    rounds_store(plan, technicians, {key: problem.timed(key, order) for key, order in orders.items()}, frozenset())


def seconds(act: Callable[[], object], times: int) -> float:
    rows = []
    for _ in range(times):
        began = clock.process_time()
        act()
        rows.append(clock.process_time() - began)
    return statistics.median(rows)


def test_week_of_forty_technicians(capsys: pytest.CaptureFixture[str]) -> None:
    cast, visits = a_full_week()
    client = Client()
    client.force_login(cast.planner, backend="django.contrib.auth.backends.ModelBackend")
    page = f"/week/{WEEK.year}/{WEEK.number}/"
    client.get(page)
    turn = iter(range(1000))

    def moved() -> tuple[Visit, Key, int]:
        number = next(turn)
        stop = visits[number % 20].stops.select_related("round").get()
        return visits[number % 20], (stop.round.technician_id, stop.round.date), number % 3 + 1

    def move() -> None:
        visit, key, position = moved()
        visit_move(
            week=WEEK, version=a_plan().version, visit=visit, technician_id=key[0], day=key[1], position=position,
            actor=cast.planner,
        )  # fmt: skip

    low, high = board(WEEK).span

    def drag() -> None:
        visit, key, position = moved()
        sent = {
            "version": a_plan().version, "technician": key[0], "day": key[1].isoformat(), "position": position,
            "span": f"{low}.{high}",
        }  # fmt: skip
        answer = client.post(f"{page}move/{visit.pk}/", sent, headers={"HX-Request": "true"})
        assert answer.status_code == 200

    found = {"page": seconds(lambda: client.get(page), 5), "retimed": seconds(move, 9), "drag": seconds(drag, 9)}
    with capsys.disabled():
        told = ", ".join(f"{name} {value * 1000:.0f} ms" for name, value in found.items())
        sys.stdout.write(f"\n{PEOPLE} technicians, {VISITS} visits: {told}\n")
    assert found["page"] < PAGE_S
    assert found["retimed"] < MOVE_S
    assert found["drag"] < MOVE_S * 1.5
