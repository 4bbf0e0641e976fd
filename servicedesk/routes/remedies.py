"""What helps a round that runs late: another order, a stop for somebody else, a stop for another day, a call."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from servicedesk.routes.running import Going, Run, run

Key = tuple[int, date]
MayTake = Callable[[str, Key], bool]


@dataclass(frozen=True, slots=True)
class Remedy:
    """One choice: ``kind`` is reorder, give, later or call. ``runs``: the rounds as they would go."""

    kind: str
    visit_id: str
    position: int
    runs: dict[Key, Run]
    to: Key | None = None

    @property
    def broken(self) -> int:
        return sum(run.weight[0] for run in self.runs.values())

    @property
    def weight(self) -> tuple[int, int, int]:
        rows = [run.weight for run in self.runs.values()]
        return sum(row[0] for row in rows), sum(row[1] for row in rows), sum(row[2] for row in rows)


def remedies(
    key: Key, rounds: Mapping[Key, Going], now: Mapping[Key, int], may_take: MayTake, may_wait: Callable[[str], bool]
) -> list[Remedy]:
    """The best of each kind that breaks less than going on as it is; the best of all first."""
    base = run(rounds[key], now[key])
    others = {other: run(going, now[other]) for other, going in rounds.items() if other != key}
    found = [
        _best(_reorders(key, rounds[key], now[key]), {key: base}),
        _best_given(key, rounds, now, base, others, may_take),
        _best(_laters(key, rounds[key], now[key], may_wait), {key: base}),
    ]
    kept = [remedy for remedy in found if remedy is not None]
    return sorted(kept, key=lambda remedy: (remedy.broken, _ORDER.index(remedy.kind), remedy.weight))


_ORDER = ("reorder", "give", "later")


def _best(choices: Iterable[Remedy], base: Mapping[Key, Run]) -> Remedy | None:
    """The lightest choice, when it breaks less than ``base`` does."""
    found = min(choices, key=lambda remedy: remedy.weight, default=None)
    if found is None or found.weight[:2] >= _breaks(base.values()):
        return None
    return found


def _breaks(runs: Iterable[Run]) -> tuple[int, int]:
    rows = [run.weight for run in runs]
    return sum(row[0] for row in rows), sum(row[1] for row in rows)


def _reorders(key: Key, going: Going, now: int) -> Iterable[Remedy]:
    order, before = going.ahead, run(going, now)
    for visit in order:
        rest = [pk for pk in order if pk != visit]
        for place in range(len(order)):
            changed = [*rest[:place], visit, *rest[place:]]
            if changed == order:
                continue
            after = run(going, now, changed)
            if not _keeps_waiting(going, before, after):
                yield Remedy("reorder", visit, place, {key: after})


def _laters(key: Key, going: Going, now: int, may_wait: Callable[[str], bool]) -> Iterable[Remedy]:
    for visit in going.ahead:
        if may_wait(visit):
            yield Remedy("later", visit, 0, {key: run(going, now, [pk for pk in going.ahead if pk != visit])})


def _best_given(
    key: Key, rounds: Mapping[Key, Going], now: Mapping[Key, int], base: Run, others: Mapping[Key, Run],
    may_take: MayTake,
) -> Remedy | None:  # fmt: skip
    found: list[tuple[list[int], Remedy]] = []
    for other in others:
        before = {key: base, other: others[other]}
        choice = _best(_gives(key, other, rounds, now, may_take), before)
        if choice is not None:
            found.append((_rise(choice, before), choice))
    return min(found, key=lambda row: row[0])[1] if found else None


def _rise(remedy: Remedy, before: Mapping[Key, Run]) -> list[int]:
    """What a choice adds to things broken, seconds broken by, and ends of the days."""
    return [after - sum(run.weight[n] for run in before.values()) for n, after in enumerate(remedy.weight)]


def _gives(
    key: Key, other: Key, rounds: Mapping[Key, Going], now: Mapping[Key, int], may_take: MayTake
) -> Iterable[Remedy]:
    going, target = rounds[key], rounds[other]
    before = run(target, now[other])
    for visit in going.ahead:
        if not may_take(visit, other):
            continue
        here = run(going, now[key], [pk for pk in going.ahead if pk != visit])
        taking = given(going, target, visit, shift_s=now[other] - now[key])
        for place in range(len(target.ahead) + 1):
            order = [*target.ahead[:place], visit, *target.ahead[place:]]
            there = run(taking, now[other], order)
            if _keeps_waiting(target, before, there):
                continue
            yield Remedy("give", visit, place, {key: here, other: there}, to=other)


def _keeps_waiting(going: Going, before: Run, after: Run) -> bool:
    """Whether the other person of a visit for two, whose round is not looked at, would have to wait longer."""
    starts = {stop.visit_id: stop.start_s for stop in before.stops if stop.state == "ahead"}
    return any(
        going.calls[stop.visit_id].for_two and stop.start_s > starts[stop.visit_id]
        for stop in after.stops
        if stop.visit_id in starts and stop.visit_id in going.calls
    )


def given(going: Going, target: Going, visit: str, *, shift_s: int) -> Going:
    """``target`` with a call of another round; ``shift_s`` is what the clocks of the two rounds differ by."""
    call = going.calls[visit]
    moved = type(call)(
        call.visit_id, call.point, call.service_s,
        spans=tuple((opens + shift_s, closes + shift_s) for opens, closes in call.spans),
        promise_s=call.promise_s + shift_s if call.promise_s is not None else None,
        planned_s=call.planned_s + shift_s if call.planned_s is not None else None,
    )  # fmt: skip
    return Going(target.start, target.end, target.times, target.calls | {visit: moved}, target.limit_s, target.travel)
