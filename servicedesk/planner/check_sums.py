"""The sums of a plan worked out again by the checker: what each round costs and what the score tells."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from servicedesk.planner.plan import Plan, Round, Stop
from servicedesk.planner.problem import Break, Day, Problem, Technician, Visit
from servicedesk.planner.travel import Travel

CENT = Decimal("0.01")


class Sums:
    """A problem and a plan in UTC, and what the plan comes to."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.offered = problem.overnights
        self.problem, self.plan = _away(problem, plan), plan
        self.travel = Travel(problem)
        self.zones = {place.id: ZoneInfo(place.zone) for place in problem.places}
        self.people = {row.id: row for row in self.problem.technicians}
        self.visits = {row.id: row for row in problem.visits}
        self.kept = {visit for row in problem.kept for visit in row.visits}

    def _unpaid(self, row: Round, day: Day) -> int:
        taken, _due = self._matched(row, day)
        return sum(rule.seconds for rule in taken if not rule.paid)

    def _matched(self, row: Round, day: Day) -> tuple[list[Break], list[Break]]:
        """The breaks that the pauses of a round are, in the order of the day, and those that are due and not taken.

        A break that falls away because the round begins after it or ends before it may be taken all the same.
        """
        pauses = sorted(row.pauses, key=lambda pause: pause.begin)
        taken, missing = [], []
        due = [rule for rule in day.breaks if row.leave < rule.latest < row.back]
        others = [rule for rule in day.breaks if rule not in due and row.leave <= rule.latest]
        for rule in [*sorted(due, key=lambda rule: rule.latest), *sorted(others, key=lambda rule: rule.latest)]:
            own = next(
                (p for p in pauses if p.seconds == rule.seconds and rule.earliest <= p.begin <= rule.latest), None
            )
            if own is not None:
                pauses.remove(own)
                taken.append(rule)
            elif rule in due:
                missing.append(rule)
        return taken, missing

    def _cost(self, name: str, row: Round, who: Technician, day: Day) -> Iterator[str]:
        length = seconds_of(row.back - row.leave) - self._unpaid(row, day)
        night = 0
        for span in who.night.spans if who.night else ():
            night += max(seconds_of(min(row.back, span.closes) - max(row.leave, span.opens)), 0)
        if night != row.night_s:
            yield f"{name}: {night} s lie in the night, not {row.night_s} s."
        metres = row.back_distance_m + sum(stop.distance_m for stop in row.stops)
        cost = who.hourly_cost * length / 3600 + who.hourly_cost * (who.overtime_factor - 1) * row.overtime_s / 3600
        cost += (who.night.premium_per_hour if who.night else Decimal(0)) * night / 3600
        cost += who.km_cost * metres / 1000 + day.fixed_cost
        cost += sum((self._visit_cost(stop, row) for stop in row.stops), Decimal(0))
        if abs(cost - row.cost) > CENT:
            yield f"{name}: the round costs {cost:.2f}, not {row.cost:.2f}."

    def _visit_cost(self, stop: Stop, row: Round) -> Decimal:
        visit = self.visits.get(stop.visit or "")
        if visit is None:
            return Decimal(0)
        if stop.helper:
            before = visit.before
            is_other = before is not None and before.helper is not None and (
                (before.helper, before.date) != (row.technician, row.date)
            )  # fmt: skip
            return before.moved_cost if before is not None and is_other else Decimal(0)
        cost = visit.late_cost_per_day * self._days_late(visit, stop)
        if visit.prefers not in {None, row.technician}:
            cost += visit.not_preferred_cost
        if self._is_moved(visit, row) and visit.before is not None:
            cost += visit.before.moved_cost
        if self._breaks_promise(visit, stop) and visit.promise is not None:
            cost += visit.promise.cost
        return cost

    def _days_late(self, visit: Visit, stop: Stop) -> int:
        if visit.due_on is None:
            return 0
        return max((stop.begin.astimezone(self.zones[visit.place]).date() - visit.due_on).days, 0)

    def _is_moved(self, visit: Visit, row: Round) -> bool:
        return visit.before is not None and (visit.before.technician, visit.before.date) != (row.technician, row.date)

    def _breaks_promise(self, visit: Visit, stop: Stop) -> bool:
        return visit.promise is not None and abs(stop.begin - visit.promise.at) > timedelta(
            seconds=visit.promise.tolerance_s
        )

    def _score(self) -> Iterator[str]:
        score = self.plan.score
        served = [(self.visits[stop.visit], stop, row) for row, stop in self._stops() if stop.visit in self.visits]
        skip = sum(
            (self.visits[row.visit].skip_cost for row in self.plan.unserved if row.visit in self.visits), Decimal(0)
        )
        rounds = sum((row.cost for row in self.plan.rounds), Decimal(0))
        figures: Sequence[tuple[str, Decimal | int, Decimal | int]] = (
            ("the cost", score.cost, rounds + skip),
            ("the cost of the rounds", score.rounds_cost, rounds),
            ("the cost of what is left", score.skip_cost, skip),
            ("the distance", score.distance_m, sum(_metres(row) for row in self.plan.rounds)),
            ("the hours", score.work_s, sum(seconds_of(row.back - row.leave) for row in self.plan.rounds)),
            ("the overtime", score.overtime_s, sum(row.overtime_s for row in self.plan.rounds)),
            ("the night work", score.night_s, sum(row.night_s for row in self.plan.rounds)),
            ("the lateness", score.late_days, sum(self._days_late(visit, stop) for visit, stop, _row in served)),
            ("promises broken", score.promises_broken, sum(self._breaks_promise(v, stop) for v, stop, _row in served)),
            ("visits moved", score.moved, sum(self._is_moved(visit, row) for visit, _stop, row in served)),
            ("visits left", score.unserved, len(self.plan.unserved)),
        )
        for words, told, found in figures:
            if abs(Decimal(told) - Decimal(found)) > CENT:
                yield f"The score tells {told} for {words}; it is {found}."

    def _stops(self) -> Iterator[tuple[Round, Stop]]:
        for row in self.plan.rounds:
            for stop in row.stops:
                if not stop.helper:
                    yield row, stop


def _away(problem: Problem, plan: Plan) -> Problem:
    """The problem with the days that the plan's nights away make of it."""
    ends = {(night.technician, night.date): night for night in plan.nights}
    starts = {(night.technician, night.date + timedelta(days=1)): night for night in plan.nights}

    def changed(who: str, day: Day) -> Day:
        evening, morning = ends.get((who, day.date)), starts.get((who, day.date))
        return replace(
            day,
            start=morning.place if morning else day.start,
            end=evening.place if evening else day.end,
            fixed_cost=day.fixed_cost + (evening.cost if evening else 0),
            drive_empty=day.drive_empty or bool(evening or morning),
        )

    people = (replace(who, days=tuple(changed(who.id, day) for day in who.days)) for who in problem.technicians)
    return replace(problem, technicians=tuple(people)) if plan.nights else problem


def seconds_of(span: timedelta) -> int:
    return round(span.total_seconds())


def _metres(row: Round) -> int:
    return row.back_distance_m + sum(stop.distance_m for stop in row.stops)
