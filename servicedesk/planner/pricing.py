"""What an order of jobs costs, fast: the sums of ``evaluate`` on plain numbers, without building a single object.

The search prices millions of orders and keeps few. This says what ``Evaluator.timed`` would say, for days of at most
one break (others are handed to it), and is tested against it. A reload at the store is a job of its own here, numbered
after all visits.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from servicedesk.planner.evaluate import INFINITE, Evaluator, reload_choices, visit_cost, with_patience
from servicedesk.planner.instance import Instance, Job, Shift, Span

Spans = tuple[Span, ...]
ALWAYS: Spans = ((-INFINITE, INFINITE),)
Priced = tuple[int, int, int, int, int]  # cost, leave, back, overtime, seconds of breaks taken


@dataclass(slots=True)
class DayData:
    """A shift in numbers. ``flat``: a job's own cost where its hour does not matter; ``varying``: where it does."""

    shift: Shift
    start: int
    end: int
    normal: int
    most_overtime: int
    nights: tuple[Span, ...]
    pause: tuple[int, int, int, bool] | None
    reload: int | None
    spans: dict[int, Spans] = field(default_factory=dict)
    patient: dict[int, Spans] = field(default_factory=dict)  # as spans, but nobody begins before a promised hour
    flat: dict[int, int] = field(default_factory=dict)
    least: dict[int, int] = field(default_factory=dict)
    varying: set[int] = field(default_factory=set)
    promised: set[int] = field(default_factory=set)  # jobs whose patient spans are others


class Pricer:
    """Prices orders of jobs on shifts; None where a hard rule forbids the order."""

    def __init__(self, instance: Instance, evaluator: Evaluator) -> None:
        self.instance, self.evaluator = instance, evaluator
        travel = instance.travel
        self.seconds, self.metres = travel.seconds, travel.metres
        self.place = [travel.number[job.place] for job in instance.jobs]
        self.duration = [job.duration for job in instance.jobs]
        self._reloads: dict[tuple[str, int], int] = {}
        self.days = [self._day(shift) for shift in instance.shifts]

    def _day(self, shift: Shift) -> DayData:
        number, day = self.instance.travel.number, shift.day
        pauses = [(row.seconds, row.earliest, row.latest, row.paid) for row in shift.breaks]
        return DayData(
            shift=shift,
            start=number[shift.start],
            end=number[shift.end],
            normal=INFINITE if day.normal_s is None else day.normal_s,
            most_overtime=day.max_overtime_s,
            nights=tuple(row for row in shift.nights if row[0] < shift.limit and row[1] > shift.opens),
            pause=pauses[0] if pauses else None,
            reload=self._reload(shift) if shift.depot is not None else None,
        )

    def _reload(self, shift: Shift) -> int:
        key = (shift.depot or "", shift.reload_s)
        if key not in self._reloads:
            self._reloads[key] = self._append(self.instance.take_number(), key[0], key[1])
        return self._reloads[key]

    def learn(self, job: Job) -> None:
        """Make room for a job made after the others."""
        self._append(job.index, job.place, job.duration)

    def _append(self, number: int, place: str, duration: int) -> int:
        if number != len(self.place):
            raise ValueError(f"job {number} is not the next one, {len(self.place)}")
        self.place.append(self.instance.travel.number[place])
        self.duration.append(duration)
        return number

    def admit(self, job: Job, at: int) -> None:
        """Make a job known to a shift that may do it."""
        day = self.days[at]
        spans = self.instance.spans(job, day.shift)
        patient = with_patience(job, spans)
        day.spans[job.index], day.patient[job.index] = spans, patient
        if patient != spans:
            day.promised.add(job.index)
        promise, due = job.promise, job.due_midnight
        if promise is None and (not job.late or due is None or spans[-1][1] < due):
            day.flat[job.index] = day.least[job.index] = visit_cost(day.shift, job, spans[0][0])
            return
        ends = [visit_cost(day.shift, job, at) for span in spans for at in span]
        cheapest = min(ends)
        if promise is not None and any(low <= promise[1] and promise[0] <= high for low, high in spans):
            inside = [max(low, promise[0]) for low, high in spans if low <= promise[1] and promise[0] <= high]
            cheapest = min([cheapest, *(visit_cost(day.shift, job, at) for at in inside)])
            day.varying.add(job.index)
        if len(set(ends)) > 1:
            day.varying.add(job.index)
        day.flat[job.index], day.least[job.index] = ends[0], cheapest

    def price(self, at: int, order: Sequence[int], *, light: bool = False) -> Priced | None:
        """The order's price on a shift. ``light``: its loads are known to need no reload."""
        day = self.days[at]
        if len(day.shift.breaks) > 1:
            return self._exact(day, order)
        if light:
            return self._cheaper_patience(day, order)
        best: Priced | None = None
        for nodes in self._with_reloads(day, order):
            found = self._cheaper_patience(day, nodes)
            if found is not None and (best is None or found[0] < best[0]):
                best = found
        return best

    def _exact(self, day: DayData, order: Sequence[int]) -> Priced | None:
        found = self.evaluator.timed(day.shift, tuple(order))
        if found is None:
            return None
        return found.cost, found.leave, found.back, found.overtime, sum(seconds for _begin, seconds in found.pauses)

    def _with_reloads(self, day: DayData, order: Sequence[int]) -> Iterator[Sequence[int]]:
        for places in reload_choices(day.shift, [self.instance.rows[job] for job in order]):
            if not places or day.reload is None:
                yield order
                continue
            nodes: list[int] = []
            for place, job in enumerate(order):
                nodes += (day.reload, job) if place in places else (job,)
            yield nodes

    def _cheaper_patience(self, day: DayData, nodes: Sequence[int]) -> Priced | None:
        found = self._timed(day, nodes, day.spans)
        if day.promised and not day.promised.isdisjoint(nodes):
            other = self._timed(day, nodes, day.patient)
            if other is not None and (found is None or other[0] < found[0]):
                return other
        return found

    def _timed(self, day: DayData, nodes: Sequence[int], spans: dict[int, Spans]) -> Priced | None:
        if day.pause is not None:
            return self._timed_with_break(day, nodes, spans, day.pause)
        place, duration = self.place, self.duration
        at, here, row = day.shift.opens, day.start, self.seconds[day.start]
        drives, lasts, high = [], [], 0
        for job in nodes:
            here = place[job]
            drive = row[here]
            at += drive
            for low, high in spans.get(job, ALWAYS):
                if at <= high:
                    if at < low:
                        at = low
                    break
            else:
                return None
            at += duration[job]
            drives.append(drive)
            lasts.append(high)
            row = self.seconds[here]
        home = row[day.end]
        if at + home > day.shift.limit:
            return None
        return self._priced(day, nodes, spans, drives, lasts, at, home, -1, False)

    def _timed_with_break(
        self, day: DayData, nodes: Sequence[int], spans: dict[int, Spans], pause: tuple[int, int, int, bool]
    ) -> Priced | None:
        """Two days run side by side: ``free`` with the break still due, ``done`` with it taken or fallen away."""
        length, earliest, latest, _paid = pause
        place, duration, limit = self.place, self.duration, day.shift.limit
        free, done = day.shift.opens, max(day.shift.opens, latest)
        row = self.seconds[day.start]
        drives: list[int] = []
        free_lasts: list[int] = []
        done_lasts: list[int] = []
        taken, after, top = -1, False, 0
        for number, job in enumerate(nodes):
            here = place[job]
            drive, work = row[here], duration[job]
            row = self.seconds[here]
            drives.append(drive)
            windows = spans.get(job, ALWAYS)
            next_free = next_done = INFINITE
            top = done_top = how = 0
            if free < INFINITE:
                at = free + drive
                for low, high in windows:
                    if at <= high:
                        next_free, top = (at if at > low else low) + work, high
                        break
                if next_free > limit:
                    next_free = INFINITE
                begin = at if at > earliest else earliest
                if begin <= latest:
                    begin += length
                    for low, high in windows:
                        if begin <= high:
                            next_done, done_top, how = (begin if begin > low else low) + work, high, 1
                            break
                    if next_done > limit:
                        next_done = INFINITE
            if done < INFINITE:
                at = done + drive
                for low, high in windows:
                    if at <= high:
                        at = (at if at > low else low) + work
                        if at < next_done and at <= limit:
                            next_done, done_top, how = at, high, 2
                        break
            if next_free < INFINITE:
                begin = next_free if next_free > earliest else earliest
                if begin <= latest and begin + length < next_done and begin + length <= limit:
                    next_done, how = begin + length, 3
            if next_done < INFINITE:
                if how == 2:
                    done_lasts.append(done_top)
                else:
                    done_lasts = [*free_lasts, top if how == 3 else done_top]
                    taken, after = number, how == 3
            free_lasts.append(top)
            free = next_free if next_free <= latest else INFINITE
            done = next_done
            if free == INFINITE and done == INFINITE:
                return None
        home = row[day.end]
        best: Priced | None = None
        if free + home <= limit and free + home <= latest:
            best = self._priced(day, nodes, spans, drives, free_lasts, free, home, -1, False)
        if done + home <= limit:
            found = self._priced(day, nodes, spans, drives, done_lasts, done, home, taken, after)
            if found is not None and (best is None or found[0] < best[0]):
                return found
        return best

    def _priced(
        self,
        day: DayData,
        nodes: Sequence[int],
        spans: dict[int, Spans],
        drives: Sequence[int],
        lasts: Sequence[int],
        ready: int,
        home: int,
        taken: int,
        after: bool,
    ) -> Priced | None:
        """Back from the return to the latest departure, then the cost. ``taken``: the stop at which the break is."""
        duration, shift = self.duration, day.shift
        late, back = ready, ready + home
        for number in range(len(nodes) - 1, -1, -1):
            if number == taken and after and day.pause is not None:
                late = min(late - day.pause[0], day.pause[2])
            late -= duration[nodes[number]]
            if late > lasts[number]:
                late = lasts[number]
            if number == taken and not after and day.pause is not None:
                late = min(late - day.pause[0], day.pause[2])
            late -= drives[number]
        paused = day.pause[0] if taken >= 0 and day.pause is not None else 0
        length = back - late
        if paused and day.pause is not None and not day.pause[3]:
            length -= paused
        overtime = back - shift.closes if back > shift.closes else 0
        if length - day.normal > overtime:
            overtime = length - day.normal
        if day.normal < INFINITE and overtime > day.most_overtime:
            return None
        here, row, metres, flat = day.start, self.metres[day.start], 0, day.flat
        cost = shift.fixed
        for job in nodes:
            here = self.place[job]
            metres += row[here]
            row = self.metres[here]
            if job in flat:
                cost += flat[job]
        metres += row[day.end]
        cost += (shift.hourly * length + 1_800_000) // 3_600_000 + (shift.km * metres + 500_000) // 1_000_000
        if overtime:
            cost += (shift.overtime * overtime + 1_800_000) // 3_600_000
        for low, high in day.nights:
            if back > low and late < high:
                cost += self._night_cost(day, late, back)
                break
        if day.varying and not day.varying.isdisjoint(nodes):
            cost += self._by_the_hour(day, nodes, spans, drives, late, taken, after)
        return cost, late, back, overtime, paused

    def _night_cost(self, day: DayData, leave: int, back: int) -> int:
        night = sum(max(min(back, high) - max(leave, low), 0) for low, high in day.nights)
        return (day.shift.night * night + 1_800_000) // 3_600_000

    def _by_the_hour(
        self,
        day: DayData,
        nodes: Sequence[int],
        spans: dict[int, Spans],
        drives: Sequence[int],
        leave: int,
        taken: int,
        after: bool,
    ) -> int:
        """What the hours of beginning change in the jobs' own costs."""
        at, more = leave, 0
        for number, job in enumerate(nodes):
            at += drives[number]
            if number == taken and not after and day.pause is not None:
                at = max(at, day.pause[1]) + day.pause[0]
            for low, high in spans.get(job, ALWAYS):
                if at <= high:
                    at = at if at > low else low
                    break
            if job in day.varying:
                more += visit_cost(day.shift, self.instance.rows[job], at) - day.flat[job]
            at += self.duration[job]
            if number == taken and after and day.pause is not None:
                at = max(at, day.pause[1]) + day.pause[0]
        return more
