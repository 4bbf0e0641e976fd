"""In which weekday and which week of its cycle each agreement should sit, so that weeks balance and neighbours meet.

A ``Look`` ahead holds the calls of every agreement over some weeks, for each slot it could sit in, with holidays and
closures already seen to, and the working hours of the people day by day, leave already taken off. ``smooth`` moves
calls between their slots by a plain local search: the same look gives the same answer, in whatever order it is
written. Days are numbered from the first Monday of the look (0); an occurrence moved off a holiday may lie before it.
Seconds, metres, money of the firm.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from servicedesk.planner.cadence_rounds import Driven, Table, drive_day

SAME_AREA_S = 3600  # homes within an hour's drive of each other serve one area
MAX_PASSES = 20
SWAPS_WITH = 20
BETTER = 1e-6
WEEK = 7
Progress = Callable[[float], bool]


@dataclass(frozen=True, slots=True, order=True)
class Slot:
    """A weekday (0 is Monday) and a week of the cycle, counted in weeks from Monday 1 January of the year 1."""

    weekday: int
    phase: int = 0


@dataclass(frozen=True, slots=True)
class Option:
    """What a slot means over the look: the days of the calls, and how many the agreement leaves out."""

    slot: Slot
    days: tuple[int, ...]
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class Call:
    """An agreement's calls. ``options[0]`` is where it sits now; with no other it stays there."""

    id: str
    place: int
    service_s: int
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Base:
    """A person's home with the seconds they work on each day; a day that is absent is a day off."""

    id: str
    place: int
    hours: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Prices:
    """``uneven``: what an hour too much on a day costs where it doubles the day, as a share of a paid hour.

    ``change``: what it must save at least to trouble a client with another day. The last three are guesses.
    """

    hour: float = 32.0
    over_factor: float = 1.5
    km: float = 0.42
    uneven: float = 0.5
    change: float = 25.0
    left_out: float = 150.0


@dataclass(frozen=True, slots=True)
class Look:
    """``seconds`` and ``metres`` from place to place; ``calls`` and ``bases`` name places by row."""

    weeks: int
    calls: tuple[Call, ...]
    bases: tuple[Base, ...]
    seconds: Table
    metres: Table
    prices: Prices = Prices()


@dataclass(frozen=True, slots=True)
class Move:
    """A call that should sit elsewhere. ``alone``: saved were it the only move; ``within``: lost were it left out."""

    call: str
    slot: Slot
    alone: Driven
    within: Driven


@dataclass(frozen=True, slots=True)
class WeekFigures:
    """A week as it is and as proposed: drives, seconds on site, and seconds the people have."""

    week: int
    available_s: int
    now: Driven
    proposed: Driven
    service_now_s: int
    service_proposed_s: int


@dataclass(frozen=True, slots=True)
class Smoothed:
    moves: tuple[Move, ...]
    weeks: tuple[WeekFigures, ...]
    stopped: bool = False

    @property
    def saved(self) -> Driven:
        """Driving of all weeks together, now less proposed."""
        return _less(_sum(week.now for week in self.weeks), _sum(week.proposed for week in self.weeks))


def smooth(look: Look, progress: Progress = lambda _share: False) -> Smoothed:
    """Propose slots. ``progress`` is told the share done; True ends the search with what was found."""
    calls = tuple(sorted(look.calls, key=lambda call: call.id))
    bases = tuple(sorted(look.bases, key=lambda base: base.id))
    if not calls or not bases:
        return Smoothed((), ())
    search = _Search(Look(look.weeks, calls, bases, look.seconds, look.metres, look.prices))
    stopped = search.run(progress)
    search.prune()
    return search.answer(stopped=stopped)


def areas_of(look: Look) -> list[int]:
    """The area of each base: homes within an hour of each other, in a chain, share one."""
    area = list(range(len(look.bases)))
    for i, one in enumerate(look.bases):
        for j, other in enumerate(look.bases[:i]):
            apart = min(look.seconds[one.place][other.place], look.seconds[other.place][one.place])
            if apart <= SAME_AREA_S and area[i] != area[j]:
                old, new = max(area[i], area[j]), min(area[i], area[j])
                area = [new if value == old else value for value in area]
    return area


@dataclass(slots=True)
class _Area:
    """One area's people: where they live, what they work each day, and the fair share of the load a day has.

    ``fullness``: how much of the hours is taken up; where there is time enough, uneven days trouble nobody.
    """

    bases: list[Base]
    hours: dict[int, int] = field(default_factory=dict)
    target: dict[int, float] = field(default_factory=dict)
    usual_s: float = 1.0
    fullness: float = 0.0


class _Search:
    """The state of the search: which option each call takes, and the calls on each day of each area."""

    def __init__(self, look: Look) -> None:
        self.look, self.prices = look, look.prices
        self.chosen = [0] * len(look.calls)
        self._areas()
        self.on: dict[tuple[int, int], list[int]] = defaultdict(list)
        for number in range(len(look.calls)):
            for day in self._days(number):
                self.on[self.area[number], day].append(number)
        self._near: dict[tuple[int, int], float] = {}
        self._driven: dict[tuple[int, int, tuple[int, ...]], Driven] = {}
        self._priced: dict[tuple[int, int, tuple[int, ...]], float] = {}
        for number, area in self.areas.items():
            self._share_out(number, area)

    def _areas(self) -> None:
        look = self.look
        of_base = areas_of(look)
        self.areas: dict[int, _Area] = {}
        for base, number in zip(look.bases, of_base, strict=True):
            self.areas.setdefault(number, _Area([])).bases.append(base)
        for row in self.areas.values():
            for base in row.bases:
                for day, seconds in base.hours.items():
                    row.hours[day] = row.hours.get(day, 0) + seconds
        self.area, self.away = [], []
        for call in look.calls:
            legs = [self._there_and_back(base.place, call.place) for base in look.bases]
            nearest = min(range(len(legs)), key=lambda index: (legs[index], index))
            self.area.append(of_base[nearest])
            self.away.append(legs[nearest])

    def _leg(self, one: int, other: int) -> float:
        """Money for a drive."""
        look, prices = self.look, self.prices
        return look.seconds[one][other] * prices.hour / 3600 + look.metres[one][other] * prices.km / 1000

    def _there_and_back(self, one: int, other: int) -> float:
        return self._leg(one, other) + self._leg(other, one)

    def _share_out(self, number: int, area: _Area) -> None:
        """Each day's fair share of the area's load: by the hours its people work."""
        load = sum(
            self.look.calls[n].service_s + self.away[n] / 2 * 3600 / max(self.prices.hour, 1)
            for n in range(len(self.area))
            if self.area[n] == number
            for _day in self._days(n)
        )
        days = range(self.look.weeks * WEEK)
        have = sum(area.hours.get(day, 0) for day in days)
        share = load / have if have else 0.0
        area.fullness = min(share, 1.0)
        area.target = {day: area.hours.get(day, 0) * share for day in days}
        busy = [value for value in area.target.values() if value > 0]
        area.usual_s = max(sum(busy) / len(busy), 1.0) if busy else 1.0

    def _days(self, number: int, option: int | None = None) -> tuple[int, ...]:
        chosen = self.chosen[number] if option is None else option
        return self.look.calls[number].options[chosen].days

    # The cost the search goes by: the nearer the neighbours of a day the less driving, the evener the less strain.

    def _saving(self, one: int, other: int) -> float:
        """What it spares to drive on from one call to the other instead of from home."""
        key = (one, other) if one < other else (other, one)
        found = self._near.get(key)
        if found is None:
            here, there = self.look.calls[one].place, self.look.calls[other].place
            found = self._near[key] = max(
                (self.away[one] + self.away[other] - self._there_and_back(here, there)) / 2, 0.0
            )
        return found

    def _day_cost(self, area: int, day: int, numbers: Iterable[int]) -> float:
        calls = tuple(sorted(numbers))
        key = (area, day if day in self.areas[area].hours else -1_000, calls)
        if key not in self._priced:
            self._priced[key] = self._day_cost_fresh(area, day, calls)
        return self._priced[key]

    def _day_cost_fresh(self, area: int, day: int, calls: tuple[int, ...]) -> float:
        drive = 0.0
        for one in calls:
            first = second = 0.0
            for other in calls:
                if other != one:
                    spared = self._saving(one, other)
                    if spared > first:
                        first, second = spared, first
                    elif spared > second:
                        second = spared
            drive += self.away[one] - (first + second) / 2
        load = sum(self.look.calls[one].service_s for one in calls) + drive * 3600 / max(self.prices.hour, 1) / 2
        return drive + self._strain(self.areas[area], day, load)

    def _strain(self, area: _Area, day: int, load_s: float) -> float:
        """Uneven and too long days, in money; the strain of a day grows with the square of what it is off."""
        off = (load_s - area.target.get(day, 0.0)) / area.usual_s
        over_h = max(load_s - area.hours.get(day, 0), 0.0) / 3600
        prices = self.prices
        uneven = prices.uneven * area.fullness * prices.hour * off * off * area.usual_s / 3600
        return uneven + prices.over_factor * prices.hour * over_h

    def _own_cost(self, number: int, option: int) -> float:
        call = self.look.calls[number]
        return (self.prices.change if option else 0.0) + call.options[option].left_out * self.prices.left_out

    def _rise(self, changes: Mapping[int, int]) -> float:
        """What it costs more if these calls take these options."""
        gone: dict[tuple[int, int], Counter[int]] = defaultdict(Counter)
        rise = 0.0
        for number, option in changes.items():
            area = self.area[number]
            for day in self._days(number):
                gone[area, day][number] -= 1
            for day in self._days(number, option):
                gone[area, day][number] += 1
            rise += self._own_cost(number, option) - self._own_cost(number, self.chosen[number])
        for (area, day), counts in gone.items():
            before = self.on.get((area, day), [])
            after = list((Counter(before) + Counter({n: c for n, c in counts.items() if c > 0})).elements())
            for number, count in counts.items():
                for _time in range(-count):
                    after.remove(number)
            if after != before:
                rise += self._day_cost(area, day, after) - self._day_cost(area, day, before)
        return rise

    def _take(self, changes: Mapping[int, int]) -> None:
        for number, option in changes.items():
            for day in self._days(number):
                self.on[self.area[number], day].remove(number)
            self.chosen[number] = option
            for day in self._days(number):
                self.on[self.area[number], day].append(number)

    def run(self, progress: Progress) -> bool:
        """Move calls one by one as long as it gets better, then let two swap slots; True if asked to stop."""
        movable = [n for n, call in enumerate(self.look.calls) if len(call.options) > 1]
        swapping = False
        for number_of_pass in range(MAX_PASSES):
            better = False
            for index, number in enumerate(movable):
                if progress(min((number_of_pass + index / len(movable)) / 5, 0.99)):
                    return True
                changes = self._best_swap(number, movable) if swapping else self._best_move(number)
                if changes:
                    self._take(changes)
                    better = True
            if not better and swapping:
                return False
            swapping = not better
        return False

    def _best_move(self, number: int) -> dict[int, int]:
        rises = [
            (self._rise({number: option}), option)
            for option in range(len(self.look.calls[number].options))
            if option != self.chosen[number]
        ]
        rise, option = min(rises)
        return {number: option} if rise < -BETTER else {}

    def _best_swap(self, number: int, movable: Sequence[int]) -> dict[int, int]:
        """Into the slot of a call nearby that takes this one's."""
        best, found = -BETTER, {}
        options = self.look.calls[number].options
        here = options[self.chosen[number]].slot
        for other in self._nearest(number, movable):
            theirs = self.look.calls[other].options
            there = theirs[self.chosen[other]].slot
            mine = next((i for i, option in enumerate(options) if option.slot == there), None)
            their = next((i for i, option in enumerate(theirs) if option.slot == here), None)
            if there == here or mine is None or their is None:
                continue
            rise = self._rise({number: mine, other: their})
            if rise < best:
                best, found = rise, {number: mine, other: their}
        return found

    def _nearest(self, number: int, movable: Sequence[int]) -> list[int]:
        others = [other for other in movable if other != number and self.area[other] == self.area[number]]
        return sorted(others, key=lambda other: (-self._saving(number, other), other))[:SWAPS_WITH]

    # What is told: rounds driven day by day.

    def _rounds(self, area: int, day: int) -> Driven:
        calls = tuple(sorted(self.on.get((area, day), ())))
        key = (area, day, calls)
        if key not in self._driven:
            look, people = self.look, self.areas[area].bases
            self._driven[key] = drive_day(
                [(look.calls[n].place, look.calls[n].service_s) for n in calls],
                [(base.place, base.hours.get(day, 0)) for base in people],
                look.seconds,
                look.metres,
            )
        return self._driven[key]

    def _total(self, keys: Iterable[tuple[int, int]]) -> Driven:
        return _sum(self._rounds(*key) for key in sorted(set(keys)))

    def _money(self, driven: Driven) -> float:
        prices = self.prices
        return (
            driven.seconds * prices.hour / 3600
            + driven.metres * prices.km / 1000
            + driven.over_s * prices.hour * prices.over_factor / 3600
        )

    def _touched(self, number: int, *options: int) -> set[tuple[int, int]]:
        return {(self.area[number], day) for option in options for day in self._days(number, option)}

    def prune(self) -> None:
        """Take back each move that the rounds, the evenness and the trouble together do not bear out."""
        for number, option in enumerate(list(self.chosen)):
            if not option:
                continue
            keys = self._touched(number, 0, option)
            with_it = self._money(self._total(keys)) + sum(self._strain_of(*key) for key in keys)
            with_it += self._own_cost(number, option)
            self._take({number: 0})
            without = self._money(self._total(keys)) + sum(self._strain_of(*key) for key in keys)
            without += self._own_cost(number, 0)
            if with_it < without - BETTER:
                self._take({number: option})
        self._keep_if_better()

    def _keep_if_better(self) -> None:
        """All that is left must beat what there is, or nothing is proposed."""
        proposed = {number: option for number, option in enumerate(self.chosen) if option}
        if not proposed:
            return
        after = self._whole_price()
        self._take(dict.fromkeys(proposed, 0))
        if after < self._whole_price() - BETTER:
            self._take(proposed)

    def _whole_price(self) -> float:
        keys = {(area, day) for area in self.areas for day in range(self.look.weeks * WEEK)} | set(self.on)
        own = sum(self._own_cost(number, option) for number, option in enumerate(self.chosen))
        return self._money(self._total(keys)) + sum(self._strain_of(*key) for key in sorted(keys)) + own

    def _strain_of(self, area: int, day: int) -> float:
        """Unevenness alone; too long days are in the price of the rounds."""
        row, calls = self.areas[area], self.on.get((area, day), ())
        load = sum(self.look.calls[n].service_s for n in calls) + self._rounds(area, day).seconds
        off = (load - row.target.get(day, 0.0)) / row.usual_s
        return self.prices.uneven * row.fullness * self.prices.hour * off * off * row.usual_s / 3600

    def answer(self, *, stopped: bool) -> Smoothed:
        proposed = list(self.chosen)
        within = {n: self._saved_by(n, option) for n, option in enumerate(proposed) if option}
        after = self._figures()
        self._take(dict.fromkeys(within, 0))
        alone: dict[int, Driven] = {}
        for number in within:
            self._take({number: proposed[number]})
            alone[number] = self._saved_by(number, proposed[number])
            self._take({number: 0})
        before = self._figures()
        calls = self.look.calls
        moves = tuple(
            Move(calls[n].id, calls[n].options[proposed[n]].slot, alone[n], within[n]) for n in sorted(within)
        )
        weeks = tuple(
            WeekFigures(week, self._available(week), before[week][0], after[week][0], before[week][1], after[week][1])
            for week in range(self.look.weeks)
        )
        return Smoothed(moves, weeks, stopped)

    def _saved_by(self, number: int, option: int) -> Driven:
        """What a move saves as things stand: driving without it less driving with it."""
        keys = self._touched(number, 0, option)
        with_it = self._total(keys)
        self._take({number: 0})
        without = self._total(keys)
        self._take({number: option})
        return _less(without, with_it)

    def _figures(self) -> list[tuple[Driven, int]]:
        weeks = [(Driven(), 0) for _week in range(self.look.weeks)]
        for (area, day), calls in sorted(self.on.items()):
            week = min(max(day // WEEK, 0), self.look.weeks - 1)  # moved off a holiday at the edge
            driven, service = weeks[week]
            weeks[week] = (
                driven + self._rounds(area, day), service + sum(self.look.calls[n].service_s for n in calls)
            )  # fmt: skip
        return weeks

    def _available(self, week: int) -> int:
        days = range(week * WEEK, (week + 1) * WEEK)
        return sum(area.hours.get(day, 0) for area in self.areas.values() for day in days)


def _sum(rows: Iterable[Driven]) -> Driven:
    total = Driven()
    for row in rows:
        total += row
    return total


def _less(one: Driven, other: Driven) -> Driven:
    return Driven(
        one.seconds - other.seconds,
        one.metres - other.metres,
        one.rounds - other.rounds,
        one.over_s - other.over_s,
    )
