"""What a day's calls would cost to drive: quick rounds by the savings method (Clarke and Wright 1964).

Good enough to compare calendars months ahead, when nobody knows yet who drives; the week itself is planned by
``solve``. Seconds, metres; places are numbers of rows in the tables of seconds and metres.
"""

from collections.abc import Sequence
from dataclasses import dataclass

Table = Sequence[Sequence[int]]


@dataclass(frozen=True, slots=True)
class Driven:
    """What a day costs: driven seconds and metres, rounds, and seconds of work beyond what the people have."""

    seconds: int = 0
    metres: int = 0
    rounds: int = 0
    over_s: int = 0

    def __add__(self, other: "Driven") -> "Driven":
        return Driven(
            self.seconds + other.seconds,
            self.metres + other.metres,
            self.rounds + other.rounds,
            self.over_s + other.over_s,
        )


@dataclass(slots=True)
class _Round:
    stops: list[int]
    service_s: int
    inside_s: int  # driven between the stops


def drive_day(
    stops: Sequence[tuple[int, int]], homes: Sequence[tuple[int, int]], seconds: Table, metres: Table
) -> Driven:
    """Rounds over ``stops`` (place, service seconds) from ``homes`` (place, working seconds that day).

    A round is no longer than the longest working day. Nobody at work: each stop is driven to by itself from the
    first home, and all of it is beyond what the people have.
    """
    if not stops:
        return Driven()
    at_work = [(place, hours) for place, hours in homes if hours > 0]
    longest = max((hours for _place, hours in at_work), default=0)
    bases = [place for place, _hours in (at_work or homes)]
    rounds = [_Round([place], service, 0) for place, service in sorted(stops)]
    if longest:
        rounds = _merged(rounds, bases, longest, seconds)
    total = Driven()
    for row in rounds:
        base = min(bases, key=lambda home: (seconds[home][row.stops[0]] + seconds[row.stops[-1]][home], home))
        legs = list(zip([base, *row.stops], [*row.stops, base], strict=True))
        total += Driven(sum(seconds[a][b] for a, b in legs), sum(metres[a][b] for a, b in legs), 1)
    work = total.seconds + sum(service for _place, service in stops)
    return Driven(total.seconds, total.metres, total.rounds, max(work - sum(hours for _place, hours in at_work), 0))


def _merged(rounds: list[_Round], bases: Sequence[int], longest: int, seconds: Table) -> list[_Round]:
    """Join rounds end to end, the greatest saving first, as long as a round fits a working day."""
    places = sorted({place for row in rounds for place in row.stops})
    away = {place: min((seconds[home][place] + seconds[place][home]) // 2 for home in bases) for place in places}
    number = len(rounds)
    first_place = [row.stops[0] for row in rounds]
    links = sorted(
        (-(away[first_place[i]] + away[first_place[j]] - seconds[first_place[i]][first_place[j]]), i, j)
        for i in range(number)
        for j in range(number)
        if i != j
    )
    of: list[_Round | None] = list(rounds)
    tail = list(range(number))  # the stop's own number, while it ends its round
    ends: dict[int, int] = {id(row): i for i, row in enumerate(rounds)}
    starts: dict[int, int] = dict(ends)
    for saving, i, j in links:
        if saving >= 0:
            break
        one, other = of[i], of[j]
        if one is None or other is None or one is other or ends[id(one)] != tail[i] or starts[id(other)] != j:
            continue
        link = seconds[first_place[i]][first_place[j]]
        inside, service = one.inside_s + link + other.inside_s, one.service_s + other.service_s
        if inside + service + away[one.stops[0]] + away[other.stops[-1]] > longest:
            continue
        one.stops, one.service_s, one.inside_s = one.stops + other.stops, service, inside
        ends[id(one)] = ends[id(other)]
        for k, row in enumerate(of):
            if row is other:
                of[k] = one
    kept: list[_Round] = []
    for row in of:
        if row is not None and not any(row is other for other in kept):
            kept.append(row)
    return kept
