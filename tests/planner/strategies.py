"""Problems drawn at random for the laws that hold of every plan."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from hypothesis import strategies as st

from servicedesk.planner.problem import Permission, Problem, Promise, Van, Visit
from tests.planner.cast import MONDAY, TUESDAY, a_break, a_day, a_problem, a_technician, a_visit, a_window, at

PLACES = ("a", "b", "c", "d")

windows = st.tuples(st.integers(7, 14), st.integers(2, 8)).map(
    lambda row: (a_window(f"{row[0]:02}:00", f"{row[0] + row[1]:02}:00"), a_window("08:00", "16:00", TUESDAY))
)


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Two people, two days, up to seven visits with windows, loads, badges, promises and due dates."""
    visits: list[Visit] = []
    for number in range(draw(st.integers(1, 7))):
        visit = a_visit(f"v{number}", draw(st.sampled_from(PLACES)), draw(st.sampled_from([20, 45, 90, 150])))
        visits.append(
            replace(
                visit,
                windows=draw(st.none() | windows),
                load_l=draw(st.sampled_from([0.0, 0.0, 120.0])),
                needs=draw(st.sampled_from([(), (), ("badge",)])),
                due_on=draw(st.sampled_from([None, MONDAY, date(2026, 12, 4)])),
                late_cost_per_day=Decimal(15),
                prefers=draw(st.sampled_from([None, "t2"])),
                not_preferred_cost=Decimal(10),
                promise=draw(st.none() | st.just(Promise(at("10:00"), cost=Decimal(40)))),
            )
        )
    badge = Permission("badge", date(2026, 1, 1), MONDAY)
    days = (a_day(MONDAY, max_overtime_s=3600, breaks=(a_break(),)), a_day(TUESDAY))
    people = (
        a_technician("t1", days=days, van=Van(350, 250), permissions=(badge,)),
        a_technician("t2", days=days[:1], van=Van(150, 100)),
    )
    return a_problem(*visits, people=people)
